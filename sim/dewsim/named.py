"""Names that stand for invented inputs on the command line: KIND:SEED a winter, drawn:SEED:INDEX:REGIME a house."""

import os

from dewsim import family, houses, sampler, weather, winters
from dewsim.errors import InputError, shown

DRAWN = "drawn:"
LARGEST = 999_999_999


def number(text: str) -> "int | None":
    """A whole number from 0 to LARGEST, or None."""
    fits = text.isascii() and text.isdigit() and len(text) <= len(str(LARGEST))
    return int(text) if fits else None


def winter(name: str) -> weather.Weather:
    """`KIND:SEED` (hard:3) for an invented winter, anything else a weather file; InputError."""
    if not name:
        raise InputError("--weather: found no name; name a weather file, or an invented winter such as hard:3")
    kind, colon, text = name.partition(":")
    if colon and kind in winters.KINDS:
        seed = number(text)
        if seed is None:
            raise InputError(
                f"--weather {shown(name)}: found the seed {shown(repr(text), 40)}, allowed is a whole number from 0 "
                f"to {LARGEST}; write {kind}:3, for example"
            )
        return winters.invent(seed, kind)
    if name in winters.KINDS and not os.path.lexists(name):
        raise InputError(f"--weather {name}: found no seed; write {name}:3, for example")
    if colon and kind.isidentifier() and not os.path.lexists(name):
        raise InputError(
            f"--weather {shown(name)}: found the kind {shown(kind, 40)} of invented winter, allowed are "
            f"{', '.join(winters.KINDS)}; use one of them, or a file that exists"
        )
    return weather.winter_of(name)


class Drawn:
    """A drawn house by name, `drawn:SEED:INDEX`, and the regime of its sensors: nothing for exact, :erring, :corner."""

    def __init__(self, name: str):
        parts = name.split(":")[1:]
        self.regime = parts.pop() if len(parts) == 3 else "exact"
        numbers = [number(part) for part in parts]
        if len(numbers) != 2 or None in numbers or self.regime not in houses.REGIMES:
            raise InputError(
                f"{shown(name)}: allowed is drawn:SEED:INDEX with two whole numbers from 0 to {LARGEST}, and after it "
                f"perhaps :{', :'.join(houses.REGIMES)}; correct it"
            )
        self.seed, self.index = numbers

    def house(self, sky: weather.Weather):
        """The house as it is drawn for this winter."""
        drawn = sampler.draw(self.seed, self.index, sampler.coldest_c(sky.outdoor_c))
        return houses.with_regime(drawn, self.regime, self.seed, self.index)

    def course_seed(self) -> int:
        """The seed of its showers, cooking and forecasts."""
        return family.course_seed(self.seed, self.index)
