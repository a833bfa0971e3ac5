"""Readings to Inputs: each channel trusted or not and why; NaN and every other nonsense ends here.

A single bad frame changes nothing: the last good value holds until it is too old.  A jump is believed only
when three readings in a row agree on the new level, so that no spike moves the valve.
"""

from math import exp

from dewcore import readings as r
from dewcore.outdoors import DAY_LOWEST_S, HOLD_S, HOUR_S, WEEK_S, OutdoorBelief, OutdoorHistory
from dewcore.psychro import MOLAR_RATIO_G, STANDARD_PRESSURE_PA
from dewcore.settings import Settings

ANY = 1000.0  # a step wider than every range
# A channel's row: lowest and highest believable value, oldest believable age [s], largest step between
# two readings.
#   indoor air 0..45 °C: outside it nobody lives there; RH 1..99 %: sensors stick at both ends
#   outdoor -70..60 °C: the dry-bulb range of the EnergyPlus weather file dictionary
LIMITS = (
    (0.0, 45.0, 30, 3.0),
    (1.0, 99.0, 30, 8.0),
    (-70.0, 60.0, HOLD_S, ANY),  # its steps are OutdoorBelief's
    (-50.0, 60.0, 60, 8.0),
    (-10.0, 120.0, 60, ANY),
    (0.0, 45.0, 300, 5.0),
    (1.0, 99.0, 300, 10.0),
)
CONFIRMATIONS = 3  # readings in a row that make a jump a fact
# The RH sensor counts as frozen where its value never changed for so long while the indoor air did.  No other
# channel has such evidence: an outdoor reading may rightly stand still for days.
# How long depends on the sensor's own step, the smallest change seen: a coarse sensor rightly repeats itself.
FROZEN_S = 10800  # for a step of FINE_STEP_PCT
FINE_STEP_PCT = 0.1
COARSE_STEP_PCT = 1.6  # and any coarser: two days; assumed until a smaller one is seen
MOVED_K = 2.0
MOVED_LEAST_K = 0.2
MOVED_K_PCT = 4.0  # kelvin for each % RH of step: RH moves by a quarter more than that step
FINEST_STEP_PCT = 0.02
# A fall as of a jump, and below what was usual in the last hour, is no air: what was breathed on only falls back.
USUAL_S = 3600
USUAL_EVERY_S = 60
UNKNOWN_S = -USUAL_EVERY_S
LOST_S = 60  # after a longer gap a jump tells nothing

MOLAR_RATIO = 0.001 * MOLAR_RATIO_G
STANDARD_CPA = 100.0 * STANDARD_PRESSURE_PA  # in hundredths of a pascal, as % RH times pascal comes


class Channel:
    """What is known of one channel: the last good value, when, and a jump in the making."""

    __slots__ = (
        "index",
        "good",
        "at_s",
        "fault",
        "same_since_s",
        "jump_to",
        "jump_count",
        "jump_at_s",
        "jumped",
        "low",
        "high",
        "max_age_s",
        "max_step",
        "min_step",
    )

    def __init__(self, index: int = 0) -> None:
        row = LIMITS[index]
        self.index: int = index
        self.good: float = 0.0
        self.at_s: int = -1
        self.fault: int = r.MISSING  # of the last sample that was not taken; TRUSTED after a good one
        self.same_since_s: int = 0
        self.jump_to: float = 0.0
        self.jump_count: int = 0
        self.jump_at_s: int = -1
        self.jumped: bool = False  # whether the last reading taken was a jump
        self.low: float = row[0]
        self.high: float = row[1]
        self.max_age_s: int = row[2]
        self.max_step: float = row[3]
        self.min_step: float = -row[3]

    def take(self, sample: "r.Sample", now_s: int) -> bool:
        """Take any reading if it can be believed; True where it was taken."""
        at_s = sample.at_s
        if sample.error != r.ERROR_OK or at_s < 0 or not self.at_s <= at_s <= now_s:
            self.fault = r.OUT_OF_RANGE if sample.error == r.ERROR_RANGE else r.MISSING
            return False
        value = sample.value
        if not self.low <= value <= self.high:
            self.fault = r.OUT_OF_RANGE
            return False
        jumps = self.at_s >= 0 and not abs(value - self.good) <= self.max_step
        if jumps and self._doubts(value, at_s):
            self.fault = r.JUMPING
            return False
        self.jumped = jumps and at_s - self.at_s <= LOST_S
        self.fault = r.TRUSTED
        self.jump_count = 0
        self.good = value
        self.same_since_s = at_s
        self.at_s = at_s
        return True

    def _doubts(self, value: float, at_s: int) -> bool:
        """Whether a jump to value still lacks readings that agree on it."""
        if at_s > self.jump_at_s:  # a newer reading; the same again, or an older one, confirms nothing
            agrees = self.jump_count > 0 and abs(value - self.jump_to) <= self.max_step
            self.jump_count = self.jump_count + 1 if agrees else 1
            self.jump_to = value
            self.jump_at_s = at_s
        return self.jump_count < CONFIRMATIONS


