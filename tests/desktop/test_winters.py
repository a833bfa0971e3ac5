"""The invented winters: as hard as measured ones, no harder, always the same; the demo's as told."""

import gzip
import hashlib
from pathlib import Path

import pytest

from dewcore.psychro import sat_water_pa, vapour_pa
from dewsim import falls, weather, winters
from dewsim.errors import InputError

REAL = Path(__file__).parents[1] / "reference" / "weather"
SEEDS = range(1, 13)
# Lowest and highest of five groups of typical-year winters (two of them lie beside the reference tests; three
# continental ones, a mid-Atlantic one and a mild coast were read elsewhere), in K:
# hours: median, 90 %, 99 % of the fall from an hour below 12 °C to the lowest within so many hours
FALLS_K = {
    1: ((0.0, 0.0), (0.8, 1.7), (1.6, 4.0)),
    3: ((0.0, 0.6), (1.1, 3.9), (2.8, 7.0)),
    6: ((0.4, 1.1), (2.0, 6.0), (4.0, 10.0)),
    12: ((1.0, 2.2), (3.0, 8.3), (6.0, 13.7)),
    24: ((1.1, 4.0), (4.0, 10.0), (7.8, 16.1)),
    48: ((2.0, 6.0), (6.0, 12.8), (8.4, 20.0)),
}
DAILY_SD_K = (1.6, 5.3)
LAG_1 = (0.61, 0.78)
DAILY_RANGE_K = (3.4, 11.9)


def largest_fall(values, hours):
    return max(values[i] - min(values[i : i + hours + 1]) for i in range(len(values)))


@pytest.fixture(scope="module")
def invented():
    return {kind: [winters.invent(seed, kind) for seed in SEEDS] for kind in winters.KINDS}


# --- the statistics themselves


def test_statistics_by_hand():
    """A sawtooth: 8 °C at midnight, falling 1 K an hour to -15 at 23:00, every day, ten days."""
    hours = [8.0 - i % 24 for i in range(240)]
    flat = weather.array("d", [80.0] * 240)
    saw = weather.Weather("saw", "csv", "", 3600, 0, 3600, weather.array("d", hours), flat, flat, flat, [])
    found = winters.statistics(saw)
    # within 1 h all hours fall by 1 K but 23:00, which rises; within 48 h the fall is to -15
    assert found.falls_k[1] == (1.0, 1.0, 1.0, 1.0)
    assert found.falls_k[48][3] == 23.0
    # 48 h: falls 0..23 K equally often; the sorted half, 90 % and 99 % of 240 are the 121st, 217th, 238th
    assert found.falls_k[48][:3] == (12.0, 21.0, 23.0)
    assert found.daily_range_k == 23.0  # the file's first hour is 01:00, so that its days are whole
    assert (found.daily_sd_k, found.lag_1) == (0.0, 0.0)


def test_hours_of_12_degrees_and_more_do_not_count():
    values = weather.array("d", [20.0, 5.0, 4.0] * 80)
    flat = weather.array("d", [80.0] * 240)
    found = winters.statistics(weather.Weather("w", "csv", "", 3600, 0, 3600, values, flat, flat, flat, []))
    assert found.falls_k[48][3] == 1.0  # from 5 to 4, not from 20


def test_autocorrelation_by_hand():
    """Two mild days, two cold days, in turn: neighbours are alike as often as not."""
    means = [1.0, 1.0, -1.0, -1.0] * 60
    hours = weather.array("d", [mean for mean in means for _ in range(24)])
    flat = weather.array("d", [80.0] * len(hours))
    found = winters.statistics(weather.Weather("w", "csv", "", 3600, 0, 3600, hours, flat, flat, flat, []))
    assert found.daily_sd_k == pytest.approx(1.0, abs=0.03)
    assert found.lag_1 == pytest.approx(0.0, abs=0.05)
    assert found.daily_range_k == 0.0


