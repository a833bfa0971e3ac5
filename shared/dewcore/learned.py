"""What a controller has learned, and the alarms that are latched, as one image that outlasts a reboot.

Floats are kept in single precision, as boards compute, so nothing is lost there.  An image counts whole or not at
all; it has no checksum of its own, whoever stores it has one.  How long the board was off is mostly not known, so
what a long time off would have changed is taken from its safe side: the known week of outdoor air is no warmer than
what comes after the boot, and no fall is counted across it (outdoors, fallbound); walls and floors are as moist as
they were, or as the air is now; what the air has gained is of the humidifier (house); starts of the valve and window
tests were no earlier than the boot.  In a simulated winter month with a boot every midnight the target was mostly
below that of a controller that ran through, and for 19 in 20 hours not above (tests/acceptance/reboots.py).
"""

import struct
from array import array

from dewcore.controller import Controller
from dewcore.doubts import WARM_STARTS
from dewcore.fallbound import BLOCKS
from dewcore.fallbound import HOURS as FALL_HOURS
from dewcore.glass import IMAGE_BYTES
from dewcore.house import MOST_COUNT, PRIOR_GAIN, PRIOR_OUT, PRIOR_VALVE, SUMS, TRIALS, WIDTH
from dewcore.outdoors import HOURS
from dewcore.permit import LATCHING
from dewcore.valve import MOST_STARTS, NEVER
from dewcore.window_test import A_DAY, DAY_S, PAUSE_S
from dewcore.words import SENSOR_PLACE

MARK = 0x4C44  # the bytes "DL"
VERSION = 5
# Mark, version, flags, latched alarms, wall time of packing [s], 0 unknown.  The first four stay where they are in
# every version, so that an alarm outlasts a change of firmware.
HEAD = "<HBBII"
SEASON_OVER = 1
DISTRUSTED = 2
OUTDOOR_DOUBTED = 4
IN_SUPPLY = 8
OUTDOOR_JUMPED = 16
MOST_SUM = 1.0e6
MOST_HOURS = 1 << 29

# Single numbers, part by part: name, code, lowest and highest that make sense; those of floats are single precision's.
HOUSE = (
    ("dry_per_h", "f", 0.015625, 1.25),
    ("store_per_h", "f", 0.0, 0.75),
    ("valve_g_kg_h", "f", 0.03125, 8.25),
    ("bias", "f", -12.25, 8.25),
    ("ratio", "f", 0.0, 60.0),
    ("own", "f", 0.0, 60.0),
    ("store_pct", "f", 0.0, 100.0),
    ("own_store_pct", "f", -100.0, 1000.0),
    ("alone", "f", 0.0, 1.125),
    ("too_dry_g_kg", "f", -60.0, 60.0),
    ("today_c", "f", 0.0, 99.0),
    ("hour", "b", -1, 23),
    ("hours", "I", 0, MOST_HOURS),
)
FALL = (("hours", "I", 0, MOST_HOURS), ("next", "B", 0, FALL_HOURS - 1))
HISTORY = (("count", "B", 0, HOURS), ("next", "B", 0, HOURS - 1))
SENSED = (
    ("glass_colder_k", "f", -1000.0, 200.0),
    ("room_colder_k", "f", 0.0, 50.0),
    ("room_excess_pa", "f", 0.0, 10000.0),
)
DOUBTS = (
    ("strength", "f", 0.0, 60.0),
    ("recent", "f", 0.0, 60.0),
    ("usual", "f", -60.0, 60.0),
    ("excess", "f", -60.0, 60.0),
    ("usual_duty", "f", 0.0, 1.0),
    ("usual_span_k", "f", 0.0, 150.0),
    ("duty_h", "f", 0.0, 672.0),
    ("duty", "f", 0.0, 1.0),
    ("span_k", "f", 0.0, 150.0),
    ("odd_s", "H", 0, 7200),
)
JUDGED = (("rh_fell_pct", "f", 0.0, 100.0),)
SCALARS = HOUSE + FALL + HISTORY + SENSED + DOUBTS + JUDGED
AGES = MOST_STARTS + A_DAY + 1
TRIAL_BYTES = 4 * WIDTH
ARRAY_BYTES = 4 * AGES + 24 * (4 + 1 + 4 + 1 + 4) + (BLOCKS + 1 + 2) * FALL_HOURS + 2 * HOURS + TRIALS * TRIAL_BYTES
WINDOW_BYTES = 128
WIDEST = 4  # bytes of a number
GLASS_AT = struct.calcsize(HEAD)
NUMBERS_AT = GLASS_AT + IMAGE_BYTES
SIZE = NUMBERS_AT + struct.calcsize("<" + "".join([row[1] for row in SCALARS])) + ARRAY_BYTES


def scalars(controller: "Controller") -> list:
    """(object, its rows) of all single numbers."""
    outlook = controller.outlook
    return [
        (outlook.house, HOUSE),
        (outlook.fall, FALL),
        (controller.judge.history, HISTORY),
        (controller, SENSED),
        (outlook.doubts, DOUBTS),
        (controller.judge, JUDGED),
    ]


