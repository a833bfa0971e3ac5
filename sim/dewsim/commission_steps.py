"""The steps of a commissioning in the order of hw_docs/commissioning.md, and those of a season's start and end."""

from dewboard.pin_table import CLOSED_VAC, LIVE_VAC, MUST_OFF_VAC
from dewcore.permit import PROOF_NAMES, SUPPLY_RISE_K, SUPPLY_RISE_S
from dewcore.timed_run import LONGEST_S
from dewsim import cautions, circuit, quantities, report_margin
from dewsim.commission_ask import DEAD, LIVE
from dewsim.commission_run import AT_ONCE_S, FURNACE_S, HANDS_S, SOON_S, Run

LICENSED = "STOP: do not connect it; this is licensed work."
WIRES = "Look at its wires; power off before a lead is moved."
INRUSH = 3.0  # a valve's while it pulls in, in times of the measured: common practice, no source
SHORT_RUN_S = 240
WARMER_K = 3.0  # what a hand does to a thermometer within two minutes
STEADY_K = 1.5  # what may happen to another one meanwhile
STEADY_S, MOVES_K = 15, 0.5  # before that none moves by so much in so long
BREATH_PCT = 3.0
DRAIN_RUNS_S = 1200
NEVER, NOT_PASSED, ALLOWED = range(3)  # what a skip is
PLACES = {"outdoor_c": "outdoor", "glass_c": "glass", "supply_c": "supply air"}


class Step:
    """One step: its name, heading, function of a Run; skip: what a skip is; fitted: the switch without which it is
    not done."""

    def __init__(self, name: str, title: str, do, skip: int = NOT_PASSED, fitted: str = ""):
        self.name, self.title, self.do, self.skip, self.fitted = name, title, do, skip, fitted


def is_live(vac: float) -> bool:
    return LIVE_VAC[0] <= vac <= LIVE_VAC[2]


def is_dead(vac: float) -> bool:
    return vac < MUST_OFF_VAC


def stop(run: Run) -> None:
    for where, text, _ in cautions.CAUTIONS:
        if where in ("always", "before wiring", "gas and CO", "measuring", "what no board can stop"):
            run.dialog.say(f"  {where[0].upper() + where[1:]}. {text}")
    if not run.seat.simulated:
        run.dialog.say("  A laptop on the board runs on its battery: its charger must not tie the board to earth.")
    run.yes("stop_read", "cautions and local code kept", "A licensed person does it, then.")
    run.yes("co_alarm", "CO alarm works, someone is near", "Not alone, and not without a CO alarm.")


def terminal(run: Run) -> None:
    run.dialog.say("  Meter on AC volts, its highest range first. Power off before a lead is moved.")
    run.place(furnace="idle")
    vac = run.number(
        "terminal_idle_vac", "terminal idle", f"{DEAD} (always live, drawing 2: {LIVE})",
        lambda v: is_dead(v) or is_live(v), LICENSED,
    )  # fmt: skip
    if is_live(vac):
        run.dialog.say("  Live without a call: it proves none. Drawing 2 of hw_docs/wiring.md, not drawing 1.")
    run.place(furnace="heat")
    run.number("terminal_call_vac", "terminal on a heat call", LIVE, is_live, LICENSED)
    run.place(furnace="idle")


def _both(value: float, kind: str) -> str:
    """A temperature, or a difference of two, in both systems."""
    si, us = quantities.both(value, kind, 1)
    return f"{si} ({us})"


def isolation(run: Run) -> None:
    run.yes("isolation_open", "board ground to J1 and J2: open", "The isolation is broken: take the board out.")


def dead_line(run: Run) -> None:
    run.place(f1="out", selector="off", furnace="idle")
    run.contact("line_sense", "off", "line, idle, F1 out", WIRES)
    run.contact("load_sense", "off", "load, idle, F1 out", WIRES)
    run.place(furnace="heat")
    run.stays(
        lambda s: s.contacts["line_sense"] == s.contacts["load_sense"] == "off",
        "line and load on a heat call, F1 out", "both dead", "They take power past F1: power off.", SOON_S,
    )  # fmt: skip


