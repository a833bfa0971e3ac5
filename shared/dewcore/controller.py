"""The only door to the decision: `due` says when to scan, `scan` makes one forward pass to a Decision."""

from dewcore import ceiling as c
from dewcore import words as w
from dewcore.forecast import FORECAST_ELSEWHERE, FORECAST_NOT_DUE, FORECAST_OLD
from dewcore.glass import (
    DAY,
    LOOK_CONTRADICTS,
    LOOK_TAUGHT,
    NIGHT,
    UNSURE,
    Glass,
    is_night,
    is_night_air,
    when_of,
)
from dewcore.judge import Judge
from dewcore.margin import Margin
from dewcore.outdoors import HOLD_S
from dewcore.outlook import MODEL_MARGIN_K, Outlook
from dewcore.permit import LATCHING, PROOF_NONE, Permit
from dewcore.psychro import sat_surface_pa, sat_water_pa, vapour_pa, wetting_point_c
from dewcore.readings import (
    GLASS,
    INDOOR,
    INDOOR_AND_RH,
    OUTDOOR_DAY_LOWEST,
    OUTDOOR_DESIGN,
    OUTDOOR_READ,
    REQUEST_CLEAR,
    REQUEST_REARM,
    REQUEST_TIMED_RUN,
    ROOM,
    ROOM_RH,
    SAW_FOG,
    SAW_NOTHING,
    Contact,
    Inputs,
    Readings,
)
from dewcore.settings import Settings
from dewcore.timed_run import TimedRun
from dewcore.valve import Valve
from dewcore.window_test import DAWN_FROM_MIN, DAWN_TO_MIN, GUIDE_LOOK, GUIDE_TEST, WindowTest, guide

SCAN_S = 10
# Without any new value an older target is renewed, for the hour and the slow means: with scans each 10 s after 70.
RETARGET_S = 60
NO_TEST = -100.0  # Terms.test_pct where no window test runs
# Of the tolerances, where a house is asked how near it comes to fog by itself: in 48 drawn ones that do added fog fell
# by a sixth against none of them; all of them cost houses that nearly do another 3 % of what they may gain.
AGAINST = 0.5
JUST_G_KG = 0.5  # more than that within a minute is of no quarter that has ended: a breath on the sensor
FOGS_ITSELF_S = 3600  # wetter than the glass allows with the contact open this long: not the humidifier's doing


class Decision:
    """What one scan decided.

    valve: open or shut; target_pct, ceiling_pct (highest RH that glass, corner and envelope allow now,
    without margins) and coldest_c (modelled or measured coldest glass now); margin_k: how far the glass stays
    above its wetting point at the target [K]; binds: BINDS_* of what set the target; refusals, notices: bit
    masks of `words`; proof: PROOF_* of the fan; hold_s: how long a timer keeps the valve as it is.
    valve is true exactly where refusals == 0.
    """

    __slots__ = (
        "valve",
        "target_pct",
        "ceiling_pct",
        "coldest_c",
        "margin_k",
        "binds",
        "refusals",
        "notices",
        "proof",
        "hold_s",
    )

    def __init__(self) -> None:
        self.valve: bool = False
        self.target_pct: float = 0.0
        self.ceiling_pct: float = 0.0
        self.coldest_c: float = 0.0
        self.margin_k: float = 0.0
        self.binds: int = c.BINDS_GLASS
        self.refusals: int = 1 << w.MIN_OFF
        self.notices: int = 0
        self.proof: int = PROOF_NONE
        self.hold_s: int = 0


class Terms:
    """The terms of the target [% RH].

    glass: wets it now; plain: the reset with its margins; ahead: from where the house still dries in time; now: the
    glass now, less the margins and what is kept for bursts; test: a window test's; corner, envelope, owner.
    """

    __slots__ = (
        "glass_pct",
        "plain_pct",
        "ahead_pct",
        "now_pct",
        "test_pct",
        "corner_pct",
        "envelope_pct",
        "owner_pct",
    )

    def __init__(self) -> None:
        self.glass_pct: float = 0.0
        self.plain_pct: float = 0.0
        self.ahead_pct: float = 0.0
        self.now_pct: float = 0.0
        self.test_pct: float = 0.0
        self.corner_pct: float = 0.0
        self.envelope_pct: float = 0.0
        self.owner_pct: float = 0.0


