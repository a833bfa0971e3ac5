"""The virtual board of long runs and a winter's days on it: from the first hour on its house needs water."""

from dewsim.virtual import VirtualBoard, install

BEAT_US = 1000000
DAY_S = 86400
DRIEST_PCT = 13.0
DRYING_PCT = 0.01  # a minute
WETTING_PCT = 0.05

WORLD = VirtualBoard(start_ms=(1 << 30) - 5000)
WORLD.rh_pct = DRIEST_PCT
install(WORLD)


def weather(now_s):
    """A winter's days: cold nights, a furnace that heats a third of the time and more when it is cold.

    The house dries; what flows while the valve has its 24 V makes up for it.
    """
    third = now_s // 60 % 30
    heating = third < 10 + now_s // DAY_S % 5
    if heating != WORLD.heat_call:
        WORLD.heat_call = WORLD.fan_running = WORLD.terminal_live = heating
    of_day = now_s % DAY_S
    swing = (of_day if of_day < DAY_S // 2 else DAY_S - of_day) / DAY_S
    WORLD.outdoor_c = -12.0 + 12.0 * swing + now_s // DAY_S % 7
    WORLD.indoor_c = 20.0 + 0.8 * swing
    WORLD.rh_pct = max(DRIEST_PCT, WORLD.rh_pct + (WETTING_PCT if WORLD.valve_powered else -DRYING_PCT))
