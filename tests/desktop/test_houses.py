"""One drawn house judged: who is left out and why, what each regime and policy is, and that a scan a minute will do."""

from concurrent.futures import ProcessPoolExecutor

import pytest
import short_winters

from dewsim import best, family, family_table, houses, named, policies, weather

SEED = 5
AGREE = 12
AGREE_DRAWS = 40  # more than it takes
AGREE_DAYS = 7
AGREE_RH_PCT = 0.3


@pytest.fixture(scope="module")
def sky(tmp_path_factory):
    """Two days of December."""
    return weather.winter_of(short_winters.write(tmp_path_factory.mktemp("winter") / "two.csv", 2))


@pytest.fixture
def case(sky):
    return family.Case(sky, SEED, 1, scan_s=60)


def test_each_reason_to_leave_a_house_out_and_their_order(sky, monkeypatch):
    def why():
        return houses.judged(sky, SEED, 1, ()).get("rejected")

    assert why() is None
    monkeypatch.setattr(best, "LEAST_GAIN_PCT", 90.0)
    assert why() == "little gain"
    monkeypatch.setattr(houses, "MOST_SHUT_RH_PCT", 1.0)
    assert why() == "humid"
    monkeypatch.setattr(houses, "MOST_SHUT_WET_MIN", -1)
    assert why() == "fogs"


def test_the_bounds_of_the_filter_are_those_stated():
    assert houses.MOST_SHUT_WET_MIN == 600 and houses.MOST_SHUT_RH_PCT == 42.0 and best.LEAST_GAIN_PCT == 4.0


def test_the_cheap_bound_leaves_out_no_house_that_best_would_keep(sky):
    kept = 0
    for index in range(8):
        drawn = family.Case(sky, SEED, index)
        bound = best.gain_bound(drawn.course, drawn.caps_pct, drawn.shut, houses.START_RH_PCT, drawn.mask)
        perfect = best.run_best(drawn.course, drawn.caps_pct, drawn.shut, houses.START_RH_PCT)
        gain = houses.mean_rh_pct(drawn, perfect) - houses.mean_rh_pct(drawn, drawn.shut)
        assert gain <= bound + 1e-9
        kept += gain >= 4.0
    assert kept


def test_weather_without_a_heating_season_leaves_every_house_out(tmp_path):
    path = tmp_path / "warm.csv"
    rows = [f"2001-07-{1 + h // 24:02}T{h % 24:02}:00:00+00:00,24.0" for h in range(30)]
    path.write_text("time,outdoor_c\n" + "\n".join(rows) + "\n")
    found = houses.judged(weather.winter_of(path), SEED, 0)
    assert found == {"index": 0, "rejected": "little gain"}


def test_a_case_has_every_run_and_its_gains_are_differences(sky):
    found = houses.judged(sky, SEED, 1)
    assert {(r, p) for r, blocks in found["runs"].items() for p in blocks} == set(houses.RUNS)
    for blocks in found["runs"].values():
        for policy, block in blocks.items():
            assert block["gain_pct"] == pytest.approx(block["mean_rh_pct"] - found["shut"]["mean_rh_pct"], abs=2e-4)
            assert ("learned" in block) == (policy != "plain")
            assert ("added_wet_minutes_under_rule" in block) == (found["class"] == "foggy")
    assert found == houses.judged(sky, SEED, 1)


def test_regimes_err_as_they_say(case):
    tolerances = case.house.sensors
    assert houses.with_regime(case.house, "exact", SEED, 1) is case.house
    erring = houses.with_regime(case.house, "erring", SEED, 1).sensors
    pairs = [
        (erring.rh_error_pct, tolerances.rh_tolerance_pct),
        (erring.indoor_error_k, tolerances.indoor_tolerance_k),
        (erring.outdoor_error_k, tolerances.outdoor_tolerance_k),
        (erring.f_error, tolerances.f_tolerance),
    ]
    assert all(0.0 < abs(error) <= tolerance for error, tolerance in pairs)
    corner = houses.with_regime(case.house, "corner", SEED, 1).sensors
    # what a sensor says, less the truth: humidity and room too low, outdoors too warm; the glass is believed better
    assert corner.rh_error_pct == -tolerances.rh_tolerance_pct < 0.0
    assert corner.indoor_error_k == -tolerances.indoor_tolerance_k < 0.0
    assert corner.outdoor_error_k == tolerances.outdoor_tolerance_k > 0.0
    assert corner.f_error == tolerances.f_tolerance > 0.0
    assert tolerances.rh_error_pct == 0.0, "the drawn house itself stays exact"