def arrays(controller: "Controller", ages: "array[int]") -> list:
    """(array, first, how many, code, lowest, highest) of all others; ages: what began how long ago."""
    house = controller.outlook.house
    fall = controller.outlook.fall
    history = controller.judge.history
    rows = [
        (ages, 0, len(ages), "i", -1, DAY_S),
        (house.gains, 0, 24, "f", 0.0, 8.25),
        (house.counts, 0, 24, "B", 0, MOST_COUNT),
        (house.peaks, 0, 24, "f", 0.0, 60.0),
        (house.sudden, 0, 24, "B", 0, 255),
        (house.lowest_c, 0, 24, "f", 0.0, 99.0),
        (fall.own_drop, 0, BLOCKS * FALL_HOURS, "B", 0, 255),
        (fall.own_below, 0, FALL_HOURS, "B", 0, 255),
        (fall.lowest_cc, 0, FALL_HOURS, "h", -7000, 32767),
        (history.hour_cc, 0, HOURS, "h", -7000, 6000),
    ]
    for n in range(TRIALS):
        rows.append((house.trials, WIDTH * n, WIDTH, "f", -MOST_SUM, MOST_SUM))
    return rows


class Image:
    """The image as of the controller's last scan, in small pieces: hours after a start there may be no memory for all.

    utc_s: wall time [s], 0 unknown.  The pieces lie in one window, each until the next is asked for.
    """

    __slots__ = ("controller", "utc_s", "window")

    def __init__(self, controller: "Controller", utc_s: int = 0) -> None:
        self.controller = controller
        self.utc_s: int = utc_s
        self.window: bytearray = bytearray(WINDOW_BYTES)

    def __len__(self) -> int:
        return SIZE

    def pieces(self):
        """All of it; the same again as long as there was no scan."""
        controller = self.controller
        window = self.window
        latched = controller.permit.latched
        struct.pack_into(HEAD, window, 0, MARK, VERSION, _flags(controller), latched, max(0, self.utc_s))
        yield memoryview(window)[:GLASS_AT]
        yield controller.glass.pack()
        at = 0
        for part, rows in scalars(controller):  # together less than a piece
            for name, code, low, high in rows:
                struct.pack_into("<" + code, window, at, max(low, min(getattr(part, name), high)))
                at += struct.calcsize(code)
        for values, first, count, code, low, high in arrays(controller, _ages(controller)):
            form = "<" + code
            width = struct.calcsize(form)
            for n in range(first, first + count):
                if at > WINDOW_BYTES - WIDEST:
                    yield memoryview(window)[:at]
                    at = 0
                struct.pack_into(form, window, at, max(low, min(values[n], high)))
                at += width
        yield memoryview(window)[:at]


def pack(controller: "Controller", utc_s: int = 0) -> bytearray:
    """The image in one piece."""
    image = bytearray()
    for piece in Image(controller, utc_s).pieces():
        image += piece
    return image


def urgent(controller: "Controller") -> int:
    """What has to outlast a power cut from now on, as one number: latched alarms, and a humidity that fell at once."""
    return controller.permit.latched << 1 | (1 if controller.judge.rh_fell_pct > 0.0 else 0)


def alarms(image: bytes) -> int:
    """The latched alarms in an image of any version; 0 where it is none."""
    if len(image) < GLASS_AT:
        return 0
    mark, _, _, latched, _ = struct.unpack_from(HEAD, image, 0)
    return latched & LATCHING if mark == MARK else 0


def gap_s(image: bytes, utc_s: int) -> int:
    """Seconds from packing to the wall time utc_s; -1 where either wall time is unknown, or they cannot be right."""
    if len(image) < GLASS_AT:
        return -1
    packed_s = struct.unpack_from(HEAD, image, 0)[4]
    return utc_s - packed_s if 0 < packed_s <= utc_s else -1


def unpack(controller: "Controller", image: bytes, now_s: int, gap: int = -1) -> bool:
    """Bring a new controller to an image, wholly or not at all; True where it was a sound one.

    now_s: monotonic seconds of this boot; gap: as of gap_s, -1 unknown (then `settle`, once it is known).
    """
    if len(image) != SIZE:
        return False
    mark, version, flags, latched, _ = struct.unpack_from(HEAD, image, 0)
    known = SEASON_OVER | DISTRUSTED | OUTDOOR_DOUBTED | IN_SUPPLY | OUTDOOR_JUMPED
    if mark != MARK or version != VERSION or flags & ~known or latched & ~LATCHING:
        return False
    ages = array("i", [0] * AGES)
    if not _is_sound(controller, ages, image) or not controller.glass.unpack(image[GLASS_AT:NUMBERS_AT]):
        return False
    at = NUMBERS_AT
    for part, rows in scalars(controller):
        for name, code, _, _ in rows:
            setattr(part, name, struct.unpack_from("<" + code, image, at)[0])
            at += struct.calcsize(code)
    for values, first, count, code, _, _ in arrays(controller, ages):
        for number in struct.unpack_from("<" + str(count) + code, image, at):
            values[first] = number
            first += 1
        at += count * struct.calcsize(code)
    controller.permit.latched |= latched
    _resume(controller, ages, now_s)
    _raise(controller, flags, now_s)
    settle(controller, gap)
    return True