def fuse(run: Run) -> None:
    run.dialog.say("  Never short a branch to test its fuse: reason it from the ratings.")
    limit_ma = run.number("terminal_limit_ma", "terminal's limit", "stated", lambda v: v > 0.0, "", "mA")
    run.number(
        "f1_ma", "F1", f"below {limit_ma:g} mA", lambda v: v < limit_ma,
        "F1 has to go before the terminal's limit: a smaller fuse, or an interposing relay.", "mA",
    )  # fmt: skip
    run.yes("f1_first", "F1 goes first by the ratings", "A smaller slow fuse; `dewmargin power` sizes it.")


def heat_call(run: Run) -> None:
    run.place(furnace="heat")
    run.contact("heat_call", "on", "heat call on a call", WIRES)
    run.place(furnace="idle")
    run.contact("heat_call", "off", "heat call idle", WIRES)


def fan(run: Run) -> None:
    grade = run.seat.settings.fan_grade
    run.place(furnace="heat")
    run.contact("fan", "on", f"fan proof ({PROOF_NAMES[grade]}, grade {grade}), blower running", WIRES, FURNACE_S)
    half = run.beat().half_waves
    found = ", ".join(half) + ": it counts, find out why" if half else "none"
    run.check("senses on half a wave", "none, or told", found, True, "")
    run.place(furnace="idle")
    run.contact("fan", "off", "fan proof, blower standing", "A proof that stays on is none: mend it.", FURNACE_S)


def line(run: Run) -> None:
    run.place(selector="off", f1="in", furnace="heat")
    run.contact("line_sense", "on", "line on a call, F1 in", WIRES)
    run.number("line_vac", "line on a call", LIVE, is_live, "Look at F1, H1 and the wires, power off.")
    run.stays(
        lambda s: s.contacts["load_sense"] == "off", "load, contact open", "dead", "Welded or bridged.", SOON_S
    )
    run.place(furnace="idle")
    run.contact("line_sense", "off", "line idle", "Live without a call: use drawing 2.", FURNACE_S)


def selector(run: Run) -> None:
    run.place(f1="in", stop_valve="shut", selector="controller", furnace="heat")
    run.contact("line_sense", "on", "line on a call", WIRES, FURNACE_S)
    run.contact("off_switch", "off", "S3 at controller", WIRES)
    run.stays(
        lambda s: s.contacts["load_sense"] == "off", "load at controller, contact open", "dead", "Welded?", SOON_S
    )
    run.place(selector="off")
    run.contact("off_switch", "on", "S3 at off", "Its second pole: look at the wires.")
    run.reason("switch_off", "the board says so")
    run.place(selector="dial_only")
    run.contact("off_switch", "on", "S3 at dial only", "Its second pole: look at the wires.")
    run.contact("load_sense", "on", "load at dial only", WIRES)
    run.stays(lambda s: "welded" not in s.reasons, "no weld alarm at dial only", "none", "Look at S3.", SOON_S)
    run.place(selector="controller")
    run.contact("load_sense", "off", "load back at controller", WIRES)


def dial(run: Run) -> None:
    run.place(f1="in", furnace="heat", dial="up")
    run.contact("line_sense", "on", "line, H1 at 45 %", WIRES, FURNACE_S)
    run.place(dial="down")
    run.yes("old_dial", "H1 clicks", "Without a click it limits nothing: replace it.")
    run.contact("line_sense", "off", "line, H1 turned down", "H1 is not in series: look at the wires.")
    run.place(dial="up")
    run.contact("line_sense", "on", "line, H1 back at 45 %", WIRES)