class Judge:
    """Keeps the channels, the outdoor belief and its history, and fills `inputs`."""

    __slots__ = (
        "inputs",
        "channels",
        "settings",
        "belief",
        "history",
        "rh_read_pct",
        "rh_same_indoor_c",
        "rh_moved",
        "rh_step_pct",
        "rh_frozen_s",
        "rh_moved_k",
        "rh_usual_pct",
        "rh_usual_s",
        "rh_fell_pct",
        "outdoor_doubted",
        "indoor_doubted",
        "last_s",
        "trusted_s",
    )

    def __init__(self, settings: "Settings | None" = None) -> None:
        if settings is None:
            settings = Settings()
        self.settings: "Settings" = settings
        self.inputs: "r.Inputs" = r.Inputs()
        self.belief: "OutdoorBelief" = OutdoorBelief()
        self.history: "OutdoorHistory" = OutdoorHistory()
        self.rh_read_pct: float = self.inputs.rh_pct  # as read, before the correction
        self.rh_same_indoor_c: float = 0.0
        self.rh_moved: bool = False
        self.rh_step_pct: float = COARSE_STEP_PCT
        self.rh_frozen_s: int = int(FROZEN_S * COARSE_STEP_PCT / FINE_STEP_PCT)
        self.rh_moved_k: float = MOVED_K
        self.rh_usual_pct: float = 0.0  # of the last hour or so
        self.rh_usual_s: int = UNKNOWN_S
        self.rh_fell_pct: float = 0.0  # from where the reading fell at once; 0: it did not
        self.outdoor_doubted: bool = False  # set from outside: the thermometer is not where the air is
        self.indoor_doubted: bool = False  # likewise: the main sensor hangs in supply air
        self.last_s: int = -1
        self.trusted_s: int = 0  # when the outdoor reading last was
        self.channels: "list[Channel]" = []
        fitted = (1, 1, 1, settings.has_glass, settings.has_supply, settings.has_room, settings.has_room)
        for index in range(7):
            if fitted[index]:
                self.channels.append(Channel(index))
            else:
                self.inputs.status[index] = r.UNFITTED

    def judge(self, readings: "r.Readings", now_s: int) -> bool:
        """Bring `inputs` up to now_s [s]; True where a believed value, or its trust, changed."""
        inputs = self.inputs
        changed = False
        trusted = 0
        for channel in self.channels:
            index = channel.index
            sample = readings.samples[index]
            value = sample.value
            step = value - channel.good
            usual = channel.min_step <= step <= channel.max_step and channel.low <= value <= channel.high
            if usual and sample.error == 0 and 0 <= channel.at_s <= sample.at_s <= now_s:
                channel.at_s = sample.at_s  # as `take` would, without the call
                channel.fault = 0
                channel.jump_count = 0
                if step != 0.0:
                    channel.good = value
                    channel.same_since_s = sample.at_s
                    changed = True
            elif channel.take(sample, now_s):
                changed = True
                if index == r.RH and channel.jumped:
                    self._rh_jumped(channel)
            age_s = now_s - channel.at_s if channel.at_s >= 0 else -1
            if 0 <= age_s <= channel.max_age_s:
                late = now_s - channel.same_since_s >= self.rh_frozen_s
                if index == r.OUTDOOR and self.outdoor_doubted or index == r.INDOOR and self.indoor_doubted:
                    channel.fault = r.JUMPING
                elif index != r.RH or not (late or self.rh_fell_pct) or not self._rh_doubted(channel, readings, late):
                    trusted |= 1 << index
            elif channel.fault == 0:  # it was read: none of a channel that never was is TRUSTED
                channel.fault = r.STALE
            inputs.status[index] = channel.fault
            inputs.age_s[index] = age_s
        if trusted != inputs.trusted:
            inputs.trusted = trusted
            changed = True
        if changed:
            self._fill(now_s)
        return self._outdoor(now_s) or changed

    def _rh_jumped(self, channel: "Channel") -> None:
        """Down at once below what was usual, and it is doubted; up at once to that again, and no more."""
        usual_pct = self.rh_fell_pct if self.rh_fell_pct > 0.0 else self.rh_usual_pct
        self.rh_fell_pct = usual_pct if channel.good < usual_pct - channel.max_step else 0.0

    def _rh_doubted(self, channel: "Channel", readings: "r.Readings", late: bool) -> bool:
        """Whether the humidity, though fresh, fell at once as no air does, or late stands still in air that moves."""
        if self.rh_fell_pct > 0.0:
            if readings.request != r.REQUEST_CLEAR:
                channel.fault = r.JUMPING
                return True
            self.rh_fell_pct = 0.0
            self.rh_usual_s = UNKNOWN_S
        if not late:
            return False
        heat = readings.heat_call if self.settings.has_heat_call else readings.fan
        changed = (heat.state == r.ON or heat.state == r.OFF) and heat.since_s > channel.same_since_s
        if self.rh_moved or changed and self.rh_step_pct <= FINE_STEP_PCT:
            channel.fault = r.FROZEN
            return True
        return False

    def _usual(self, value: float, at_s: int) -> None:
        """The humidity as read, as a mean of the last hour; what was read until now counts for the time since then."""
        if self.rh_usual_s < 0:
            self.rh_usual_pct = value
        elif self.rh_fell_pct == 0.0:
            share = min(1.0, (at_s - self.rh_usual_s) / USUAL_S)
            self.rh_usual_pct += (self.rh_read_pct - self.rh_usual_pct) * share
        self.rh_usual_s = at_s

    def _rh_stood(self) -> None:
        """The indoor air has just moved far, and the humidity stands still too long: frozen in this very scan."""
        inputs = self.inputs
        if inputs.trusted >> r.RH & 1:
            inputs.trusted &= ~(1 << r.RH)
            inputs.status[r.RH] = self.channels[r.RH].fault = r.FROZEN

    def _fill(self, now_s: int) -> None:
        """Copy the good values; watch whether the indoor air moves while the RH stands still."""
        inputs = self.inputs
        s = self.settings
        stood = not self.rh_moved
        for channel in self.channels:
            index = channel.index
            if channel.at_s < 0 or index == r.OUTDOOR:
                continue
            value = channel.good
            if index == r.INDOOR:
                if s.indoor_offset_k != 0.0:  # most sensors need no correction: one number less
                    value = min(channel.high, max(channel.low, value + s.indoor_offset_k))
                if value != inputs.indoor_c:
                    inputs.indoor_c = value
                    # sat_water_pa, without the call: nearly every scan asks for it
                    inputs.indoor_sat_pa = 611.21 * exp((18.678 - value / 234.5) * value / (257.14 + value))
                if abs(value - self.rh_same_indoor_c) > self.rh_moved_k:
                    self.rh_moved = True
            elif index == r.RH:
                inputs.rh_pct = self._humidity(channel)
            elif index == r.GLASS:
                if s.glass_offset_k != 0.0:
                    value = min(channel.high, max(channel.low, value + s.glass_offset_k))
                inputs.glass_c = value
            elif index == r.SUPPLY:
                inputs.supply_c = value
            elif index == r.ROOM:
                if s.room_offset_k != 0.0:
                    value = min(channel.high, max(channel.low, value + s.room_offset_k))
                inputs.room_c = value
            else:
                inputs.room_rh_pct = value
        # humidity_ratio_g_kg in kg/kg, without the call, in hundredths of a pascal: this runs at nearly every scan
        indoor_cpa = inputs.rh_pct * inputs.indoor_sat_pa
        inputs.humidity_ratio = MOLAR_RATIO * indoor_cpa / (STANDARD_CPA - indoor_cpa)
        if stood and self.rh_moved and now_s - self.channels[r.RH].same_since_s >= self.rh_frozen_s:
            self._rh_stood()

    def _humidity(self, channel: "Channel") -> float:
        """The humidity as corrected [% RH]; how finely its sensor steps, and the indoor air at its last step."""
        value = channel.good
        step_pct = abs(value - self.rh_read_pct)
        if step_pct > 0.0:
            if channel.at_s - self.rh_usual_s >= USUAL_EVERY_S:
                self._usual(value, channel.at_s)
            if step_pct < self.rh_step_pct:
                self.rh_step_pct = max(step_pct, FINEST_STEP_PCT)
                self.rh_frozen_s = int(FROZEN_S * self.rh_step_pct / FINE_STEP_PCT)
                self.rh_moved_k = max(MOVED_LEAST_K, min(MOVED_K, MOVED_K_PCT * self.rh_step_pct))
            self.rh_same_indoor_c = self.inputs.indoor_c
            self.rh_moved = False
            self.rh_read_pct = value
        s = self.settings
        if s.rh_gain == 1.0 and s.rh_offset_pct == 0.0:
            return value
        return min(channel.high, max(channel.low, s.rh_offset_pct + s.rh_gain * value))

    def _outdoor(self, now_s: int) -> bool:
        """The believed outdoor temperature from its channel (after a jump, trusted or not), history or design."""
        inputs = self.inputs
        channel = self.channels[r.OUTDOOR]
        s = self.settings
        read_c = channel.good
        if s.outdoor_offset_k != 0.0:
            read_c = min(channel.high, max(channel.low, read_c + s.outdoor_offset_k))
        seconds = now_s - self.last_s if self.last_s >= 0 else 0
        self.last_s = now_s
        belief = self.belief
        trusted = inputs.trusted & (1 << r.OUTDOOR) != 0
        # A colder reading of the same second counts, too, towards what has lasted; a warmer one begins nothing.
        colder = belief.rising_since_s >= 0 and read_c < belief.rising_lowest_c
        fresh = (trusted or belief.jumped_s >= 0) and (channel.at_s != belief.at_s or not belief.known or colder)
        changed = False
        if fresh or belief.known and read_c < belief.believed_c:  # cold counts at once, even if told late
            held = belief.take(read_c, channel.at_s, trusted)
            changed = held != inputs.outdoor_held  # to be told at once, though the belief stays
            inputs.outdoor_held = held
        if trusted:
            believed_c = belief.believed_c
            basis = r.OUTDOOR_READ
            self._seen(now_s)
            if seconds > 0:
                self.history.note(believed_c, seconds, s.outdoor_rh_pct)
        elif belief.known and not self.outdoor_doubted and 0 <= inputs.age_s[r.OUTDOOR] <= DAY_LOWEST_S:
            basis = r.OUTDOOR_DAY_LOWEST  # never rises: the history stands still, and an unread belief only falls
            believed_c = self.history.day_lowest_c(belief.believed_c)
        else:
            basis = r.OUTDOOR_DESIGN
            believed_c = s.design_outdoor_c
            if belief.known:  # losing the reading altogether never warms the belief
                believed_c = min(believed_c, self.history.day_lowest_c(belief.believed_c))
            elif channel.at_s >= 0:
                believed_c = min(believed_c, read_c)
        changed = changed or believed_c != inputs.outdoor_c or basis != inputs.outdoor_basis
        inputs.outdoor_c = believed_c
        inputs.outdoor_basis = basis
        return changed

    def _seen(self, now_s: int) -> None:
        """An outdoor reading is trusted; an hour or longer without one is a gap in the history."""
        gap_s = now_s - self.trusted_s
        self.trusted_s = now_s
        if gap_s > WEEK_S:
            self.history.forget()  # a warm autumn must not loosen the caps of a January
        elif gap_s >= HOUR_S:
            self.history.interrupt()
