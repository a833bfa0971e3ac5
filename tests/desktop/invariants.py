"""What must hold after every scan whatever was done to the controller, worked out from the documents alone.

`Watch` keeps its own books of command, contact, latches, timers and outdoor air, in another way than dewcore
does, calls none of dewcore's decisions and compares.  A broken promise is a line of text that begins with its
number: V1 fan and interlocks, V2 latched alarms, V3 target below what the surfaces allow, V4 timers, V5 finite
numbers, V6 settings, V7 one reason an active fault and none without, V8 shape of the Decision, V9 window tests,
starting afresh and what is told of looks and forecast.
"""

from math import exp, log

from dewcore import words as w
from dewcore.settings import TABLE, disagreement

OFF, ON = 0, 1
REARM, WINDOW, TIMED, CLEAR = 1, 2, 3, 4  # Readings.request
FOG, SAW_CLEAR = 1, 2  # Readings.look
INDOOR, RH, OUTDOOR, GLASS, SUPPLY, ROOM, ROOM_RH = range(7)
# believable lowest and highest, oldest age [s], step that needs three readings, unchanged for too long [s]
BELIEVABLE = (
    (0.0, 45.0, 30, 3.0, None),
    (1.0, 99.0, 30, 8.0, 48 * 3600),  # 3 h at a step of 0.1 %, longer for a coarser sensor
    (-70.0, 60.0, 5400, None, None),
    (-50.0, 60.0, 60, 8.0, None),
    (-10.0, 120.0, 60, None, None),
    (0.0, 45.0, 300, 5.0, None),
    (1.0, 99.0, 300, 10.0, None),
)
# what is believed of a reading as it is, and the setting added to it
READ_AS = {
    INDOOR: ("indoor_c", "indoor_offset_k"),
    RH: ("rh_pct", ""),
    GLASS: ("glass_c", "glass_offset_k"),
    OUTDOOR: ("", "outdoor_offset_k"),  # has books of its own
    ROOM: ("room_c", "room_offset_k"),
}
LATCHED = (w.LEAK_WET, w.OVERFLOW, w.WELDED, w.DRAIN_RUNS, w.RELAY_FAILED)
LATCHED_MASK = sum(1 << code for code in LATCHED)
STALE_TARGET_S = 60  # without a new value the target is renewed this often
SLICES = 7  # scans of a look-ahead; the one that begins it does none
RUN_S = 300  # the longest timed test run
PAST_S = 10800  # a look-ahead of longer ago holds no longer
# a window test: longest, pause after it, so many within a day [s, s, 1], highest above the cautious ceiling [% RH]
TEST_S, TEST_PAUSE_S, TESTS_A_DAY, TEST_PCT = 1800, 10800, 3, 8.0
# what the forecast's age tells is judged with each look-ahead, so late by this much time and so many scans
TOLD_S, TOLD_SCANS = 800, 96  # a look-ahead and what is learned in slices, then a minute until the next begins
AHEAD = w.FORECAST_OLD, w.FORECAST_ELSEWHERE, w.SELF_DOUBT, w.LOOKS_TORN, w.LOOK_NOW, w.LOOK_AND_TEST
# Doubts that take days or weeks of readings: what they shut is looked at here, when they begin is in test_doubts
DOUBTS = w.RH_JUMPED, w.OUTDOOR_DOUBT, w.NO_RISE, w.NO_AIR, w.RISES_SHUT, w.PAD_WEAK, w.RH_LOW, w.SENSORS_DIFFER
DOUBT_MASK = sum(1 << code for code in (*DOUBTS, w.SENSOR_PLACE, w.HALF_WAVE))
LATE = sum(1 << code for code in (*AHEAD, w.WINDOW_DRYING))


def over_water_pa(t_c):
    """Saturation over water [Pa]: D. Sonntag, Z. Meteorol. 70 (1990) 340-344, eq. 7; held above -70 °C."""
    t = max(t_c, -70.0) + 273.15
    return 100.0 * exp(-6096.9385 / t + 16.635794 - 2.711193e-2 * t + 1.673952e-5 * t * t + 2.433502 * log(t))


def on_surface_pa(t_c):
    """Vapour pressure [Pa] that wets a surface: over water, below 0 °C over ice (Sonntag 1990, eq. 8)."""
    if t_c >= 0.0:
        return over_water_pa(t_c)
    t = max(t_c, -70.0) + 273.15
    return 100.0 * exp(-6024.5282 / t + 24.7219 + 1.0613868e-2 * t - 1.3198825e-5 * t * t - 0.49382577 * log(t))


def corrected(read, offset, track):
    """What is believed of a reading: its setting added, held within what can be believed at all."""
    return min(track.high, max(track.low, read + offset)) if offset else read


def on_surface_c(indoor_c, outdoor_c, f):
    """A surface of temperature factor f; outdoor air warmer than the room warms nothing."""
    return indoor_c - (1.0 - f) * max(0.0, indoor_c - outdoor_c)


def bits(mask, table):
    """Names of the bits of a mask, for messages."""
    return " ".join(table[n][0] if n < len(table) else str(n) for n in range(31) if mask >> n & 1)