def leak(run: Run) -> None:
    run.place(leak="dry")
    run.contact("leak", "off", "leak wire dry", WIRES)
    run.place(leak="open")
    run.contact("leak", "unreadable", "leak wire unplugged", WIRES)
    run.place(leak="wet")
    run.contact("leak", "on", "leak wire wet", WIRES)
    run.reason("leak_wet", "the board says so")
    dry_and_clear(run, "leak_wet", leak="dry")


def dry_and_clear(run: Run, reason: str, **wanted) -> None:
    """The cause away, the latched alarm cleared at the board."""
    run.place(**wanted)
    run.wait(lambda s: False, AT_ONCE_S)
    run.pressed("alarm", "alarm button")
    run.reason(reason, "alarm cleared", there=False)


def overflow(run: Run) -> None:
    run.place(float="down")
    run.contact("overflow", "off", "float down", WIRES)
    run.place(float="lifted")
    run.contact("overflow", "on", "float lifted", WIRES)
    run.reason("overflow", "the board says so")
    dry_and_clear(run, "overflow", float="down")


def absent(run: Run) -> None:
    run.place(absent="away")
    run.contact("absent", "on", "absence switch at away", WIRES)
    run.reason("absent", "the board says so")
    run.place(absent="home")
    run.contact("absent", "off", "absence switch at home", WIRES)


def buttons(run: Run) -> None:
    run.pressed("look", "look button, short")
    run.pressed("look_long", "look button, held")
    run.pressed("alarm", "alarm button, held")


def thermometers(run: Run) -> None:
    """One after the other warmed in the hand: its own reading has to rise, and no other."""
    settings = run.seat.settings
    fitted = ["outdoor_c"] + [n for n in ("glass_c", "supply_c") if getattr(settings, "has_" + n[:-2])]
    run.place(furnace="idle")
    for place in fitted:
        run.place(hand="")
        lowest = _steady(run, fitted)
        run.place(hand=place)

        def rise_k(seen, name: str, lowest=lowest) -> float:
            """How far above its lowest: a duct that still cools is no rise."""
            now = seen.samples[name]
            lowest[name] = lowest[name] if now is None else min(lowest[name], now)
            return 0.0 if now is None else now - lowest[name]

        seen, waited_s = run.wait(lambda s: max([rise_k(s, n) for n in fitted]) >= WARMER_K, HANDS_S)  # noqa: B023
        warmer = [n for n in fitted if seen and rise_k(seen, n) > STEADY_K]
        found = f"{', '.join(PLACES[n] for n in warmer)} after {waited_s} s" if seen else f"none in {waited_s} s"
        why = "Tell the board which is which: `dewmargin install PORT --thermometer PLACE=CODE`."
        run.check(f"{PLACES[place]} thermometer in the hand: rises", PLACES[place], found, warmer == [place], why)
    run.place(hand="")


def _steady(run: Run, fitted: list) -> dict:
    """Readings by place once none moves any more."""
    before: dict = {}
    for n in range(FURNACE_S):
        now = run.beat().samples
        if n % STEADY_S == STEADY_S - 1:
            there = [now[name] is not None for name in fitted]
            if all(there) and before and all(abs(now[name] - before[name]) < MOVES_K for name in fitted):
                return dict(now)
            before = dict(now) if all(there) else {}
    silent = ", ".join(PLACES[name] for name in fitted if now[name] is None)
    run.check("thermometers", "all answer, none moves", f"no answer: {silent or 'none; still moving'}", False, WIRES)
    return before