def settle(controller: "Controller", gap: int) -> None:
    """Now it is known how long ago the image was packed, at the boot: gap [s] as of gap_s; -1 changes nothing."""
    if gap >= 0:
        controller.judge.history.settle(gap)


def _is_sound(controller: "Controller", ages: "array[int]", image: bytes) -> bool:
    """Whether every number of an image lies within its bounds, and the trials can be fitted."""
    at = NUMBERS_AT
    for _, rows in scalars(controller):
        for _, code, low, high in rows:
            if not low <= struct.unpack_from("<" + code, image, at)[0] <= high:
                return False
            at += struct.calcsize(code)
    for _, _, count, code, low, high in arrays(controller, ages):
        for number in struct.unpack_from("<" + str(count) + code, image, at):
            if not low <= number <= high:
                return False
        at += count * struct.calcsize(code)
    for n in range(TRIALS):
        if not can_be_fitted(struct.unpack_from("<9f", image, SIZE - TRIAL_BYTES * (TRIALS - n) + 4 * SUMS)):
            return False
    return True


def can_be_fitted(sums: tuple) -> bool:
    """Whether a trial's sums of products leave the three pivots of House._fit above zero, as real ones do."""
    oo, ov, og, _, vv, vg, _, gg, _ = sums
    if not (oo >= 0.0 and vv >= 0.0 and gg >= 0.0):
        return False
    d = oo + PRIOR_OUT
    v2 = vv + PRIOR_VALVE - ov * ov / d
    if not v2 > 0.0:
        return False
    vg2 = vg - ov * og / d
    return gg + PRIOR_GAIN - og * og / d - vg2 * vg2 / v2 > 0.0


def _ages(controller: "Controller") -> "array[int]":
    """How long ago [s] the valve's last starts, the last window tests and the end of the last were; -1 never."""
    ages = array("i")
    now_s = controller.scanned_s
    for start_s in controller.valve.starts_s:
        ages.append(_age(start_s, now_s, 3600))
    window = controller.window
    for begun_s in window.begun_s:
        ages.append(_age(begun_s, now_s, DAY_S))
    ages.append(_age(now_s if window.testing else window.ended_s, now_s, PAUSE_S))
    return ages


def _age(at_s: int, now_s: int, longest_s: int) -> int:
    """How long ago at_s was, -1 where that was never or no longer counts; times before the boot's own are NEVER."""
    return now_s - at_s if at_s >= 0 and 0 <= now_s - at_s < longest_s else -1


def _resume(controller: "Controller", ages: "array[int]", now_s: int) -> None:
    """What is not kept as it is: times of this boot, the week, the own share, sensors that are no longer fitted."""
    for n in range(MOST_STARTS):
        controller.valve.starts_s[n] = _when(ages[n], now_s)
    for n in range(A_DAY):
        controller.window.begun_s[n] = _when(ages[MOST_STARTS + n], now_s)
    controller.window.ended_s = _when(ages[MOST_STARTS + A_DAY], now_s)
    history = controller.judge.history
    history.resume(history.count, history.next, controller.settings.outdoor_rh_pct)
    house = controller.outlook.house
    if history.count:
        house.outdoor_hour(history)
    if not controller.settings.has_glass:
        controller.glass_colder_k = -1000.0
    if not controller.settings.has_room:
        controller.room_colder_k = 0.0
        controller.room_excess_pa = 0.0
    controller.preset_day = 0.0


def _flags(controller: "Controller") -> int:
    """What is either so or not."""
    doubts = controller.outlook.doubts
    flags = (SEASON_OVER if controller.season_over else 0) | (DISTRUSTED if controller.outlook.house.distrusted else 0)
    flags |= (OUTDOOR_DOUBTED if doubts.outdoor else 0) | (IN_SUPPLY if doubts.notices >> SENSOR_PLACE & 1 else 0)
    return flags | (OUTDOOR_JUMPED if controller.judge.belief.jumped_s >= 0 else 0)


def _raise(controller: "Controller", flags: int, now_s: int) -> None:
    """The flags of an image; a jump counts anew from the boot, against the last hour that was believed."""
    controller.season_over = flags & SEASON_OVER != 0
    controller.outlook.house.distrusted = flags & DISTRUSTED != 0
    doubts = controller.outlook.doubts
    judge = controller.judge
    doubts.outdoor = judge.outdoor_doubted = flags & OUTDOOR_DOUBTED != 0
    judge.indoor_doubted = flags & IN_SUPPLY != 0
    if judge.indoor_doubted:
        doubts.notices |= 1 << SENSOR_PLACE
        doubts.warm_starts = WARM_STARTS
    if flags & OUTDOOR_JUMPED and judge.history.count:
        judge.outdoor_doubted = True
        judge.belief.jumped_s = now_s
        judge.belief.usual_c = 0.01 * judge.history.back_cc(1)


def _when(age_s: int, now_s: int) -> int:
    """A time of this boot for what began age_s ago: no earlier than the boot, so rather too late."""
    return NEVER if age_s < 0 else max(0, now_s - age_s)

