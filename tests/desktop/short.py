"""A house that gets wet within days and a made weather of days: short winters for the tests of what a replay says."""

import math
from array import array

from dewsim import housefile, weather

NAME = 'A <b>house</b> & "glass" </script>'
START_S = 1_700_006_400  # 2023-11-15 00:00 UTC; local 14 November 18:00
OFFSET_S = -21600


def sky(days, mean_c, *changes):
    """Sines of 6 K about mean_c, each day a little colder than the last; changes: (hour, K) from that hour on."""
    n = 24 * days + 1
    outdoor_c = array(
        "d", [mean_c + 6.0 * math.sin(2.0 * math.pi * (i - 9) / 24) - 0.004 * i for i in range(n)]
    )
    for hour, k in changes:
        for i in range(hour, n):
            outdoor_c[i] += k
    same = (array("d", [value] * n) for value in (85.0, 4.0, 101325.0))
    notes = ["a note <of> the weather."]
    return weather.Weather(
        "Sines & sons", "invented", "made of sines", START_S, OFFSET_S, 3600, outdoor_c, *same, notes
    )


def house(**values):
    """A house without bursts whose humidifier wets the glass for some minutes where nothing holds it back."""
    glass = {"f_day": 0.6, "f_night": 0.6}
    return housefile.House(
        {"name": NAME, "humidifier": {"kg_h": 2.0}, "glass": glass, "gains": {"bursts": False}, **values}
    )