def humidity(run: Run) -> None:
    run.place(breath="off")
    start, _ = run.wait(lambda s: s.samples["rh_pct"] is not None and s.samples["indoor_c"] is not None, SOON_S)
    found = "answers" if start else "no answer that can be believed"
    run.check("humidity sensor", "answers", found, start is not None, WIRES)
    settings = run.seat.settings
    read = start.samples["rh_pct"]
    shown = settings.rh_offset_pct + settings.rh_gain * read  # as the board takes it, once corrected
    tolerance = settings.rh_tolerance_pct
    run.dialog.say(f"    it shows {shown:.1f} % RH at {_both(start.samples['indoor_c'], 'temperature')}")
    run.number(
        "reference_rh_pct", f"reference, the sensor showing {shown:.1f} %", f"within {tolerance:g} %",
        lambda v: abs(v - shown) <= tolerance, "Correct it: `dewmargin calibrate`; or a wider rh_tolerance_pct.", "%",
    )  # fmt: skip
    run.place(breath="on")
    seen, waited_s = run.wait(lambda s: (s.samples["rh_pct"] or 0.0) >= read + BREATH_PCT, HANDS_S)
    found = f"{seen.samples['rh_pct']:.1f} % after {waited_s} s" if seen else f"no rise in {waited_s} s"
    run.check("it rises when breathed on", f"{BREATH_PCT:g} % or more", found, seen is not None, WIRES)
    run.place(breath="off")


def open_contact(run: Run) -> None:
    run.place(f1="in", selector="controller", furnace="heat")
    run.contact("line_sense", "on", "line on a call", WIRES, FURNACE_S)
    run.contact("load_sense", "off", "load, contact open", "It may be welded: power off, replace K1.")
    run.number("k1_open_vac", "across K1, open", LIVE, is_live, "Not open, or its wires are not where drawn.")


def water(run: Run) -> None:
    run.place(stop_valve="open")
    run.yes("pipe_dry", "water pipe dry for ten minutes", "Close the stop valve; mend it.")
    run.open_valve(LONGEST_S, from_idle=True)
    run.number("load_open_vac", "load, valve open", LIVE, is_live, WIRES)
    run.number("k1_closed_vac", "across K1, closed", f"below {CLOSED_VAC:g} VAC", lambda v: v < CLOSED_VAC, "Worn.")
    run.yes("water_flows", "water flows to the drain", "Stop valve, strainer, valve; hw_docs/trouble.md.")
    if run.seat.settings.has_drain_wet:
        run.contact("drain_wet", "on", "drain electrodes in the run", WIRES, LONGEST_S)
    run.shuts("the run ends by itself", LONGEST_S)
    run.number("load_shut_vac", "load, valve shut", DEAD, is_dead, "It may be welded: close the water by hand.")
    run.yes("water_stops", "water stops and drains", "Close the stop valve by hand; clean or replace the valve.")
    if run.seat.settings.has_drain_wet:
        run.contact("drain_wet", "off", "drain electrodes after it", "Clear the drain.", DRAIN_RUNS_S)


def current(run: Run) -> None:
    if "f1_ma" not in run.answers:
        fuse(run)
    limit_ma, f1_ma = run.answers["terminal_limit_ma"], run.answers["f1_ma"]
    run.open_valve(SHORT_RUN_S, f1="meter")
    most_ma = circuit.FUSE_LOAD * f1_ma
    fits = circuit.fuse_a

    def why(valve_ma: float) -> str:
        rated = fits(valve_ma / 1000.0, INRUSH * valve_ma / 1000.0, limit_ma / 1000.0)
        if rated is None:
            return "No slow fuse carries it below the terminal's limit: an interposing relay."
        return f"F1 of {1000.0 * rated:g} mA would carry it; see `dewmargin power`."

    valve_ma = run.dialog.ask("valve_ma")
    run.answers["valve_ma"] = valve_ma
    run.seat.ask_run(0)
    text = why(valve_ma)
    found = f"{valve_ma:g} mA"
    run.check("valve current against the terminal", f"below {limit_ma:g} mA", found, valve_ma < limit_ma, text)
    run.check("valve current against F1", f"{most_ma:g} mA at most", found, valve_ma <= most_ma, text)
    pulls_ma, holds_ma = INRUSH * valve_ma, circuit.FUSE_HOLDS * f1_ma
    found = f"{pulls_ma:g} mA"
    run.check("pulling in against F1", f"{holds_ma:g} mA at most", found, pulls_ma <= holds_ma, text)
    run.shuts("the run is ended", SOON_S)
    run.yes("meter_out", "meter out of its current range, F1 back", "A meter left in its current range is a short.")
    run.seat.do("f1", "in")
    run.stand["f1"] = "in"