@pytest.mark.parametrize(
    "name, falls, rest",
    [
        (
            "703165TY.csv.gz",
            {
                1: (0, 1, 1.6, 4.6),
                3: (0, 1.1, 2.8, 5.2),
                6: (0.4, 2, 4, 7),
                24: (1.1, 4, 7.8, 11),
                48: (2, 6, 10, 12),
            },
            (3.6, 0.78, 3.4),
        ),
        (
            "723170TYA.CSV.gz",
            {
                1: (0, 1.2, 2.8, 4.5),
                6: (1.1, 4.5, 8.4, 12.2),
                12: (1.7, 6.7, 11.4, 17.8),
                48: (4.5, 10.8, 16.7, 22.7),
            },
            (4.9, 0.70, 11.2),
        ),
    ],
)
def test_statistics_of_two_measured_winters(name, falls, rest):
    """Computed from the same files by other code than ours; its quantiles may differ by a step of 0.2 K."""
    found = winters.statistics(weather.winter(weather.read(REAL / name)))
    for hours, expected in falls.items():
        assert found.falls_k[hours] == pytest.approx(expected, abs=0.21), hours
    assert found.daily_sd_k == pytest.approx(rest[0], abs=0.06)
    assert found.lag_1 == pytest.approx(rest[1], abs=0.011)
    assert found.daily_range_k == pytest.approx(rest[2], abs=0.06)


def test_statistics_need_enough_cold_days():
    flat = weather.array("d", [80.0] * 240)
    warm = weather.Weather("warm", "csv", "", 0, 0, 3600, flat, flat, flat, flat, [])
    with pytest.raises(InputError, match="0 hours below 12"):
        winters.statistics(warm)
    short = weather.array("d", [0.0] * 100)
    with pytest.raises(InputError, match="4 whole days"):
        winters.statistics(weather.Weather("short", "csv", "", 3600, 0, 3600, short, short, short, short, []))


# --- invented winters against measured ones


@pytest.mark.parametrize("kind", winters.KINDS)
def test_falls_lie_within_the_measured_range(invented, kind):
    for found in invented[kind]:
        falls_k = winters.statistics(found).falls_k
        for hours, ranges in FALLS_K.items():
            for value, (lowest, highest), share in zip(falls_k[hours], ranges, ("half", "90 %", "99 %")):
                assert lowest <= value <= highest, (found.name, hours, share)


@pytest.mark.parametrize("kind", winters.KINDS)
def test_days_vary_and_persist_as_measured(invented, kind):
    for found in invented[kind]:
        figures = winters.statistics(found)
        assert DAILY_SD_K[0] <= figures.daily_sd_k <= DAILY_SD_K[1], found.name
        assert LAG_1[0] <= figures.lag_1 <= LAG_1[1], found.name
        assert DAILY_RANGE_K[0] <= figures.daily_range_k <= DAILY_RANGE_K[1], found.name