class Controller:
    """One board's decision.  Times are whole monotonic seconds; nothing here reads a clock."""

    __slots__ = (
        "settings",
        "judge",
        "permit",
        "valve",
        "margin",
        "terms",
        "decision",
        "scanned_s",
        "retarget_s",
        "seen",
        "season_over",
        "standing",
        "requested",
        "glass_colder_k",
        "room_colder_k",
        "room_excess_pa",
        "outlook",
        "glass",
        "window",
        "timed",
        "looked",
        "f_day",
        "f_night",
        "preset_day",
        "preset_night",
        "told",
        "told_s",
        "stands_for",
        "half_wave",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.judge: "Judge" = Judge(settings)
        self.permit: "Permit" = Permit(settings)
        self.valve: "Valve" = Valve(settings)
        self.margin: "Margin" = Margin()
        self.terms: "Terms" = Terms()
        self.decision: "Decision" = Decision()
        self.scanned_s: int = -1
        self.retarget_s: int = -1
        self.seen: "list[int]" = [0] * 18
        self.season_over: bool = False
        self.requested: int = REQUEST_CLEAR  # a request counts once, when it begins; one that outlasts a boot never
        self.standing: int = 0  # the notices that only a new target can change
        # What sensors on the glass and in the coldest room last added to the model.  Losing such a sensor keeps
        # it: a lost reading never raises the target.
        self.glass_colder_k: float = -1000.0  # never measured
        self.room_colder_k: float = 0.0
        self.room_excess_pa: float = 0.0
        self.outlook: "Outlook" = Outlook(settings)
        self.glass: "Glass" = Glass(settings)
        self.window: "WindowTest" = WindowTest(settings)
        self.timed: "TimedRun" = TimedRun()
        self.looked: int = SAW_NOTHING
        # The working glass factors, and the settings they were worked out for; 0: to be worked out afresh.
        self.f_day: float = 0.0
        self.f_night: float = 0.0
        self.preset_day: float = 0.0
        self.preset_night: float = 0.0
        self.told: int = 0  # notices of window, forecast and house, and when they were worked out
        self.told_s: int = -1000
        self.stands_for: int = w.SAFE_MODE  # why a board is out of service
        self.half_wave: int = 0  # as of the last look, a minute ago

    def due(self, contacts: "list[Contact]", now_s: int) -> bool:
        """Whether a scan is due at now_s [s]: never yet, 10 s after the last, or a contact changed."""
        if self.scanned_s < 0 or not 0 <= now_s - self.scanned_s < SCAN_S:
            return True
        seen = self.seen
        n = 0
        for contact in contacts:
            if contact.state != seen[n] or contact.since_s != seen[n + 1]:
                return True
            n += 2
        return False

    def scan(self, readings: "Readings", now_s: int) -> "Decision":
        """One pass from readings to decision at now_s [s]; the Decision object is the same each time."""
        boot = self.scanned_s < 0
        if boot:
            self.requested = readings.request
        self.scanned_s = now_s
        n = 0
        for contact in readings.contacts:
            self.seen[n] = contact.state
            self.seen[n + 1] = contact.since_s
            n += 2
        judge = self.judge
        valve = self.valve
        permit = self.permit
        d = self.decision
        inputs = judge.inputs
        changed = judge.judge(readings, now_s)
        if self.settings.look_ahead and self.outlook.scan(readings, judge, valve.contact, now_s):
            changed = True
        clear = readings.request == REQUEST_CLEAR and self.requested != REQUEST_CLEAR
        if boot or readings.request != self.requested or readings.look != self.looked or self.window.testing:
            self._owner(readings, now_s)
            changed = True
        if changed or not 0 <= self.retarget_s - now_s <= RETARGET_S:
            self._retarget(readings, now_s)
        sensed = valve.read_back(readings, now_s)
        refusals = permit.check(readings, inputs, valve, now_s, clear) | sensed
        permit.latched |= sensed & LATCHING  # after the check: a clearing takes no alarm whose cause is there
        if self.season_over:
            refusals |= 1 << w.SEASON_OVER
        if not valve.want(inputs.rh_pct, d.target_pct):
            refusals |= 1 << w.HUMID_ENOUGH
        if self.timed.running:
            refusals = self.timed.lift(refusals, readings.request == REQUEST_TIMED_RUN, valve.open, now_s)
        d.refusals = valve.decide(refusals, now_s)
        d.valve = valve.open
        d.hold_s = valve.hold_s
        d.proof = permit.grade
        d.notices = self._notices(inputs, now_s)
        return d

    def stand_down(self, now_s: int) -> None:
        """The board is out of service at now_s [s]: valve shut, and no reason but `stands_for` is told."""
        d = self.decision
        self.valve.decide(1 << self.stands_for, now_s)
        d.valve = False
        d.refusals = 1 << self.stands_for
        d.notices = 0
        d.hold_s = 0

    def _owner(self, readings: "Readings", now_s: int) -> None:
        """What the owner says: looks at a window, window tests, starting afresh, a repaired relay."""
        s = self.settings
        inputs = self.judge.inputs
        glass = self.glass
        self.told_s = -1000
        self.window.scan(readings, inputs, s.window_test_allowed == 1, self.season_over, glass, now_s)
        if glass.is_new(readings.look):
            when = when_of(readings, s)
            night = is_night_air(readings.look, when)
            said = glass.look(readings.look, inputs, when, self._colder_k(), self._excess_pa(night), now_s)
            self.preset_day = 0.0
            if readings.look == SAW_FOG and (said == LOOK_TAUGHT or said == LOOK_CONTRADICTS):
                self.outlook.look_again()  # what was looked ahead with took the glass for better than it is
        self.looked = readings.look
        if readings.request == REQUEST_CLEAR and self.requested != REQUEST_CLEAR:
            self.valve.failures = 0
            self.outlook.doubts.see_to_place()
        if readings.request == REQUEST_REARM and self.requested != REQUEST_REARM:
            self.outlook.start_afresh()
            glass.reset()
            self.preset_day = 0.0
        if readings.request == REQUEST_TIMED_RUN and self.requested != REQUEST_TIMED_RUN:
            self.timed.begin(readings.request_until_s, now_s)
        self.requested = readings.request

    def _factors(self) -> None:
        """The working glass factors: settings, looks and what a sensor on the glass has shown."""
        s = self.settings
        self.preset_day = s.glass_f_day
        self.preset_night = s.glass_f_night
        self.f_day = self.glass.factor(False)
        self.f_night = self.glass.factor(True)

    def _colder_k(self) -> float:
        """How much colder the coldest room is, as the worse of setting and sensors has it [K]."""
        return max(self.settings.room_colder_k, self.room_colder_k)

    def _excess_pa(self, night: bool) -> float:
        """How much moister it is [Pa]; its sleepers' moisture counts only at night."""
        set_pa = self.settings.room_excess_g_kg * c.PA_PER_G_KG if night else 0.0
        return max(set_pa, self.room_excess_pa)

    def _retarget(self, readings: "Readings", now_s: int) -> None:
        """Ceiling and target from the inputs as they stand: what each surface allows and which one binds."""
        self.retarget_s = now_s + RETARGET_S
        s = self.settings
        inputs = self.judge.inputs
        d = self.decision
        self._measure_room(inputs)
        colder_k = max(s.room_colder_k, self.room_colder_k)
        if inputs.trusted & (1 << GLASS) and not 0 <= now_s - self.told_s < RETARGET_S:
            self._measure_glass(readings, inputs, colder_k, now_s)
        if s.glass_f_day != self.preset_day or s.glass_f_night != self.preset_night:
            self._factors()
        night = is_night(readings, self.settings)
        excess_pa = self.room_excess_pa
        night_excess_pa = max(s.room_excess_g_kg * c.PA_PER_G_KG, excess_pa)
        if night:
            excess_pa = night_excess_pa
        surface_pa = self._glass(inputs, inputs.indoor_c - colder_k, night, night_excess_pa)
        surface_pct = 100.0 * surface_pa / inputs.indoor_sat_pa
        self.terms.glass_pct = surface_pct - 100.0 * excess_pa / inputs.indoor_sat_pa
        self._ahead(inputs, surface_pct, self.f_night if night else self.f_day)
        self.terms.test_pct = NO_TEST
        if self.window.testing or self.window.drying:
            self._test(inputs, excess_pa, inputs.indoor_c - colder_k, night, now_s)
        self._slow(inputs)
        self._bind()
        wetting_pa = 0.01 * d.target_pct * inputs.indoor_sat_pa + excess_pa
        d.margin_k = d.coldest_c - wetting_point_c(wetting_pa) if wetting_pa > 1.0 else 99.0
        outlook = self.outlook
        outlook.f_day = self.f_day
        outlook.f_night = self.f_night
        outlook.colder_k = colder_k
        outlook.excess_pa = night_excess_pa
        outlook.sensed_colder_k = max(0.0, self.glass_colder_k)
        self._standing(inputs, readings, now_s)

    def _glass(self, inputs: "Inputs", room_c: float, night: bool, night_excess_pa: float) -> float:
        """The coldest glass now, and the plain reset on it; its saturation pressure [Pa].

        The plain reset takes the glass as at night, cooled by the fixed margin, less the tolerance margin.  Drawing
        the curtains cools a sensed glass by what they cost the main room's, never less in a colder room: there a
        smaller cost would raise the target.  Nor less than the settings say: what a sensor shows by day bounds the
        night's factor, too, and would else take that cost away.
        """
        s = self.settings
        outdoor_c = inputs.outdoor_c
        f_night = self.f_night
        spread_k = max(0.0, room_c - outdoor_c)  # glass_temperature_c, without the call: every target asks for it
        night_c = modelled_c = room_c - (1.0 - f_night) * spread_k
        curtains_k = 0.0
        if not night:
            modelled_c = room_c - (1.0 - self.f_day) * spread_k
            curtains_f = max(self.f_day - f_night, s.glass_f_day - s.glass_f_night)
            curtains_k = curtains_f * max(0.0, inputs.indoor_c - outdoor_c)
        if inputs.trusted & (1 << GLASS):
            self.glass_colder_k = modelled_c - inputs.glass_c
        sensed_c = modelled_c - self.glass_colder_k  # very warm without a sensor
        cooled_c = min(night_c, sensed_c - curtains_k) - s.plain_margin_k
        indoor_pa = inputs.indoor_sat_pa
        surface_pct = 100.0 * sat_surface_pa(cooled_c) / indoor_pa
        plain_pct = surface_pct - 100.0 * night_excess_pa / indoor_pa
        # What a sensor showed of the factor depends on the room's own readings: the margin leaves it out.
        self.terms.plain_pct = plain_pct - self.margin.set(
            plain_pct, surface_pct, cooled_c, self.glass.used[NIGHT], inputs.indoor_c, outdoor_c, s
        )
        self.decision.coldest_c = min(modelled_c, sensed_c)
        return sat_surface_pa(self.decision.coldest_c)

    def _measure_room(self, inputs: "Inputs") -> None:
        """What the coldest room's own sensors say, while they can be trusted."""
        both = (1 << ROOM) | (1 << ROOM_RH)
        if inputs.trusted & both == both:
            self.room_colder_k = max(0.0, inputs.indoor_c - inputs.room_c)
            measured_pa = 0.01 * inputs.room_rh_pct * sat_water_pa(inputs.room_c)
            self.room_excess_pa = max(0.0, measured_pa - 0.01 * inputs.rh_pct * inputs.indoor_sat_pa)

    def _measure_glass(self, readings: "Readings", inputs: "Inputs", colder_k: float, now_s: int) -> None:
        """What a trusted sensor on the glass shows of its factor, while the curtains surely are drawn or open.

        Only between airs that are read: against the design temperature any glass looks good.
        """
        when = when_of(readings, self.settings)
        if when != UNSURE and inputs.outdoor_basis == OUTDOOR_READ and inputs.trusted & (1 << INDOOR):
            room_c = inputs.indoor_c - colder_k
            if self.glass.measured(when == NIGHT, room_c, inputs.outdoor_c, inputs.glass_c, now_s):
                self.preset_day = 0.0

    def _ahead(self, inputs: "Inputs", surface_pct: float, f: float) -> None:
        """How far a look ahead lets the target rise above the plain reset; not at all on an old outdoor reading.

        surface_pct, f: RH that wets the coldest glass without the room's own moisture, and its factor, now.
        """
        terms = self.terms
        outlook = self.outlook
        if not outlook.known or not self.settings.look_ahead or inputs.outdoor_basis != OUTDOOR_READ:
            terms.ahead_pct = terms.now_pct = terms.plain_pct
            return
        house = outlook.house
        pct = terms.glass_pct
        margin_pct = outlook.margin.set(
            pct, surface_pct, self.decision.coldest_c, f, inputs.indoor_c, inputs.outdoor_c, self.settings
        )
        # A quarter of an hour that counts, just now; where no target is due in that minute its moment goes unseen.
        # What has risen at once since then is of the next one.
        sound = house.told and 0 <= self.scanned_s - house.quarter_s < RETARGET_S
        sound = sound and 1000.0 * inputs.humidity_ratio - house.quarter_ratio < JUST_G_KG
        if sound and not inputs.outdoor_held and not self.season_over:
            house.against_glass(inputs.rh_pct, pct - AGAINST * margin_pct, surface_pct)
        indoor_pa = inputs.indoor_sat_pa
        terms.ahead_pct = 100.0 * outlook.limit_pa / indoor_pa
        if not terms.ahead_pct > terms.plain_pct:
            terms.now_pct = pct  # nothing asks for more
            return
        # A humidity ratio of g/kg is PA_PER_G_KG at most, the larger side.
        burst_pct = 100.0 * outlook.burst_g_kg * c.PA_PER_G_KG / indoor_pa
        # One after the other, not as independent causes: this limit is reached within minutes, and where every sensor
        # is at its worst nothing else is left.  Further ahead most of the room for chances is.
        terms.now_pct = pct - margin_pct - outlook.margin.per_k_pct * MODEL_MARGIN_K - burst_pct

    def _test(self, inputs: "Inputs", excess_pa: float, room_c: float, night: bool, now_s: int) -> None:
        """A window test's own target, and whether the house has dried after one."""
        window = self.window
        glass = self.glass
        outdoor_c = inputs.outdoor_c
        indoor_pa = inputs.indoor_sat_pa
        cautious_c = c.glass_temperature_c(room_c, outdoor_c, glass.cautious(night))
        sure_c = c.glass_temperature_c(room_c, outdoor_c, glass.sure_below(night))
        cautious_pct = c.wet_glass_pct(indoor_pa, excess_pa, sat_surface_pa(cautious_c))
        sure_pct = c.wet_glass_pct(indoor_pa, excess_pa, sat_surface_pa(sure_c))
        window.dry(inputs.rh_pct, cautious_pct, now_s)
        if window.testing:
            self.terms.test_pct = cautious_pct + window.raise_pct(cautious_pct, sure_pct)

    def _slow(self, inputs: "Inputs") -> None:
        """The slow surfaces on their 7-day means, the owner's wish, and the season."""
        s = self.settings
        terms = self.terms
        history = self.judge.history
        outdoor_c = inputs.outdoor_c
        mean_c = history.week_c
        outdoor_pa = history.week_pa
        if history.count == 0:
            mean_c = outdoor_c
            outdoor_pa = vapour_pa(outdoor_c, s.outdoor_rh_pct)
        elif inputs.outdoor_basis != OUTDOOR_READ:  # the known week may be long past: it is no warmer than now
            mean_c = min(mean_c, outdoor_c)
            outdoor_pa = min(outdoor_pa, vapour_pa(outdoor_c, s.outdoor_rh_pct))
        indoor_pa = inputs.indoor_sat_pa
        terms.corner_pct = c.dry_corner_pct(indoor_pa, inputs.indoor_c, mean_c, s.corner_f)
        terms.envelope_pct = min(s.cap_pct, c.dry_envelope_pct(indoor_pa, outdoor_pa, s.vapour_excess_pa))
        terms.owner_pct = s.wish_pct
        self.season_over = history.season_over(self.season_over, outdoor_c, s.season_max_c)

    def _bind(self) -> None:
        """The lowest term is the target; of equal ones the owner's wish is named, then the glass."""
        terms = self.terms
        d = self.decision
        d.ceiling_pct = min(terms.glass_pct, terms.corner_pct, terms.envelope_pct)
        target = terms.owner_pct
        binds = c.BINDS_OWNER
        glass_pct = terms.plain_pct
        glass_binds = c.BINDS_GLASS
        ahead_pct = min(terms.ahead_pct, terms.now_pct)
        if ahead_pct > glass_pct:
            glass_pct = ahead_pct
            if terms.ahead_pct < terms.now_pct:
                glass_binds = c.BINDS_OUTLOOK
        if terms.test_pct > glass_pct:
            glass_pct = terms.test_pct
            glass_binds = c.BINDS_GLASS
        if not target <= glass_pct:
            target = glass_pct
            binds = glass_binds
        if not target <= terms.corner_pct:
            target = terms.corner_pct
            binds = c.BINDS_CORNER
        if not target <= terms.envelope_pct:
            target = terms.envelope_pct
            binds = c.BINDS_ENVELOPE
        d.target_pct = target if target > 0.0 else 0.0
        d.binds = binds

    def _standing(self, inputs: "Inputs", readings: "Readings", now_s: int) -> None:
        """The notices that hold until the next target."""
        s = self.settings
        notices = 0
        if inputs.outdoor_basis == OUTDOOR_DAY_LOWEST:
            notices |= 1 << w.OUTDOOR_OLD
        elif inputs.outdoor_basis == OUTDOOR_DESIGN:
            notices |= 1 << w.OUTDOOR_NONE
        elif inputs.outdoor_held:
            notices |= 1 << w.OUTDOOR_HELD
        if readings.utc_s == 0:
            notices |= 1 << w.CLOCK_UNKNOWN
        judge = self.judge
        if judge.outdoor_doubted or judge.belief.jumped_s >= 0:
            notices |= 1 << w.OUTDOOR_DOUBT
        if judge.rh_fell_pct > 0.0:
            notices |= 1 << w.RH_JUMPED
        if s.has_glass and not inputs.trusted & (1 << GLASS):
            notices |= 1 << w.GLASS_BAD
        both = (1 << ROOM) | (1 << ROOM_RH)
        if s.has_room and inputs.trusted & both != both:
            notices |= 1 << w.ROOM_BAD
        if self.window.testing or self.window.drying or not 0 <= now_s - self.told_s < RETARGET_S:
            self.told_s = now_s
            self.told = self._learned(inputs, readings, now_s)
        self.standing = notices | self.told

    def _learned(self, inputs: "Inputs", readings: "Readings", now_s: int) -> int:
        """The notices of the window, the forecast and the learned house; renewed once a minute, they cost the most."""
        notices = 0
        window = self.window
        glass = self.glass
        if window.testing:
            notices |= 1 << w.WINDOW_TEST
        elif window.drying:
            notices |= 1 << w.WINDOW_DRYING
        if glass.torn[DAY] or glass.torn[NIGHT]:
            notices |= 1 << w.LOOKS_TORN
        if self.settings.look_ahead:
            status = self.outlook.forecast.status
            if status == FORECAST_OLD or status == FORECAST_NOT_DUE:
                notices |= 1 << w.FORECAST_OLD
            elif status == FORECAST_ELSEWHERE:
                notices |= 1 << w.FORECAST_ELSEWHERE
            if self.outlook.house.distrusted:
                notices |= 1 << w.SELF_DOUBT
            notices |= self.outlook.doubts.notices
        # Without a look ahead nobody looks at weeks: a doubt would never end.
        doubts = self.outlook.doubts
        belief = self.judge.belief
        jumped_s = belief.jumped_s
        old = not belief.known or now_s - jumped_s > HOLD_S  # the last reading that may be true no longer holds
        self.judge.outdoor_doubted = doubts.outdoor and self.settings.look_ahead == 1 or jumped_s >= 0 and old
        self.judge.indoor_doubted = doubts.notices >> w.SENSOR_PLACE & 1 == 1 and self.settings.look_ahead == 1
        if readings.half_wave & self.half_wave:
            notices |= 1 << w.HALF_WAVE
        self.half_wave = readings.half_wave
        if readings.utc_s:
            minute = (readings.utc_s + readings.utc_offset_s) // 60 % 1440
            if DAWN_FROM_MIN <= minute < DAWN_TO_MIN:
                notices |= self._advice(inputs, readings, now_s)
        return notices

    def _advice(self, inputs: "Inputs", readings: "Readings", now_s: int) -> int:
        """Around dawn: the notice that asks for a look at the window, 0 where none would teach much."""
        glass = self.glass
        self.window.allowed = self.settings.window_test_allowed == 1
        room_c = inputs.indoor_c - self._colder_k()
        night = is_night(readings, self.settings)
        cautious_c = c.glass_temperature_c(room_c, inputs.outdoor_c, glass.cautious(night))
        cautious_pct = c.wet_glass_pct(inputs.indoor_sat_pa, self._excess_pa(night), sat_surface_pa(cautious_c))
        advice = guide(readings, inputs, self.season_over, glass, self.window, cautious_pct, now_s)
        if advice == GUIDE_TEST:
            return 1 << w.LOOK_AND_TEST
        return 1 << w.LOOK_NOW if advice == GUIDE_LOOK else 0

    def _notices(self, inputs: "Inputs", now_s: int) -> int:
        notices = self.standing | self.permit.notices
        valve = self.valve
        if valve.finishing:
            notices |= 1 << w.MIN_ON
        if self.timed.running:
            notices |= 1 << w.TIMED_RUN
        humid = inputs.trusted & INDOOR_AND_RH == INDOOR_AND_RH and inputs.rh_pct > self.terms.glass_pct
        if humid and not valve.contact and now_s - valve.changed_s >= FOGS_ITSELF_S:
            notices |= 1 << w.CEILING_PASSED
        return notices