class Track:
    """One channel as its samples tell it: what could be believed, and what must or must not be."""

    def __init__(self, row):
        self.low, self.high, self.max_age_s, self.step, self.frozen_s = row
        self.newest_s = -1  # stamp of the last acceptable sample
        self.newest = None
        self.same_from_s = -1  # stamp from which this value has been believed
        self.recent = []  # (stamp, value) of acceptable samples, newest last
        self.restated = False  # whether the newest second had two different readings
        self.in_row = []  # acceptable samples of the last scans, of different stamps, no other between them

    def note(self, sample, now_s):
        """Take the sample of this scan."""
        v = sample.value
        stamp_s = sample.at_s
        good = sample.error == 0 and self.low <= v <= self.high and 0 <= stamp_s <= now_s
        if not good or stamp_s < self.newest_s:
            self.in_row.clear()
            if good and self.step is not None:  # newer than what is believed, if what came since is no fact yet
                self.recent.append((stamp_s, v))
            return
        if stamp_s == self.newest_s and v == self.newest:
            return
        self.restated = stamp_s == self.newest_s
        if self.restated:
            self.in_row.clear()
            self._keep(stamp_s, v, now_s)
            return
        if self.in_row and self.step is not None and abs(v - self.in_row[-1]) > self.step:
            self.in_row.clear()
        self.in_row.append(v)
        del self.in_row[:-3]
        self._keep(stamp_s, v, now_s)

    def _keep(self, stamp_s, v, now_s):
        self.newest_s = stamp_s
        self.newest = v
        self.recent.append((stamp_s, v))
        if self.recent[0][0] < now_s - 7200 or len(self.recent) > 800:
            del self.recent[0]

    def fresh(self, now_s):
        """Whether any acceptable sample is young enough at all."""
        return self.newest_s >= 0 and now_s - self.newest_s <= self.max_age_s

    def still(self, now_s):
        """Whether the reading has not moved for too long."""
        return self.frozen_s is not None and self.same_from_s >= 0 and now_s - self.same_from_s >= self.frozen_s

    def steady(self):
        """Whether it must be believed: three good readings in a row, or no step is too large."""
        return len(self.in_row) >= 3 or (self.step is None and len(self.in_row) > 0)


class Air:
    """The outdoor air as believed so far: full hours, newest last, with their vapour pressures."""

    def __init__(self):
        self.hours = []
        self.hours_pa = []
        self.part = 0.0
        self.part_s = 0
        self.mean_c = self.day_c = self.mean_pa = None

    def note(self, outdoor_c, seconds, rh_pct):
        self.part += outdoor_c * seconds
        self.part_s += seconds
        if self.part_s >= 3600:
            hour_c = self.part / self.part_s
            self.hours.append(hour_c)
            self.hours_pa.append(min(6553.5, 0.01 * rh_pct * over_water_pa(hour_c)))
            del self.hours[:-168], self.hours_pa[:-168]
            self.part = 0.0
            self.part_s = 0
            self.mean_c = sum(self.hours) / len(self.hours)
            self.mean_pa = sum(self.hours_pa) / len(self.hours_pa)
            day = self.hours[-24:]
            self.day_c = sum(day) / len(day)


