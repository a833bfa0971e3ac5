"""The 24 VAC circuit in formulas: valve, lamp, wire, fuse and contact life; checked in ngspice by the tests."""

from math import acos, asin, cos, degrees, pi, sin, sqrt

LED_DROP_V = 2.0  # of a red or green LED with an ideal protecting diode; from memory of common parts
DIODE_DROP_V = 0.7
# Time-lag fuses of IEC 60127-2 (rated currents, R10 series) [A]: from memory
FUSES_A = (0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0)
FUSE_LOAD = 0.75  # a fuse is not loaded above this share for good: common practice, no source
FUSE_BLOWS = 10.0  # a time-lag fuse opens within 0.3 s at ten times its rating (IEC 60127-2 sheet 3, from memory)
FUSE_HOLDS = 4.0  # and holds four times its rating for at least 0.15 s (the same)


class Valve:
    """A coil on AC: volts, amperes and, where marked, watts; series resistance and inductance follow.

    volt_amperes [VA]; watts, factor (power factor), angle_deg, impedance_ohm, resistance_ohm, reactance_ohm and
    inductance_h are None where the watts are not known.
    """

    def __init__(self, volts: float, amperes: float, watts: float | None = None, hz: float = 60.0):
        self.volts, self.amperes, self.watts, self.hz = volts, amperes, watts, hz
        self.volt_amperes = volts * amperes
        self.impedance_ohm = volts / amperes
        self.factor = self.angle_deg = self.resistance_ohm = self.reactance_ohm = self.inductance_h = None
        if watts is not None:
            self.factor = min(1.0, watts / self.volt_amperes)
            self.angle_deg = degrees(acos(self.factor))
            self.resistance_ohm = watts / amperes**2
            self.reactance_ohm = sqrt(max(0.0, self.impedance_ohm**2 - self.resistance_ohm**2))
            self.inductance_h = self.reactance_ohm / (2.0 * pi * hz)

    def amperes_at(self, hz: float) -> float:
        """Current [A] of the same coil on another mains frequency; the watts have to be known."""
        reactance = 2.0 * pi * hz * self.inductance_h
        return self.volts / sqrt(self.resistance_ohm**2 + reactance**2)


class Lamp:
    """An LED with its resistor on AC: mean and peak current of the LED, rms current and heat of the resistor.

    protection "antiparallel": a diode across the LED, both half waves flow; "series": a diode in line, one flows.
    Mean over a period: (2 Vp cos th - V (pi - 2 th)) / (2 pi R), th = asin(V / Vp).  heat_w is the bound V**2/R, half
    of it with one half wave.
    """

    def __init__(self, volts: float, ohm: float, protection: str):
        peak_v = sqrt(2.0) * volts
        both = protection != "series"
        drop_v = LED_DROP_V if both else LED_DROP_V + DIODE_DROP_V
        angle = asin(drop_v / peak_v)
        self.mean_a = (2.0 * peak_v * cos(angle) - drop_v * (pi - 2.0 * angle)) / (2.0 * pi * ohm)
        self.peak_a = (peak_v - drop_v) / ohm
        self.rms_a = _lit_rms_a(peak_v, drop_v, angle, ohm) * (1.0 if both else sqrt(0.5))
        self.heat_w = volts**2 / ohm * (1.0 if both else 0.5)
        self.reverse_v = {"antiparallel": DIODE_DROP_V, "series": 0.0, "none": peak_v}[protection]


def _lit_rms_a(peak_v: float, drop_v: float, angle: float, ohm: float) -> float:
    """Rms over a half wave of (Vp sin x - V)/R between th and pi - th."""
    lit = pi - 2.0 * angle
    square = peak_v**2 * (0.5 * lit + 0.5 * sin(2.0 * angle)) - 4.0 * peak_v * drop_v * cos(angle) + drop_v**2 * lit
    return sqrt(square / pi) / ohm


def lamp_ohm(volts: float, mean_a: float, protection: str, series: tuple) -> float:
    """The smallest resistor of a series of values whose LED stays at or below mean_a [A]."""
    for ohm in series:
        if Lamp(volts, ohm, protection).mean_a <= mean_a:
            return ohm
    return series[-1]


def drop_v(amperes: float, ohm_km: float, one_way_m: float) -> float:
    """Volts that both leads take: current times loop resistance, the largest it can be whatever the phase."""
    return amperes * ohm_km * 2.0 * one_way_m / 1000.0


def left_v(valve: Valve, ohm_km: float, one_way_m: float) -> float:
    """Volts left across the valve behind its leads: in phase with its resistance where that is known."""
    loop = ohm_km * 2.0 * one_way_m / 1000.0
    if valve.resistance_ohm is None:
        return valve.volts - valve.amperes * loop
    whole = sqrt((valve.resistance_ohm + loop) ** 2 + valve.reactance_ohm**2)
    return valve.volts * valve.impedance_ohm / whole


def fuse_a(branch_a: float, inrush_a: float, below_a: float) -> float | None:
    """The smallest time-lag fuse [A] that carries the branch for good and its inrush, below a limit; None: none is."""
    for rated in FUSES_A:
        if rated * FUSE_LOAD >= branch_a and rated * FUSE_HOLDS >= inrush_a:
            return rated if rated < below_a else None
    return None


def short_a(volts: float, transformer_va: float, loop_ohm: float) -> float:
    """Current [A] of a short at the valve's end: the wire and a transformer whose impedance is 10 % of its rating."""
    source_ohm = 0.1 * volts**2 / transformer_va  # 10 %: from memory of small transformers
    return volts / (source_ohm + loop_ohm)


def life_years(cycles: float, starts_a_day: float, season_days: float) -> float:
    """Seasons that a contact of so many rated cycles lasts."""
    return cycles / (starts_a_day * season_days)