def fan_stops(run: Run) -> None:
    run.open_valve(SHORT_RUN_S)
    run.place(furnace="idle")
    run.shuts("heat and blower end: valve shuts", FURNACE_S if not run.seat.simulated else AT_ONCE_S)
    run.contact("fan", "off", "fan proof after it", "A proof that stays on is none: mend it.", FURNACE_S)


def leak_run(run: Run) -> None:
    run.place(leak="dry")
    run.open_valve(SHORT_RUN_S)
    run.place(leak="wet")
    run.shuts("leak wire wet: valve shuts")
    run.reason("leak_wet", "the board says so")
    dry_and_clear(run, "leak_wet", leak="dry")


def overflow_run(run: Run) -> None:
    run.place(float="down")
    run.open_valve(SHORT_RUN_S)
    run.place(float="lifted")
    run.shuts("float lifted: valve shuts")
    run.reason("overflow", "the board says so")
    dry_and_clear(run, "overflow", float="down")


def absent_run(run: Run) -> None:
    run.place(absent="home")
    run.open_valve(SHORT_RUN_S)
    run.place(absent="away")
    run.shuts("absence: valve shuts")
    run.reason("absent", "the board says so")
    run.place(absent="home")
    run.contact("absent", "off", "back home", WIRES)


def supply_out(run: Run) -> None:
    run.open_valve(SHORT_RUN_S)
    run.act("supply", "out")
    run.yes("supply_out", "5 V out and in: contact open", "Power off: K1 and its driver are not as drawn.")
    run.end_run()
    run.stays(lambda s: not s.closed, "contact open after the start", "open", "Power off: ask for help.", SOON_S)
    run.calm()


def supply_rise(run: Run) -> None:
    run.place(furnace="heat", hand="")

    def rise_k(seen) -> float:
        supply, indoor = seen.samples["supply_c"], seen.samples["indoor_c"]
        return 0.0 if supply is None or indoor is None else supply - indoor

    seen, waited_s = run.wait(lambda s: rise_k(s) >= SUPPLY_RISE_K, SUPPLY_RISE_S)
    found = f"{_both(rise_k(seen or run.beat()), 'difference')} after {waited_s} s"
    expected = f"{_both(SUPPLY_RISE_K, 'difference')} within {SUPPLY_RISE_S} s"
    run.check("supply air above return", expected, found, seen is not None, "Look at its place, at blower and heat.")


def draught(run: Run) -> None:
    run.yes("draught", "draught tested", "Nothing runs until someone who knows how has found the draught good.")


def damper(run: Run) -> None:
    run.yes("damper_winter", "damper, level, panel, door switch")


def margin(run: Run) -> None:
    """What the tolerances cost, at the readings of now and in the design cold, by the decision code itself."""
    settings = run.seat.settings
    run.dialog.say(f"    glass factor {settings.glass_f_day:g}, curtains drawn {settings.glass_f_night:g}")
    run.yes("glass_entered", "coldest window's factor entered", "Measure it on a cold day; until then the default.")
    seen, _ = run.wait(lambda s: s.samples["indoor_c"] is not None, SOON_S)
    indoor_c = seen.samples["indoor_c"] + settings.indoor_offset_k if seen else 20.0
    outdoors = {"design cold": settings.design_outdoor_c}
    if seen and seen.samples["outdoor_c"] is not None:
        outdoors = {"now": seen.samples["outdoor_c"] + settings.outdoor_offset_k, **outdoors}
    for when, outdoor_c in outdoors.items():
        made = report_margin.decided_at(settings, indoor_c, outdoor_c)
        found = (
            f"{made.margin.total_pct:.1f} % RH, {_both(made.margin.total_k, 'difference')} at the glass, beside the "
            f"fixed {_both(settings.plain_margin_k, 'difference')}; target {made.decision.target_pct:.0f} %"
        )
        run.check(f"tolerance margin, {when}, {_both(outdoor_c, 'temperature')}", "shown", found,
                  made.margin.total_pct > 0.0,
                  "Tolerances of 0 are no tolerances: set them.")  # fmt: skip