@pytest.mark.parametrize("regime, policy", houses.RUNS)
def test_each_policy_gets_the_settings_and_the_forecast_that_it_should(case, monkeypatch, regime, policy):
    seen = {}

    def controlled(self, settings, house=None, stop_when_wet=None, forecasts=None):
        seen.update(settings=settings, house=house, forecasts=forecasts)

    monkeypatch.setattr(family.Case, "controlled", controlled)
    houses.controlled(case, regime, policy)
    assert seen["settings"].look_ahead == (policy != "plain")
    assert (seen["forecasts"] is not None) == (policy == "forecast")
    assert (seen["settings"].rh_tolerance_pct == 0.0) == (regime == "exact")
    assert (seen["house"].sensors.rh_error_pct == 0.0) == (regime == "exact")
    assert seen["settings"].glass_f_day == pytest.approx(case.house.glass.f_day + seen["house"].sensors.f_error)
    if policy == "forecast":
        assert seen["forecasts"].seed == family.course_seed(SEED, 1) and not seen["forecasts"].perfect


def test_binding_is_what_the_reset_without_margin_does(sky):
    seen = set()
    for index in range(6):
        drawn = family.Case(sky, SEED, index, scan_s=60)
        bare = policies.altered(policies.without_margin(drawn.settings), look_ahead=0)
        added = policies.added_wet_minutes(drawn.course, drawn.controlled(bare).w_g_kg, drawn.shut.w_g_kg)
        assert drawn.binds() == (added > 0)
        seen.add(drawn.binds())
    assert seen == {True, False}


def test_the_minutes_of_a_winter_are_made_once(sky):
    assert houses.minutes_of(sky) is houses.minutes_of(sky)
    assert list(houses.minutes_of(sky).outdoor_c) == list(weather.states(sky).outdoor_c)


def at_both_rates(path: str, index: int) -> "list | None":
    """Of a house that passes: (counted wet minutes, mean RH, valve starts) at 60 s and at 10 s; else None."""
    sky = named.winter(path)
    drawn = family.Case(sky, SEED, index, houses.minutes_of(sky))
    if houses.filtered(drawn)[1]:
        return None
    exempt = best.beside_wet(drawn.course, drawn.shut.w_g_kg) if drawn.headroom_class == "foggy" else None
    found = []
    for drawn.scan_s in (60, 10):
        block = houses.outcome(drawn, houses.controlled(drawn, "exact", "forecast"), exempt)
        found.append((family_table.counted_minutes(block), block["mean_rh_pct"], block["valve_starts"]))
    return found


def test_scans_of_ten_and_sixty_seconds_agree_on_the_first_twelve_houses(tmp_path):
    path = str(short_winters.write(tmp_path / "week.csv", AGREE_DAYS))
    pairs: list = []
    with ProcessPoolExecutor(2) as pool:
        waiting = [pool.submit(at_both_rates, path, index) for index in range(AGREE_DRAWS)]
        while len(pairs) < AGREE:
            pairs += filter(None, [waiting.pop(0).result()])
        pool.shutdown(cancel_futures=True)
    for minute, ten in pairs:
        assert minute[0] == ten[0]
        assert abs(minute[1] - ten[1]) <= AGREE_RH_PCT
    assert sum(minute[2] for minute, _ in pairs) > AGREE, "the valve was at work"
    assert any(minute[1:] != ten[1:] for minute, ten in pairs), "the two rates are really two"
