"""`dewmargin commission`: guided from the STOP to the owner; each step proven or told as failed, and written down."""

from datetime import datetime

from dewcore.settings import Settings
from dewsim import commission_record as records
from dewsim import commission_sheet, housefile, onboard, pages, policies
from dewsim.errors import EXIT_INTERRUPTED, InputError, shown_path

EXIT_FAILED = 1
ALL_FITTED = (
    "has_heat_call", "has_leak", "has_overflow", "has_line_sense", "has_load_sense", "has_drain_wet", "has_off_switch",
    "has_absent", "has_glass", "has_supply",
)  # fmt: skip


def run(arguments) -> int:
    """0 passed, 1 something failed or was skipped that may not be; InputError, 130 on Ctrl-C: what is done is kept."""
    onboard.needs_firmware()
    from dewsim import commission_ask

    path = records.path_of(arguments.out)
    answers = commission_ask.read_answers(arguments.answers) if arguments.answers is not None else None
    place = shown_path(arguments.answers) if arguments.answers is not None else ""
    seat, settings_of = seat_for(arguments)
    try:
        if arguments.resume:
            record = records.resumed(path, arguments.season, seat)
        else:
            records.free(path, seat.simulated)
            record = records.begin(arguments.season, seat, settings_of, _now())
        return through(record, path, arguments.out, commission_ask.Dialog(seat, answers, place))
    except KeyboardInterrupt:
        print("\ncommission: stopped, the contact driven open; what is done is kept, go on with --resume", flush=True)
        return EXIT_INTERRUPTED
    finally:
        seat.close()


def seat_for(arguments) -> tuple:
    """(the seat, whose settings its board has)."""
    from dewsim import commission_virtual

    if arguments.simulated == (arguments.port is not None):
        found = "both --simulated and --port" if arguments.simulated else "neither --simulated nor --port"
        raise InputError(f"commission: found {found}, allowed is one of them; say which")
    if arguments.port is not None:
        for name in ("house", "fault"):
            if getattr(arguments, name) is not None:
                raise InputError(f"{'--fault' if name == 'fault' else name}: only with --simulated; leave it out")
        from dewsim.commission_serial import SerialSeat

        return SerialSeat(arguments.port), records.OWN
    fault = commission_virtual.check_fault(arguments.fault) if arguments.fault else ""
    if arguments.house is None:
        settings = Settings()
        settings.change({name: 1 for name in ALL_FITTED} | {"fan_grade": 2})
        return commission_virtual.VirtualSeat(settings, fault), records.FITTED
    house = housefile.House() if arguments.house == "default" else housefile.load(arguments.house)
    settings = policies.settings_for(house, shown_path(arguments.house))
    return commission_virtual.VirtualSeat(settings, fault), house.name


def through(record: dict, path, out: str, dialog) -> int:
    """Every step that is not done; the first that fails ends it."""
    from dewsim import commission_run, commission_steps

    steps = commission_steps.RUNS[record["season"]]
    done = {s["name"] for s in record["steps"] if s["outcome"] in (records.PASSED, records.NOT_FITTED)}
    done |= {s["name"] for s in record["steps"] if s["outcome"] == records.SKIPPED and _may(steps, s["name"])}
    record["steps"] = [s for s in record["steps"] if s["name"] in done]
    record["passed"] = None
    run = commission_run.Run(dialog.seat, dialog, record["answers"])
    _save(record, path, out, steps)
    for n, step in enumerate(steps, 1):
        if step.name in done:
            continue
        dialog.say(f"\n{n} of {len(steps)}  {step.title}")
        outcome, why = _one(run, step)
        record["steps"].append(
            {"name": step.name, "outcome": outcome, "reason": why, "at": _now(), "checks": run.checks}
        )
        record["ended"] = _now()
        _save(record, path, out, steps)
        if outcome == records.FAILED:
            dialog.say(f"\nFAILED at '{step.title}': {why}")
            dialog.say("No test run goes on. Close the stop valve; mend it, then go on with --resume.")
            break
    record["passed"] = commission_sheet.passes(record, steps, commission_steps.ALLOWED)
    _save(record, path, out, steps)
    print(f"commission: {'passed' if record['passed'] else 'NOT passed'}; sheet: {out}, record: {path}", flush=True)
    return 0 if record["passed"] else EXIT_FAILED


def _may(steps: tuple, name: str) -> bool:
    from dewsim.commission_steps import ALLOWED

    return any(step.name == name and step.skip == ALLOWED for step in steps)


def _one(run, step) -> tuple:
    """(outcome, why) of one step; whatever ends it, no test run goes on."""
    from dewsim.commission_ask import Skipped
    from dewsim.commission_run import Failed
    from dewsim.commission_steps import ALLOWED, NEVER

    if step.fitted and not getattr(run.seat.settings, step.fitted):
        run.dialog.say(f"  not fitted ({step.fitted} = 0)")
        run.checks = []
        return records.NOT_FITTED, step.fitted
    while True:
        run.checks = []
        try:
            step.do(run)
            return records.PASSED, ""
        except Failed as failure:
            return records.FAILED, failure.args[0]
        except Skipped as skip:
            if step.skip != NEVER:
                run.dialog.say("  skipped" if step.skip == ALLOWED else "  skipped: so it does not pass")
                return records.SKIPPED, skip.args[0]
            if run.dialog.answers is not None:
                raise InputError(f"{run.dialog.place}: '{step.title}' may not be skipped; do it") from None
            run.dialog.say(f"  '{step.title}' may not be skipped: once more")
        finally:
            run.end_run()


def _save(record: dict, path, out: str, steps: tuple) -> None:
    """Record first, then the sheet."""
    records.write(record, path)
    pages.write(commission_sheet.render(record, steps), out)


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="minutes")