class Watch:
    """The books of one controller from its boot on; `check` after each scan gives the broken promises."""

    def __init__(self, world, latched=0):
        self.world = world
        self.latched = latched
        self.fitted = (True, True, True) + tuple(
            bool(getattr(world.settings, name)) for name in ("has_glass", "has_supply", "has_room", "has_room")
        )
        self.tracks = [Track(row) for row in BELIEVABLE]
        self.air = Air()
        self.last_s = None
        # command and contact
        self.command = False
        self.command_s = None
        self.closed = False
        self.closed_change_s = None
        self.follow_s = None  # when the present command's contact was first read closed
        self.sensed_from_s = None
        self.failures = 0
        self.retry_until_s = None
        self.rest_until_s = None
        self.starts = []
        self.openings = []
        self.demand = False
        # others
        self.rose = False
        self.stuck_off_s = 0
        self.season_over = False
        self.rh_indoor_c = None
        self.outdoor_doubted = self.indoor_doubted = False
        self.rh_moved = False
        self.rh_seen = None
        self.corrections = set()
        self.offsets = {offset: set() for _, offset in READ_AS.values()}  # of now, or of when a reading was taken
        self.offset_k = None  # the outdoor one, and the stamp of the reading at its last change
        self.offset_changed_s = None
        self.rh_step_pct = 1.6  # the smallest change seen, for how long a sensor may rightly stand still
        self.requested = None  # a request counts when it begins; one that outlasts a boot never
        self.run_until_s = None
        self.read_c = None  # the belief while readings come
        self.was_read = False
        self.read_s = None  # when that was so last
        self.was_stamp_s = -1
        self.bounds = []
        self.was_closed = False
        self.season_seen = []
        self.unsure_season = 0
        self.standing = []
        self.finishing = False
        # looking ahead, looks at the window, window tests
        self.looked_scans = 0  # since it could last begin afresh
        self.looked = None
        self.looks = self.clears = 0
        self.asked = WINDOW  # a request that outlasts a boot begins no test
        self.test_s = None
        self.tests = []
        self.test_end_s = None
        self.presets = []
        self.told = []
        self.rearmed = None
        self.broken = []

    def check(self):
        """Every broken promise of the scan that has just been made."""
        world = self.world
        d = world.controller.decision
        now_s = world.now_s
        self.broken = []
        seconds = 0 if self.last_s is None else now_s - self.last_s
        if self.last_s is None:
            self.command_s = self.closed_change_s = now_s
        self._shape(d)
        self._finite(world.controller)
        for index in range(7):
            if self.fitted[index]:
                self.tracks[index].note(world.readings.samples[index], now_s)
        self._trust(world.controller.judge, now_s)
        self._corrected(world.controller.judge, world.settings)
        self._outdoor(world.controller.judge.inputs, world.settings, now_s, seconds)
        self._owner(world, now_s)
        self._ahead(world, now_s, seconds)
        self._target(world, d, now_s)
        self._binds(world.controller.terms, d)
        self._learned(world, d, now_s)
        expected, notices, unsure = self._reasons(world, d, now_s, seconds)
        self._interlocks(world, d, now_s)
        self._timing(world.settings, d, now_s)
        self._compare(d, expected, notices, unsure)
        self._settings(world.settings)
        self._commanded(d, now_s)
        self.last_s = now_s
        return self.broken

    def fail(self, text):
        self.broken.append(text)

    # ---- shape and numbers

    def _shape(self, d):
        if type(d.valve) is not bool or d.valve != (d.refusals == 0):
            self.fail("V8 valve %r with refusals %x" % (d.valve, d.refusals))
        if not 0 <= d.refusals < 1 << len(w.REFUSALS) or not 0 <= d.notices < 1 << len(w.NOTICES):
            self.fail("V8 a mask has a bit of no reason: %x %x" % (d.refusals, d.notices))
        for name in ("refusals", "notices", "proof", "hold_s", "binds"):
            if type(getattr(d, name)) is not int:
                self.fail("V8 %s is no whole number" % name)
        if not d.hold_s >= 0 or not 0 <= d.proof <= 3 or not 0 <= d.binds <= 4:
            self.fail("V8 hold_s %d, proof %d, binds %d" % (d.hold_s, d.proof, d.binds))

    def _finite(self, controller):
        parts = (controller.decision, controller.judge.inputs, controller.margin, controller.terms)
        if self.looked_scans % 8 == 0:  # many numbers, and none of them that is lost comes back
            parts += controller.outlook, controller.outlook.house, controller.outlook.margin
        for part in parts:
            for name in type(part).__slots__:
                value = getattr(part, name)
                if type(value) is float and not value - value == 0.0:
                    self.fail("V5 %s.%s is %r" % (type(part).__name__, name, value))
        kept = (controller.glass_colder_k, controller.room_colder_k, controller.room_excess_pa)
        kept += (controller.f_day, controller.f_night)
        if not sum(kept) - sum(kept) == 0.0:
            self.fail("V5 kept of the sensors: %r" % (kept,))

    # ---- what may be believed

    def _corrected(self, judge, s):
        """The believed humidity is the reading by the correction of now, or of when it was taken.

        Those of the thermometers are noted for what looks at them.
        """
        if self.offset_k not in (None, s.outdoor_offset_k):
            self.offset_changed_s = self.tracks[OUTDOOR].newest_s
        self.offset_k = s.outdoor_offset_k
        if judge.channels[RH].at_s < 0:
            return
        self.corrections.add((s.rh_offset_pct, s.rh_gain))
        found = judge.inputs.rh_pct
        if not any(
            abs(found - min(99.0, max(1.0, offset + gain * judge.rh_read_pct))) <= 1e-9
            for offset, gain in self.corrections
        ):
            self.fail("V7 the humidity is believed %r, read %r" % (found, judge.rh_read_pct))

    def _trust(self, judge, now_s):
        inputs = judge.inputs
        moved = self.rh_moved  # up to the scan before: this one's air may come too late to count
        if judge.rh_read_pct != self.rh_seen:
            if self.rh_seen is not None:
                self.rh_step_pct = max(0.02, min(self.rh_step_pct, abs(judge.rh_read_pct - self.rh_seen)))
            self.tracks[RH].frozen_s = int(3 * 3600 * self.rh_step_pct / 0.1)
            self.rh_seen = judge.rh_read_pct
            self.tracks[RH].same_from_s = self.tracks[RH].newest_s  # believed from now on
            self.rh_indoor_c = inputs.indoor_c
            self.rh_moved = False
        elif abs(inputs.indoor_c - self.rh_indoor_c) > min(2.0, max(0.2, 4.0 * self.rh_step_pct)):
            self.rh_moved = True
        for index, track in enumerate(self.tracks):
            trusted = bool(inputs.trusted >> index & 1)
            still = track.still(now_s) and (index != RH or moved and self.rh_moved)
            if trusted and (not self.fitted[index] or not track.fresh(now_s) or still):
                self.fail("V7 channel %d is trusted, fresh %s, still %s" % (index, track.fresh(now_s), still))
            doubted = index == RH and judge.rh_fell_pct > 0.0 or index == OUTDOOR and self.outdoor_doubted
            doubted = doubted or index == INDOOR and self.indoor_doubted
            if trusted and doubted:
                self.fail("V7 channel %d is trusted though doubted" % index)
            if not trusted and track.fresh(now_s) and track.steady() and not track.still(now_s) and not doubted:
                self.fail("V7 channel %d is good but not trusted" % index)
            if trusted and index in READ_AS and index != OUTDOOR:
                name, offset = READ_AS[index]
                offsets = self.offsets[offset]
                offsets.add(getattr(self.world.settings, offset) if offset else 0.0)
                value = judge.rh_read_pct if index == RH else getattr(inputs, name)
                read = (v for at, v in track.recent if at >= now_s - track.max_age_s)
                if not any(value == corrected(v, offset_k, track) for v in read for offset_k in offsets):
                    self.fail("V7 channel %d believes %r, which nobody read" % (index, value))

        self.outdoor_doubted, self.indoor_doubted = judge.outdoor_doubted, judge.indoor_doubted  # from the next scan on

    def _outdoor(self, inputs, s, now_s, seconds):
        """The believed outdoor air: cold at once, warm slowly, never warmer for a reading's loss."""
        track = self.tracks[OUTDOOR]
        offsets = self.offsets["outdoor_offset_k"]
        offsets.add(s.outdoor_offset_k)
        newest = None if track.newest is None else corrected(track.newest, s.outdoor_offset_k, track)
        believed = inputs.outdoor_c
        read = bool(inputs.trusted >> OUTDOOR & 1)
        age_s = now_s - track.newest_s
        if inputs.outdoor_basis == 0 and not read or inputs.outdoor_basis != 0 and read:
            self.fail("V3 outdoor basis %d, trusted %s" % (inputs.outdoor_basis, read))
        if newest is not None and not believed <= newest + 1e-9:
            self.fail("V3 outdoor %.3f is believed above the last reading %.3f" % (believed, newest))
        if track.newest is None or age_s > 21600:
            if not believed <= s.design_outdoor_c:
                self.fail("V3 outdoor %.2f without a reading, design %.2f" % (believed, s.design_outdoor_c))
        if not read and self.read_c is not None and not believed <= self.read_c + 1e-9:
            self.fail("V3 outdoor %.2f is warmer for the loss of %.2f" % (believed, self.read_c))
        if read and self.was_read:
            since_s = min(3600, track.newest_s - self.was_stamp_s)
            limit = self.read_c + 3.0 * since_s / 3600.0 + 1e-6
            if not believed <= limit:
                lowest = min(v for at, v in track.recent if at >= track.newest_s - 3600)
                limit = max(limit, *(corrected(lowest, offset_k, track) for offset_k in offsets))
            if not believed <= limit:
                self.fail("V3 outdoor rose to %.3f, allowed %.3f" % (believed, limit))
        if read:
            if self.read_s is not None and now_s - self.read_s > 168 * 3600:
                self.air = Air()  # nothing of the week before lies in the last week
            self.read_s = now_s
            if seconds > 0:
                self.air.note(believed, seconds, s.outdoor_rh_pct)
            self.read_c = believed
        self.was_read = read
        self.was_stamp_s = track.newest_s

    # ---- the target

    def _owner(self, world, now_s):
        """Taps, starting afresh and window tests as the readings tell them."""
        readings = world.readings
        look = readings.look
        if self.looked is not None and look != self.looked and look in (FOG, SAW_CLEAR):
            self.looks += 1
            self.clears += look == SAW_CLEAR
        fog = look == FOG and self.looked is not None and self.looked != FOG
        self.looked = look
        request = readings.request
        if self.rearmed is not None and request == REARM and not self.rearmed:
            self.looks = self.clears = 0
            self.looked_scans = 0
            if world.controller.outlook.house.hours or any(world.controller.glass.looks):
                self.fail("V9 something is still known after starting afresh")
        self.rearmed = request == REARM
        self._window(world, fog, now_s)
        self.asked = request

    def _window(self, world, fog, now_s):
        """A window test runs only where it was begun, allowed and can be learned from, and not for too long."""
        readings = world.readings
        inputs = world.controller.judge.inputs
        testing = world.controller.window.testing
        if not testing:
            if self.test_s is not None:
                self.test_end_s = now_s
            self.test_s = None
            return
        if self.test_s is None:
            if self.asked == WINDOW:
                self.fail("V9 a window test began without having been asked for")
            if self.test_end_s is not None and now_s - self.test_end_s < TEST_PAUSE_S:
                self.fail("V9 a window test %d s after the last" % (now_s - self.test_end_s))
            self.test_s = now_s
            self.tests = [at for at in self.tests if now_s - at < 86400] + [now_s]
            if len(self.tests) > TESTS_A_DAY:
                self.fail("V9 %d window tests within a day" % len(self.tests))
        elif fog:
            self.fail("V9 a window test goes on though fog was seen")
        if not world.settings.window_test_allowed or readings.request != WINDOW:
            self.fail("V9 a window test that nobody allows or asks for")
        if not now_s < readings.request_until_s or not now_s - self.test_s < TEST_S:
            self.fail("V9 a window test of %d s" % (now_s - self.test_s))
        if inputs.trusted & 3 != 3 or inputs.outdoor_basis or not inputs.indoor_c - inputs.outdoor_c >= 10.0:
            self.fail("V9 a window test on readings that teach nothing")

    def _ahead(self, world, now_s, seconds):
        """Count the scans since which a look-ahead may have been complete."""
        self.looked_scans += 1
        if not 0 <= seconds <= PAST_S:
            self.looked_scans = 1  # this one may begin it

    def _target(self, world, d, now_s):
        terms = world.controller.terms
        testing = world.controller.window.testing
        glass_pct = max(terms.plain_pct, min(terms.ahead_pct, terms.now_pct), terms.test_pct)
        lowest = max(0.0, min(terms.owner_pct, terms.corner_pct, terms.envelope_pct, glass_pct))
        if d.target_pct != lowest:
            self.fail("V3 target %r, its terms say %r" % (d.target_pct, lowest))
        if not testing and (terms.test_pct > -100.0 or not d.target_pct <= max(0.0, d.ceiling_pct)):
            self.fail("V3 target %r, ceiling %r, test %r" % (d.target_pct, d.ceiling_pct, terms.test_pct))
        self.bounds = [bound for bound in self.bounds if bound[0] >= now_s - STALE_TARGET_S]
        self.bounds.append((now_s, *self._allowed(world)))
        target = max(bound[1] for bound in self.bounds)
        ceiling = max(bound[2] for bound in self.bounds)
        if testing:
            target = max(target, self._tested(world))
        if not d.target_pct <= max(0.0, target) * 1.01 + 0.05:
            self.fail("V3 target %.3f, worked out %.3f" % (d.target_pct, target))
        if not d.ceiling_pct <= ceiling + 0.01 * abs(ceiling) + 0.05:
            self.fail("V3 ceiling %.3f, worked out %.3f" % (d.ceiling_pct, ceiling))

    def _binds(self, terms, d):
        """What is named is a term that equals the target."""
        named = (
            (terms.plain_pct, terms.now_pct, terms.ahead_pct, terms.test_pct),
            (terms.ahead_pct,),
            (terms.corner_pct,),
            (terms.envelope_pct,),
            (terms.owner_pct,),
        )[d.binds]
        if d.target_pct not in [max(0.0, term) for term in named]:
            self.fail("V3 target %r is said to be set by %r" % (d.target_pct, named))
        if d.binds == 1 and not terms.plain_pct < terms.ahead_pct < terms.now_pct:
            self.fail("V3 the outlook is named with plain %r, now %r" % (terms.plain_pct, terms.now_pct))

    def _factors(self, controller, s, now_s):
        """(day, night) factor worked with; above the settings only where looks at a clear window say so."""
        self.presets = [past for past in self.presets if past[0] >= now_s - STALE_TARGET_S]
        self.presets.append((now_s, s.glass_f_day, s.glass_f_night))
        day = max(past[1] for past in self.presets)
        night = max(past[2] for past in self.presets)
        if not controller.f_night <= controller.f_day:
            self.fail("V3 the glass is better at night: %r, %r" % (controller.f_night, controller.f_day))
        if self.clears == 0 and not (controller.f_day <= day and controller.f_night <= night):
            self.fail("V3 the glass is taken for better than set: %r, %r" % (controller.f_day, controller.f_night))
        return controller.f_day, controller.f_night

    def _room(self, world):
        """(how much colder [K], how much moister [Pa] with sleepers, without) the coldest room is now."""
        s = world.settings
        inputs = world.controller.judge.inputs
        colder_k = s.room_colder_k
        excess_pa = 0.0
        if inputs.trusted >> ROOM & 1 and inputs.trusted >> ROOM_RH & 1:
            colder_k = max(colder_k, inputs.indoor_c - inputs.room_c)
            room_pa = 0.01 * inputs.room_rh_pct * over_water_pa(inputs.room_c)
            excess_pa = max(0.0, room_pa - 0.01 * inputs.rh_pct * over_water_pa(inputs.indoor_c))
        return colder_k, max(excess_pa, s.room_excess_g_kg * 162.9), excess_pa

    def _tested(self, world):
        """Highest target [% RH] of a window test: 8 % above where the cautious factor's glass gets wet."""
        inputs = world.controller.judge.inputs
        night = world.is_night()
        colder_k, sleepers_pa, excess_pa = self._room(world)
        f = world.controller.glass.cautious(night)
        glass_c = on_surface_c(inputs.indoor_c - colder_k, inputs.outdoor_c, f)
        wet_pa = on_surface_pa(glass_c) - (sleepers_pa if night else excess_pa)
        return min(self.slow, 100.0 * wet_pa / over_water_pa(inputs.indoor_c) + TEST_PCT)

    def _allowed(self, world):
        """(highest target, highest ceiling) [% RH] by the surfaces as they stand, from the documents' equations."""
        s = world.settings
        inputs = world.controller.judge.inputs
        indoor_c = inputs.indoor_c
        night = world.is_night()
        colder_k, sleepers_pa, excess_pa = self._room(world)
        f_day, f_night = self._factors(world.controller, s, world.now_s)
        full = over_water_pa(indoor_c)
        glass_c = on_surface_c(indoor_c - colder_k, inputs.outdoor_c, f_night if night else f_day)
        plain_c = on_surface_c(indoor_c - colder_k, inputs.outdoor_c, f_night)
        if inputs.trusted >> GLASS & 1:
            glass_c = min(glass_c, inputs.glass_c)
            plain_c = min(plain_c, inputs.glass_c)
        now_pct = 100.0 * (on_surface_pa(glass_c) - (sleepers_pa if night else excess_pa)) / full
        plain_pct = 100.0 * (on_surface_pa(plain_c - s.plain_margin_k) - sleepers_pa) / full - s.rh_tolerance_pct
        air = self.air
        mean_c = inputs.outdoor_c
        outdoor_pa = 0.01 * s.outdoor_rh_pct * over_water_pa(mean_c)
        if air.hours:
            lost = inputs.outdoor_basis != 0  # then no week before counts as warmer than what is believed now
            mean_c = min(mean_c, air.mean_c) if lost else air.mean_c
            outdoor_pa = min(outdoor_pa, air.mean_pa) if lost else air.mean_pa
        corner_pct = 80.0 * over_water_pa(on_surface_c(indoor_c, mean_c, s.corner_f)) / full
        envelope_pct = min(s.cap_pct, 100.0 * (outdoor_pa + s.vapour_excess_pa) / full)
        self.slow = min(corner_pct, envelope_pct, s.wish_pct)
        glass_pct = plain_pct
        if s.look_ahead and inputs.outdoor_basis == 0 and self.looked_scans > SLICES:
            glass_pct = max(plain_pct, now_pct - s.rh_tolerance_pct)
        return min(self.slow, glass_pct), min(now_pct, corner_pct, envelope_pct)

    # ---- what the look-ahead, the forecast and the looks let it tell

    def _learned(self, world, d, now_s):
        """The notices that come late, or not at every scan: none without its reason, the forecast's age always."""
        readings = world.readings
        controller = world.controller
        inputs = controller.judge.inputs
        utc_s = readings.utc_s
        aged = False
        age_s = utc_s - readings.forecast_issued_s
        if utc_s > 0 and readings.forecast_issued_s > 0:
            aged = not (-600 <= age_s <= 64800 and utc_s - readings.forecast_start_s >= -600)
        minute = (utc_s + readings.utc_offset_s) // 60 % 1440 if utc_s else -1
        near = utc_s > 0 and readings.forecast_issued_s > 0 and not aged and inputs.outdoor_basis == 0
        now = (
            1 << w.FORECAST_OLD if aged else 0,
            (1 << w.FORECAST_ELSEWHERE if near else 0)
            | (1 << w.SELF_DOUBT if controller.outlook.house.distrusted else 0)
            | (1 << w.LOOKS_TORN if self.looks > 1 else 0)
            | (1 << w.LOOK_NOW | 1 << w.LOOK_AND_TEST if 300 <= minute < 600 else 0)
            | (1 << w.WINDOW_DRYING if controller.window.drying else 0),
        )
        told = self.told
        if told and told[-1][0] == now_s:  # without any time nothing is looked ahead
            now = (told[-1][2] & now[0], told[-1][3] | now[1])
            del told[-1]
        while len(told) > TOLD_SCANS and told[1][0] < now_s - TOLD_S:
            del told[0]
        told.append((now_s, bool(world.settings.look_ahead), *now))
        if controller.window.testing != bool(d.notices >> w.WINDOW_TEST & 1):
            self.fail("V9 window test %r, told %x" % (controller.window.testing, d.notices))
        may = 0
        for _, _, old, others in self.told:
            may |= old | others
        sure = len(self.told) > TOLD_SCANS and self.told[0][0] < now_s - TOLD_S and all(past[1] for past in self.told)
        late = LATE & d.notices
        if not sure:
            late &= ~(1 << w.FORECAST_OLD | 1 << w.FORECAST_ELSEWHERE)
        if late & ~may:
            self.fail("V9 told without a reason: %s" % bits(late & ~may, w.NOTICES))
        if sure and all(past[2] for past in self.told) and not d.notices >> w.FORECAST_OLD & 1:
            self.fail("V9 an old forecast is not told")

    # ---- the reasons

    def _read_back(self, world, now_s):
        """The contact as read back, and the refusals that only the two senses can tell."""
        s = world.settings
        readings = world.readings
        line, load = readings.line_sense, readings.load_sense
        away = s.has_off_switch and readings.off_switch.state != OFF
        sensed = bool(s.has_load_sense) and not away and line.state == ON and load.state in (OFF, ON)
        closed = load.state == ON if sensed else self.command
        if closed != self.closed:
            self.closed = closed
            self.closed_change_s = now_s
        if closed and self.command and self.follow_s is None:
            self.follow_s = now_s
            self.starts[-1] = now_s
        elif closed and not self.command and self.closed_change_s == now_s and not self.was_closed:
            self.starts.append(now_s)
        self.was_closed = closed
        if not sensed:
            self.sensed_from_s = None
            return 0
        if self.sensed_from_s is None:
            self.sensed_from_s = now_s
        steady_s = now_s - max(self.command_s, self.sensed_from_s, line.since_s, load.since_s)
        return self._relay(closed, steady_s, now_s)

    def _relay(self, closed, steady_s, now_s):
        if not self.command:
            if closed and steady_s >= 5:
                return 1 << w.WELDED
            return 1 << w.WELD_TEST if closed or steady_s < 2 else 0
        if closed:
            self.failures = 0
        elif steady_s >= 5:
            self.failures += 1
            self.retry_until_s = now_s + 300
            return 1 << (w.RELAY_FAILED if self.failures >= 3 else w.RELAY_RETRY)
        return 0

    def _reasons(self, world, d, now_s, seconds):
        """(refusals, notices, refusals that cannot be told for sure) as the documents want them now."""
        readings = world.readings
        s = world.settings
        clear = readings.request == CLEAR and self.requested not in (CLEAR, None)
        if readings.request == TIMED and self.requested not in (TIMED, None) and readings.request_until_s > now_s:
            self.run_until_s = min(readings.request_until_s, now_s + RUN_S)  # one that is over before it begins is none
        self.requested = readings.request
        if clear:
            self.failures = 0
        sensed = self._read_back(world, now_s)
        active = sensed | self._water(world, now_s)
        unread = 1 << w.OVERFLOW if readings.overflow.state == -1 else 0
        self.latched |= active & LATCHED_MASK & ~unread
        if clear:
            self.latched &= self._kept(world, active)
        mask = active | self.latched
        inputs = world.controller.judge.inputs
        trusted = inputs.trusted
        for index, code in ((INDOOR, w.INDOOR_BAD), (RH, w.RH_BAD)):
            if not trusted >> index & 1:
                mask |= 1 << code
        if s.owner_off:
            mask |= 1 << w.OWNER_OFF
        mask |= self._people(world) | self._fan(world, now_s) | self._heat(world)
        mask |= self._mild(s, d, inputs)
        rh_pct = inputs.rh_pct
        self.demand = rh_pct < (d.target_pct if self.demand else d.target_pct - s.band_pct)
        if not self.demand:
            mask |= 1 << w.HUMID_ENOUGH
        mask, running = self._timed(readings, mask, now_s)
        notices = self._notices(world, d, now_s, seconds) | running
        unsure = self.unsure_season
        if unsure and self.command:
            unsure |= 1 << w.RUN_OVER
        return self._timers(s, mask, now_s), notices, unsure

    def _timed(self, readings, mask, now_s):
        """The mask in a technician's run, which sets only comfort aside, and the notice of one."""
        if self.run_until_s is None:
            return mask, 0
        comfort = 1 << w.HUMID_ENOUGH | 1 << w.SEASON_OVER
        if readings.request == TIMED and now_s < self.run_until_s <= now_s + RUN_S:
            return mask & ~comfort, 1 << w.TIMED_RUN
        self.run_until_s = None
        return mask | (1 << w.RUN_OVER if self.command and mask & comfort else 0), 0

    def _kept(self, world, active):
        """Latched alarms that a clearing cannot take: their cause is still there, or nobody knows."""
        s = world.settings
        readings = world.readings
        kept = 1 << w.WELDED & active if active >> w.WELDED & 1 else 0
        if s.has_load_sense:
            line, load = readings.line_sense.state, readings.load_sense.state
            if s.has_off_switch and readings.off_switch.state != OFF or (line, load) != (ON, OFF):
                kept |= 1 << w.WELDED
        if s.has_leak and readings.leak.state != OFF:
            kept |= 1 << w.LEAK_WET
        if s.has_overflow and readings.overflow.state != OFF:
            kept |= 1 << w.OVERFLOW
        if s.has_drain_wet and readings.drain_wet.state != OFF:
            kept |= 1 << w.DRAIN_RUNS
        return kept

    def _water(self, world, now_s):
        s = world.settings
        readings = world.readings
        mask = 0
        if s.has_leak:
            state = readings.leak.state
            mask |= 1 << w.LEAK_WET if state == ON else 0 if state == OFF else 1 << w.LEAK_WIRE
        if s.has_overflow and readings.overflow.state != OFF:
            mask |= 1 << w.OVERFLOW
        if s.has_drain_wet and readings.drain_wet.state == ON and not self.closed:
            if now_s - max(readings.drain_wet.since_s, self.closed_change_s) >= 1200:
                mask |= 1 << w.DRAIN_RUNS
        return mask

    def _people(self, world):
        """Selector and absence, and every fitted interlock that cannot be read."""
        s = world.settings
        readings = world.readings
        mask = 0
        if s.has_off_switch and readings.off_switch.state == ON:
            mask |= 1 << w.SWITCH_OFF
        if s.has_absent and readings.absent.state == ON:
            mask |= 1 << w.ABSENT
        for name in ("off_switch", "absent", "drain_wet", "heat_call", "line_sense", "load_sense"):
            if getattr(s, "has_" + name) and getattr(readings, name).state not in (OFF, ON):
                mask |= 1 << w.CONTACT_UNREADABLE
        return mask

    def _warm(self, inputs):
        both = inputs.trusted >> SUPPLY & inputs.trusted >> INDOOR & 1
        return both == 1 and inputs.supply_c - inputs.indoor_c >= 8.0

    def _fan(self, world, now_s):
        s = world.settings
        fan = world.readings.fan
        if fan.state != ON:
            self.rose = False
            return 1 << {OFF: w.FAN_OFF, -1: w.FAN_UNFITTED}.get(fan.state, w.FAN_UNREADABLE)
        running_s = now_s - fan.since_s
        mask = 0 if running_s >= 10 else 1 << w.FAN_SETTLING
        heated_s = running_s
        if s.has_heat_call:
            call = world.readings.heat_call
            heated_s = min(running_s, now_s - call.since_s) if call.state == ON else 0
            if call.state != ON:
                self.rose = False
        if s.has_supply:
            if self._warm(world.controller.judge.inputs):
                self.rose = True
            elif s.fan_grade < 3 and (self.rose or heated_s > 300):
                mask |= 1 << w.SUPPLY_COLD
        return mask

    def _heat(self, world):
        s = world.settings
        readings = world.readings
        mask = 1 << w.LINE_DEAD if s.has_line_sense and readings.line_sense.state == OFF else 0
        if s.water_needs_heat:
            called = s.has_heat_call and readings.heat_call.state == ON
            warm = s.has_supply and self._warm(world.controller.judge.inputs)
            if not s.has_heat_call and not s.has_supply:
                mask |= 1 << w.HEAT_UNPROVABLE
            elif not called and not warm:
                mask |= 1 << w.HEAT_OFF
        return mask

    def _mild(self, s, d, inputs):
        """The season by the mean of the last day; near its limit, and just after a change, either is right."""
        code = 1 << w.SEASON_OVER
        mean_c = inputs.outdoor_c if not self.air.hours else self.air.day_c
        limit_c = s.season_max_c - (1.0 if self.season_over else 0.0)
        over = mean_c > limit_c
        self.season_seen = [seen for seen in self.season_seen if seen[0] >= self.world.now_s - STALE_TARGET_S]
        self.season_seen.append((self.world.now_s, over, abs(mean_c - limit_c) < 0.03))
        sure = all(was == over and not near for _, was, near in self.season_seen)
        self.unsure_season = 0 if sure else code
        said = bool(d.refusals & code) if not d.valve else self.season_over and self.run_until_s is not None
        if d.valve and over and not sure:
            over = False
        self.season_over = over if sure else said
        return code if over else 0

    def _timers(self, s, mask, now_s):
        """The mask with the timers' own reasons; 0 while the shortest run is being finished."""
        self.finishing = False
        if self.command:
            ran_s = now_s - (self.command_s if self.follow_s is None else self.follow_s)
            if mask == 1 << w.HUMID_ENOUGH and ran_s < s.min_on_s:
                self.finishing = True
                mask = 0
            if ran_s >= s.max_run_s:
                mask |= 1 << w.LONGEST_RUN
                self.rest_until_s = now_s + s.rest_s
            return mask
        if self.rest_until_s is not None and now_s < self.rest_until_s:
            mask |= 1 << w.LONGEST_RUN
        if self.closed or now_s - max(self.command_s, self.closed_change_s) < s.min_off_s:
            mask |= 1 << w.MIN_OFF
        if self.retry_until_s is not None and now_s < self.retry_until_s:
            mask |= 1 << w.RELAY_RETRY
        self.starts = self.starts[-12:]
        if len([at for at in self.starts if now_s - at < 3600]) >= s.max_starts_per_h:
            mask |= 1 << w.STARTS_PER_HOUR
        return mask

    def _notices(self, world, d, now_s, seconds):
        s = world.settings
        readings = world.readings
        inputs = world.controller.judge.inputs
        trusted = inputs.trusted
        mask = 0
        drain = readings.drain_wet
        if s.has_drain_wet and drain.state == OFF and self.closed:
            if now_s - max(drain.since_s, self.closed_change_s) >= 600:
                mask |= 1 << w.NO_WATER
        if s.has_supply and readings.fan.state == ON and not trusted >> SUPPLY & 1:
            mask |= 1 << w.SUPPLY_BAD
        if readings.fan.state == ON:
            self.stuck_off_s = 0
        elif s.has_heat_call and readings.heat_call.state == ON:
            self.stuck_off_s += seconds
        if self.stuck_off_s >= 86400:
            mask |= 1 << w.FAN_STUCK_OFF
        if inputs.outdoor_basis:
            mask |= 1 << (w.OUTDOOR_OLD if inputs.outdoor_basis == 1 else w.OUTDOOR_NONE)
        elif corrected(self.tracks[OUTDOOR].newest, self.offset_k, self.tracks[OUTDOOR]) > inputs.outdoor_c:
            mask |= 1 << w.OUTDOOR_HELD
        humid = trusted >> INDOOR & trusted >> RH & 1 and inputs.rh_pct > world.controller.terms.glass_pct
        if humid and not self.closed and now_s - self.closed_change_s >= 3600:
            mask |= 1 << w.CEILING_PASSED
        return mask

    # ---- promises by themselves, from the raw readings

    def _interlocks(self, world, d, now_s):
        """V1 and V2: nothing that must be so for an open valve may be missing."""
        if not d.valve:
            return
        s = world.settings
        readings = world.readings
        fan = readings.fan
        if fan.state != ON or not now_s - fan.since_s >= 10:
            self.fail("V1 open with the fan %d for %d s" % (fan.state, now_s - fan.since_s))
        for name, allowing in (
            ("leak", OFF),
            ("overflow", OFF),
            ("off_switch", OFF),
            ("absent", OFF),
            ("line_sense", ON),
        ):
            if getattr(s, "has_" + name) and getattr(readings, name).state != allowing:
                self.fail("V1 open with %s %d" % (name, getattr(readings, name).state))
        for name in ("heat_call", "load_sense", "drain_wet"):
            if getattr(s, "has_" + name) and getattr(readings, name).state not in (OFF, ON):
                self.fail("V1 open with %s unreadable" % name)
        for index in (INDOOR, RH):
            if not self.tracks[index].fresh(now_s):
                self.fail("V1 open without a fresh reading of channel %d" % index)
        if s.owner_off:
            self.fail("V1 open though the owner switched off")
        if self.latched or world.controller.permit.latched:
            self.fail("V2 open with %x latched" % (self.latched | world.controller.permit.latched))

    def _timing(self, s, d, now_s):
        """V4 by the bare times of the commands and of the contact read back."""
        if d.valve and not self.command:
            for name, since_s in (("command", self.command_s), ("contact", self.closed_change_s)):
                if not now_s - since_s >= s.min_off_s:
                    self.fail("V4 open %d s after the %s" % (now_s - since_s, name))
            self.openings = [at for at in self.openings if now_s - at < 3600] + [now_s]
            if len(self.openings) > s.max_starts_per_h:
                self.fail("V4 %d starts within the hour" % len(self.openings))
        elif self.command:
            ran_s = now_s - (self.command_s if self.follow_s is None else self.follow_s)
            if d.refusals == 1 << w.HUMID_ENOUGH and ran_s < s.min_on_s:
                self.fail("V4 shut for comfort after %d s" % ran_s)
            if d.valve and not self.demand and ran_s >= s.min_on_s and self.run_until_s is None:
                self.fail("V4 open after %d s though humid enough" % ran_s)
            if d.valve and ran_s >= s.max_run_s:
                self.fail("V4 open for %d s" % ran_s)

    def _settings(self, s):
        for name, _, default, low, high in TABLE:
            value = getattr(s, name)
            if type(value) is not type(default) or not low <= value <= high:
                self.fail("V6 %s is %r" % (name, value))
        if disagreement(s):
            self.fail("V6 " + disagreement(s))

    # ---- what the controller said

    def _compare(self, d, expected, notices, unsure):
        permit = self.world.controller.permit
        if permit.latched != self.latched:
            self.fail(
                "V7 latched %s, should be %s" % (bits(permit.latched, w.REFUSALS), bits(self.latched, w.REFUSALS))
            )
        wrong = (d.refusals ^ expected) & ~unsure
        if unsure and (d.refusals == 0) != (expected == 0):
            wrong = 0  # the season alone decides, and either is right
        if wrong:
            found, wanted = bits(d.refusals, w.REFUSALS), bits(expected, w.REFUSALS)
            self.fail("V7 refusals: %s; should be: %s" % (found or "none", wanted or "none"))
        if self.finishing and d.valve:
            notices |= 1 << w.MIN_ON
        # Of two readings of a second, which one is held against is nobody's promise; nor is what was by a correction.
        if self.tracks[OUTDOOR].restated or self.tracks[OUTDOOR].newest_s == self.offset_changed_s:
            notices = notices & ~(1 << w.OUTDOOR_HELD) | d.notices & 1 << w.OUTDOOR_HELD
        late = 1 << w.CLOCK_UNKNOWN | 1 << w.GLASS_BAD | 1 << w.ROOM_BAD  # these wait for the next target
        notices |= d.notices & (LATE | DOUBT_MASK | 1 << w.WINDOW_TEST)  # looked at by `_learned`
        said = self._standing(d)
        wrong = (d.notices ^ notices) & ~late | (d.notices & late ^ said)
        if wrong:
            self.fail("V7 notices: %s; wrong: %s" % (bits(d.notices, w.NOTICES), bits(wrong, w.NOTICES)))

    def _standing(self, d):
        """Clock, glass and room: told at once or, after a change of clock or settings, within a minute."""
        world = self.world
        s = world.settings
        trusted = world.controller.judge.inputs.trusted
        now = 1 << w.CLOCK_UNKNOWN if world.readings.utc_s == 0 else 0
        if s.has_glass and not trusted >> GLASS & 1:
            now |= 1 << w.GLASS_BAD
        if s.has_room and not trusted >> ROOM & trusted >> ROOM_RH & 1:
            now |= 1 << w.ROOM_BAD
        self.standing = [past for past in self.standing if past[0] >= world.now_s - STALE_TARGET_S]
        self.standing.append((world.now_s, now))
        for _, mask in self.standing:
            if mask == d.notices & (1 << w.CLOCK_UNKNOWN | 1 << w.GLASS_BAD | 1 << w.ROOM_BAD):
                return mask
        return now

    def _commanded(self, d, now_s):
        """Enter the new command into the books."""
        if d.valve != self.command:
            self.command = d.valve
            self.command_s = now_s
            self.follow_s = None
            if d.valve:
                self.starts.append(now_s)