def test_hard_winters_come_near_the_continental_ones(invented):
    """Medians over the seeds against three continental winters pooled: they vary as much, and fall nearly as hard."""
    figures = [winters.statistics(found) for found in invented["hard"]]

    def middle(figure):
        values = sorted(figure(one) for one in figures)
        return values[len(values) // 2]

    for hours, expected in {6: (6, 10), 12: (8.3, 13.7), 24: (10, 16.1), 48: (12.8, 20)}.items():
        for at, value in zip((1, 2), expected):
            assert middle(lambda s: s.falls_k[hours][at]) == pytest.approx(value, rel=0.2), (hours, at)
    assert middle(lambda s: s.daily_sd_k) == pytest.approx(5.3, rel=0.05)
    assert middle(lambda s: s.lag_1) == pytest.approx(0.66, abs=0.1)
    assert middle(lambda s: s.daily_range_k) == pytest.approx(11.9, rel=0.05)


def test_a_kind_is_scaled_to_the_spread_and_range_it_names():
    """Candidates, before any is thrown away; rounding to half a kelvin moves them by a few hundredths."""
    for kind, parts in winters.KINDS.items():
        figures = [winters.statistics(winters.candidate(seed, kind, 0)) for seed in range(6)]
        for name, (lowest, highest) in (("daily_sd_k", parts.daily_sd_k), ("daily_range_k", parts.daily_range_k)):
            values = [getattr(one, name) for one in figures]
            assert all(lowest - 0.1 <= value <= highest + 0.1 for value in values), (kind, name)
            assert len({round(value, 2) for value in values}) > 2, (kind, name)  # each draws its own


def test_what_passes_and_the_day_are_scaled_to_what_is_asked():
    """A wave of nine days and a rise from midnight to midnight, of which the first moves the daily range too."""
    n = winters.SEASON_DAYS * 24 + 1
    season = winters.array("d", [10.0 - i / 300.0 for i in range(n)])
    passing = winters.array("d", [winters.cos(i / 34.4) for i in range(n)])
    daily = winters.array("d", [(i - 1) % 24 / 23.0 for i in range(n)])
    out = winters.scaled(season, passing, daily, 3.0, 9.0)
    flat = winters.array("d", [80.0] * n)
    figures = winters.statistics(weather.Weather("w", "csv", "", 0, 0, 3600, out, flat, flat, flat, []))
    assert figures.daily_sd_k == pytest.approx(3.0, abs=0.001)
    assert figures.daily_range_k == pytest.approx(9.0, abs=0.001)


def test_the_first_candidate_within_the_measured_range_is_taken(monkeypatch):
    drawn = []

    def outside(found):
        drawn.append(found)
        return [] if len(drawn) == 3 else ["lag 1"]

    monkeypatch.setattr(winters, "outside", outside)
    monkeypatch.setattr(winters, "statistics", lambda found: found)
    found = winters.invent(4, "inland")
    assert found is drawn[2] and len(drawn) == 3
    assert found.outdoor_c == winters.candidate(4, "inland", 2).outdoor_c
    assert len({tuple(one.outdoor_c) for one in drawn}) == 3


def test_a_seed_without_such_a_candidate_is_refused(monkeypatch):
    tried = []
    monkeypatch.setattr(winters, "candidate", lambda seed, kind, number: tried.append(number))
    monkeypatch.setattr(winters, "statistics", lambda found: found)
    monkeypatch.setattr(winters, "outside", lambda found: ["lag 1"])
    with pytest.raises(InputError, match="kind hard, seed 9: each of 20 candidates .* use another seed"):
        winters.invent(9, "hard")
    assert tried == list(range(20))


def test_limits_of_the_generator_are_the_measured_ones():
    expected = {"daily sd": DAILY_SD_K, "lag 1": LAG_1, "daily range": DAILY_RANGE_K}
    for hours, ranges in FALLS_K.items():
        expected |= {f"{hours} h {share}": limits for share, limits in zip(("median", "90 %", "99 %"), ranges)}
    assert falls.MEASURED == expected


def test_what_is_outside_is_named_and_limits_belong_to_the_inside():
    """Every figure at its lower limit, at its upper one, just beyond either, and not a number."""
    for at, beyond in ((0, -0.001), (1, 0.001)):
        falls_k = {hours: (*(limits[at] for limits in ranges), 99.0) for hours, ranges in FALLS_K.items()}
        good = falls.Statistics(falls_k, DAILY_SD_K[at], LAG_1[at], DAILY_RANGE_K[at])
        assert falls.outside(good) == []
        assert falls.outside(falls.Statistics(falls_k, DAILY_SD_K[at] + beyond, LAG_1[at], float("nan"))) == [
            "daily sd",
            "daily range",
        ]
        falls_k[12] = (falls_k[12][0], falls_k[12][1] + beyond, falls_k[12][2], 99.0)
        assert falls.outside(falls.Statistics(falls_k, DAILY_SD_K[at], LAG_1[at] + beyond, 5.0)) == [
            "12 h 90 %",
            "lag 1",
        ]


@pytest.mark.parametrize("kind", winters.KINDS)
def test_no_front_is_deeper_than_any_measured(kind):
    """21.1 K in 6 h and 29.0 K in 48 h were the largest in seven winters."""
    for seed in range(100, 112):
        values = winters.invent(seed, kind).outdoor_c
        assert largest_fall(values, 6) <= 20.0
        assert largest_fall(values, 48) <= 29.0


def test_falls_are_limited_where_they_would_go_too_deep():
    values = weather.array("d", [10.0] * 10 + [-30.0] * 60 + [10.0, -9.0, -11.0])
    winters.limit_falls(values)
    assert largest_fall(values, 6) == 20.0
    assert largest_fall(values, 48) == 29.0
    assert values[69] == -30.0  # two days on it may be as cold as it would


@pytest.mark.parametrize("kind", winters.KINDS)
def test_every_hour_is_possible_air(invented, kind):
    for found in invented[kind]:
        n = 212 * 24 + 1
        assert [len(getattr(found, name)) for name in ("outdoor_c", "rh_pct", "wind_m_s", "pressure_pa")] == [
            n
        ] * 4
        assert found.local(0).isoformat() == "2001-10-01T00:00:00+01:00"
        assert found.local(n - 1).isoformat() == "2002-05-01T00:00:00+01:00"
        for t, rh, wind, pressure in zip(found.outdoor_c, found.rh_pct, found.wind_m_s, found.pressure_pa):
            assert -45.0 <= t <= 40.0
            assert 5.0 <= rh <= 100.0
            assert vapour_pa(t, rh) <= sat_water_pa(t) * (1.0 + 1e-9)
            assert 0.0 <= wind <= 25.0
            assert 90000.0 <= pressure <= 105000.0


@pytest.mark.parametrize("kind", winters.KINDS)
def test_calm_and_wind_dry_and_damp_occur(invented, kind):
    for found in invented[kind]:
        assert min(found.wind_m_s) == 0.0 and max(found.wind_m_s) > 9.0
        assert min(found.rh_pct) < 50.0 and max(found.rh_pct) > 95.0


def test_hard_winters_have_cold_spells_and_others_less(invented):
    coldest = {kind: [min(found.outdoor_c) for found in invented[kind]] for kind in winters.KINDS}
    assert all(-35.0 <= value <= -18.0 for value in coldest["hard"])
    assert all(-20.0 <= value <= -8.0 for value in coldest["inland"])
    assert all(-12.0 <= value <= 0.0 for value in coldest["maritime"])


def test_cloud_weakens_the_daily_cycle():
    """Days whose air is damp (small mean distance to saturation) range less than dry ones."""
    found = winters.invent(1, "inland")
    days = [slice(i, i + 24) for i in range(1, 212 * 24, 24)]
    days.sort(key=lambda day: sum(found.rh_pct[day]))
    ranges = [max(found.outdoor_c[day]) - min(found.outdoor_c[day]) for day in days]
    assert sum(ranges[:50]) > 1.5 * sum(ranges[-50:])


def test_seed_and_kind_decide_everything():
    first, again = winters.invent(5, "hard"), winters.invent(5, "hard")
    for name in ("outdoor_c", "rh_pct", "wind_m_s", "pressure_pa"):
        assert getattr(first, name) == getattr(again, name)
    assert first.outdoor_c != winters.invent(6, "hard").outdoor_c
    # another kind is another winter, not the same one shifted
    assert abs(winters.invent(5, "inland").wind_m_s[100] - first.wind_m_s[100]) > 0.0
    assert first.kind == "invented" and "seed 5" in first.origin


def test_unknown_kinds_and_seeds_are_refused():
    for seed, kind in ((1, "tropical"), (1.5, "hard"), ("1", "hard"), (True, "hard")):
        with pytest.raises(InputError, match="invented winter"):
            winters.invent(seed, kind)


# --- the demo's winter


@pytest.fixture(scope="module")
def place():
    return winters.ostervale()


def hour(day_of_winter, clock=0):
    """Index of a clock hour; day 0 is 1 December, 31 is 1 January, 62 is 1 February."""
    return day_of_winter * 24 + clock


def test_ostervale_runs_from_december_to_february(place):
    assert len(place.outdoor_c) == 90 * 24 + 1
    assert place.local(0).isoformat() == "2001-12-01T00:00:00+01:00"
    assert place.local(2160).isoformat() == "2002-03-01T00:00:00+01:00"
    assert sum(place.pressure_pa) / 2161 == pytest.approx(95000.0, abs=400.0)
    assert place.kind == "invented" and "invented" in place.origin


def test_ostervale_has_a_mean_of_minus_three(place):
    assert sum(place.outdoor_c) / 2161 == pytest.approx(-3.0, abs=0.1)


def test_ostervale_thaws_to_eight_degrees_at_new_year(place):
    around = place.outdoor_c[hour(29) : hour(33)]
    assert max(around) == pytest.approx(8.0, abs=0.4)
    assert max(place.outdoor_c) == max(around)
    assert min(place.outdoor_c[hour(30, 6) : hour(31, 18)]) > 5.0


def test_ostervale_has_a_front_of_18_degrees_in_6_hours_in_mid_january(place):
    values = place.outdoor_c
    start = max(range(2161), key=lambda i: values[i] - min(values[i : i + 7]))
    assert hour(43) <= start <= hour(46)
    assert values[start] - min(values[start : start + 7]) == pytest.approx(18.0, abs=0.3)
    assert largest_fall(values, 48) <= 29.0


def test_ostervale_is_at_minus_26_for_30_hours_after_the_front(place):
    values = place.outdoor_c
    start = min(range(2130), key=lambda i: sum(values[i : i + 31]))
    assert hour(45) <= start <= hour(48)
    held = values[start : start + 31]
    assert sum(held) / 31 == pytest.approx(-26.0, abs=0.4)
    assert -28.5 <= min(held) and max(held) <= -23.5
    assert max(place.wind_m_s[start : start + 31]) < 3.0  # deep cold is calm


def test_ostervale_then_has_a_damp_thaw(place):
    held = slice(hour(50, 12), hour(53, 6))
    assert min(place.outdoor_c[held]) > 0.5 and max(place.outdoor_c[held]) < 5.0
    assert min(place.rh_pct[held]) >= 90.0


def test_ostervale_varies_like_weather_everywhere(place):
    """No stretch of 12 hours is a straight line or stands still, and no hour jumps by more than the front."""
    values = place.outdoor_c
    for i in range(0, 2161 - 12, 6):
        steps = {round(values[j + 1] - values[j], 1) for j in range(i, i + 12)}
        assert len(steps) >= 3, place.local(i)
    assert max(abs(a - b) for a, b in zip(values, values[1:])) < 5.0
    for t, rh in zip(values, place.rh_pct):
        assert vapour_pa(t, rh) <= sat_water_pa(t) * (1.0 + 1e-9)


def test_ostervale_is_always_the_same(place):
    """Self-made regression pin: the demo's figures in the documents hold only for this very winter."""
    again = winters.ostervale()
    text = repr([list(getattr(again, name)) for name in ("outdoor_c", "rh_pct", "wind_m_s", "pressure_pa")])
    assert again.outdoor_c == place.outdoor_c
    assert (
        hashlib.sha256(text.encode()).hexdigest()
        == "e19087e6f203fab3a1f2823677c2cd66ad4c3fc323af903fe2cbf2fc4abe507f"
    )


def test_the_measured_winters_here_are_the_files_they_claim_to_be():
    listed = (REAL / "README.md").read_text(encoding="utf-8")
    packed = sorted(REAL.glob("*.gz"))
    assert len(packed) == 2
    for path in packed:
        assert hashlib.sha256(gzip.decompress(path.read_bytes())).hexdigest() in listed
        assert path.read_bytes()[4:8] == b"\0\0\0\0"  # no time of packing: the bytes are repeatable