def owner(run: Run) -> None:
    run.yes("owner_shown", "owner shown, hw_docs/handover.md filled in")


def season_start(run: Run) -> None:
    for name, label in (
        ("pad_new", "new pad, strainer, drain, air gap"),
        ("damper_winter", "damper, level, panel, door switch"),
        ("fuse_tight", "F1, terminals, relay starts"),
        ("salts_done", "humidity sensor checked this autumn"),
        ("house_same", "house as last winter, or forgotten"),
    ):
        run.yes(name, label)


def season_end(run: Run) -> None:
    run.place(furnace="idle", stop_valve="shut", selector="off")
    run.yes("water_shut", "stop valve closed by hand")
    run.contact("off_switch", "on", "S3 at off", WIRES)
    run.yes("damper_summer", "damper at summer")
    run.yes("pad_out", "water drained, pad out, tray dry")
    run.stays(
        lambda s: not s.closed and s.contacts["load_sense"] != "on", "contact open, load dead", "both",
        "Close the water by hand; look at K1.", SOON_S,
    )  # fmt: skip


STEPS = (
    Step("stop", "STOP and local code", stop, NEVER),
    Step("terminal", "Both terminal readings", terminal, NEVER),
    Step("isolation", "Board and 24 VAC apart", isolation, NEVER),  # power comes on next, and a laptop may be earthed
    Step("dead_line", "Nothing past F1", dead_line, fitted="has_line_sense"),
    Step("fuse", "Which fuse goes first", fuse),
    Step("heat_call", "Heat call", heat_call, fitted="has_heat_call"),
    Step("fan", "Fan proof, on and off", fan),
    Step("line", "Line and load", line, fitted="has_line_sense"),
    Step("selector", "Selector S3", selector, fitted="has_off_switch"),
    Step("dial", "Old dial as limit", dial, ALLOWED),
    Step("leak", "Leak wire", leak, fitted="has_leak"),
    Step("overflow", "Overflow switch", overflow, fitted="has_overflow"),
    Step("absent", "Absence switch", absent, fitted="has_absent"),
    Step("buttons", "Buttons", buttons),
    Step("thermometers", "Thermometers told apart", thermometers, ALLOWED),
    Step("humidity", "Humidity sensor", humidity, ALLOWED),
    Step("supply_rise", "Supply air warms", supply_rise, fitted="has_supply"),
    Step("open_contact", "Contact open", open_contact),
    Step("water", "Water flows and drains; weld test", water),
    Step("current", "The valve's current", current),
    Step("fan_stops", "Fan stops in a run", fan_stops),
    Step("leak_run", "Leak wire in a run", leak_run, fitted="has_leak"),
    Step("overflow_run", "Overflow in a run", overflow_run, fitted="has_overflow"),
    Step("absent_run", "Absence in a run", absent_run, fitted="has_absent"),
    Step("supply_out", "5 V out in a run", supply_out),
    Step("draught", "Draught", draught, ALLOWED),
    Step("damper", "Damper, panel", damper),
    Step("margin", "Glass and margin", margin),
    Step("owner", "Hand-over", owner),
)
START = (
    Step("stop", "STOP and local code", stop, NEVER),
    Step("season_start", "By hand, before water", season_start),
    *[s for s in STEPS if s.name in ("fan", "line", "selector", "dial", "leak", "overflow", "absent", "buttons")],
    *[s for s in STEPS if s.name in ("water", "leak_run", "margin")],
)
END = (Step("stop", "STOP and local code", stop, NEVER), Step("season_end", "Water off for the summer", season_end))
RUNS = {"full": STEPS, "start": START, "end": END}
