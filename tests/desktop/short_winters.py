"""A few days of an invented winter as a weather file, for tests that need many runs."""

from datetime import datetime, timezone

from dewsim import winters

FIRST_DAY = 75  # from 1 October: mid-December of a hard winter


def write(path, days: float, first_day: int = FIRST_DAY, seed: int = 3):
    """Hours of the invented winter hard:SEED as our own CSV; the path."""
    sky = winters.invent(seed, "hard")
    lines = ["time,outdoor_c,rh_pct,wind_m_s,pressure_pa"]
    for i in range(first_day * 24, first_day * 24 + int(days * 24) + 1):
        moment = datetime.fromtimestamp(sky.start_utc_s + i * 3600, timezone.utc)
        values = (sky.outdoor_c[i], sky.rh_pct[i], sky.wind_m_s[i], sky.pressure_pa[i])
        lines.append(moment.isoformat() + "".join(f",{value:.2f}" for value in values))
    path.write_text("\n".join(lines) + "\n")
    return path
