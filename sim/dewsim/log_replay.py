"""`dewmargin replay LOG`: the logged winter's weather through a house fitted to the log, and through a changed one.

What was recorded stands beside what the fitted house would have done with the same weather, which shows how far the
fit is to be trusted, and beside the house with what is asked to be otherwise.
"""

import time
from array import array

from dewcore.psychro import STANDARD_PRESSURE_PA
from dewsim.weather import Weather

SAMPLE_MIN = 10
DAMPEST_PCT, DRIEST_PCT = 100.0, 5.0


def weather_of(series, name: str) -> Weather:
    """The outdoor air of a log: measured temperature, and what a log does not hold as the fit has it."""
    from dewsim import fit_series

    n = series.n // SAMPLE_MIN * SAMPLE_MIN + 1
    if n > series.n:
        n -= SAMPLE_MIN
    outdoor_c = fit_series.uniform_filter1d(series.outdoor_bridged_c, SAMPLE_MIN)
    pa = fit_series.vapour_pa(fit_series.outdoor_w_g_kg(series.outdoor_bridged_c))
    rh_pct = (100.0 * pa / fit_series.sat_pa(outdoor_c)).clip(DRIEST_PCT, DAMPEST_PCT)
    columns = [array("d", column[:n:SAMPLE_MIN].tolist()) for column in (outdoor_c, rh_pct)]
    samples = len(columns[0])
    still = [array("d", [value] * samples) for value in (fit_series.WIND_M_S, STANDARD_PRESSURE_PA)]
    offset_s = -time.timezone
    start_utc_s = series.start_local_s - offset_s
    gaps = 1.0 - float(series.known.mean())
    notes = ["outdoor humidity judged by temperature, wind 4 m/s, standard pressure: a log holds none of them"]
    if gaps > 0.0:
        notes.append(f"{100.0 * gaps:.1f} % of the minutes are not in the log and were bridged by straight lines")
    return Weather(
        name, "log", f"log {name}", start_utc_s, offset_s, 60 * SAMPLE_MIN, *columns, *still, notes
    )
