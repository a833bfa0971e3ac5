"""What looking ahead gained, as the report says it; and what the controller is told of the weather to come."""

import re
from array import array
from types import SimpleNamespace

import pytest
from short import START_S, house, sky

from dewcore.forecast import FORECAST_FRESH, FORECAST_NONE_YET
from dewsim import replay, report, report_ahead, report_tables
from dewsim.units import MINUS, SPACE, Units

SI = Units("si")
COMPARED = ("shut", "dial", "plain", "plain_no_margin", "best")


def course_of(hourly_c, dt_s=60, start_local_s=1_700_006_400):
    """Outdoors held for each hour."""
    per_hour = 3600 // dt_s
    outdoor_c = array("d", [c for c in hourly_c for _ in range(per_hour)])
    return SimpleNamespace(
        outdoor_c=outdoor_c, n_steps=len(outdoor_c), dt_s=dt_s, start_local_s=start_local_s
    )


# --- the hardest fall


@pytest.mark.parametrize("dt_s", (60, 600))
def test_the_hardest_fall_is_found_from_its_last_warm_hour_to_its_end(dt_s):
    hourly_c = [0.0] * 60 + [2.0, 2.0] + [-1.0 * h for h in range(1, 19)] + [-18.0] * 40
    fall = report_ahead.hardest_fall(course_of(hourly_c, dt_s))
    hour = 3600 // dt_s
    # 2 °C last at hour 61; -18 °C first at hour 79; drawn from 30 h before to 18 h after
    assert (fall.warmest, fall.coldest) == (61 * hour, 79 * hour)
    assert (fall.first, fall.end) == (49 * hour, 97 * hour)


def test_only_what_falls_within_a_day_counts():
    # 30 K in 60 hours, at most 12 K a day, is less than 15 K at once from the same cold
    slow = [0.0 - 0.5 * h for h in range(61)] + [-30.0] * 30
    quick = [-15.0] * 30 + [-30.0] * 30
    fall = report_ahead.hardest_fall(course_of(slow + quick))
    assert fall.coldest == (len(slow) + 30) * 60 and fall.coldest - fall.warmest == 60


def test_a_fall_to_real_cold_counts_more_than_a_deeper_one_from_the_mild():
    # 16 K down to 4 °C weighs 16 - 4 = 12; 10 K down to -15 °C weighs 10 + 15 = 25
    hourly_c = [20.0] * 40 + [4.0] * 40 + [-5.0] * 40 + [-15.0] * 40
    assert report_ahead.hardest_fall(course_of(hourly_c)).coldest == 120 * 60


@pytest.mark.parametrize("n, coldest", [(3, 2), (1, 0)])
def test_the_window_stays_within_a_short_record(n, coldest):
    fall = report_ahead.hardest_fall(course_of([0.0, -1.0, -5.0][:n]))
    assert fall == (1, n * 60, max(0, coldest - 2) * 60, coldest * 60)  # from 0 °C in the first hour
    assert report_ahead.fall(SimpleNamespace(course=course_of([0.0])), SI) == ""


def test_the_fall_is_told_with_each_policys_humidity_and_wet_minutes_over_the_hours_drawn():
    # midnight to midnight; noon to 14:00 falls from 1 to -19 °C
    course = course_of([1.0] * 12 + [-9.0, -19.0] + [-19.0] * 10)
    n = course.n_steps
    course.wet_w_g_kg = array("d", [5.0] * n)

    def run(rh_pct, wet_at=()):
        return SimpleNamespace(
            rh_pct=array("d", [rh_pct] * n), w_g_kg=array("d", [5.0 if k in wet_at else 4.0 for k in range(n)])
        )

    runs = {
        "shut": run(20.0, wet_at=(700,)),
        "plain": run(25.0, wet_at=(700, 701)),  # one of them the house's own
        "outlook": run(31.0),
        "plain_no_margin": run(35.0, wet_at=(0, *range(800, 1000))),  # the start is no result
    }
    text = report_ahead.fall(SimpleNamespace(course=course, runs=runs), SI)
    assert text == (
        f"<p>The winter's hardest fall went from 1.0{SPACE}°C to {MINUS}19.0{SPACE}°C in 2 h, until 15 "
        f"November, 13:00. "
        "Over the 24 hours drawn looking ahead held 31.0 % RH with no wet minute added; the plain reset held 25.0 % RH "
        "with 1 minute of wet glass added; a reset without margin held 35.0 % RH with 200 minutes of wet glass "
        "added.</p>"
    )
    assert f"33.8{SPACE}°F to {MINUS}2.2{SPACE}°F" in report_ahead.fall(
        SimpleNamespace(course=course, runs=runs), Units("us")
    )


# --- the section


@pytest.fixture(scope="module")
def page(few_days):
    return report.render(few_days)


def section_of(page):
    found = re.search(r'<section id="ahead".*?</section>', page, re.DOTALL)
    return found and found.group(0)


def test_the_section_holds_gain_picture_and_what_was_learned_in_this_order(page, few_days):
    section = section_of(page)
    assert "What looking ahead gained</h2>" in section and '<a href="#ahead">' in page
    blocks = few_days.result["policies"]
    for name in ("outlook", "plain", "best"):
        assert f"{blocks[name]['mean_rh_pct']:.1f} %" in section
    at = [section.index(text) for text in ("Looking ahead, the house held", "hardest fall", "<figure", "had learned")]
    assert at == sorted(at)
    titles = re.findall(r'<p class="key \w+"><b>(.*?)</b>', section)
    assert titles[:2] == ["Outdoor temperature, °C", "Relative humidity, %"] and titles[2].startswith("Wet minutes")
    for label in ("looking ahead", "plain reset", "ceiling", "best possible", "no humidifier"):
        assert f"</svg>{label}<b" in section


def test_the_picture_is_of_the_hardest_fall_and_shows_the_runs_themselves(few_days):
    figure = report_ahead.figure(few_days, SI)
    fall = report_ahead.hardest_fall(few_days.course)
    start_s = few_days.course.start_local_s
    assert (figure.start_s, figure.end_s) == (start_s + 60 * fall.first, start_s + 60 * fall.end)
    values = figure.levels[0].values
    for column, name in (("rh", "outlook"), ("plain_rh", "plain"), ("best_rh", "best"), ("shut_rh", "shut")):
        assert values[column] == few_days.runs[name].rh_pct[fall.first : fall.end]
    assert values["ceiling"] == few_days.runs["outlook"].ceiling_pct[fall.first : fall.end]
    for pane in figure.panes[:2]:
        for line in pane.lines:
            assert pane.low <= min(values[line.column]) and max(values[line.column]) <= pane.high
    us = report_ahead.figure(few_days, Units("us")).levels[0].values["outdoor"]
    assert us == pytest.approx([1.8 * c + 32.0 for c in values["outdoor"]])


def test_a_house_that_looks_not_ahead_has_no_such_section_and_ships_the_plain_reset():
    done = replay.Replay(house(settings={"look_ahead": 0}), sky(2, -20.0), 1, "house.toml")
    done.run()
    assert list(done.result["policies"]) == list(COMPARED)
    assert done.result["shipped_policy"] == done.shipped == "plain" and done.result["forecast"] == "none"
    page = report.render(done)
    assert section_of(page) is None and "#ahead" not in page and "ooking ahead" not in page
    assert "plain reset: the controller" in page and "Plain reset: the controller</dt>" in page
    assert "forecast" not in section_text(page, "assumed")
    for block in done.result["policies"].values():
        assert block.get("binds", {}).get("outlook", 0.0) == 0.0


def section_text(page, name):
    return re.search(rf'<section id="{name}".*?</section>', page, re.DOTALL).group(0)


# --- gained


def gained_of(few_days, forecast="simulated", **changed):
    """The gain's text with some figures of the result replaced, changed: policy=block keys."""
    blocks = {name: {**block, **changed.get(name, {})} for name, block in few_days.result["policies"].items()}
    return report_ahead.gained(SimpleNamespace(result={"policies": blocks}, forecast=forecast))


def test_the_gain_in_figures(few_days):
    text = gained_of(
        few_days,
        outlook={"mean_rh_pct": 29.06, "added_wet_minutes": 0, "share_of_best_pct": 93.9},
        plain={"mean_rh_pct": 24.06, "added_wet_minutes": 1234, "share_of_best_pct": 44.4},
        best={"mean_rh_pct": 29.7},
    )
    assert text.startswith(
        "<p>Looking ahead, the house held 29.1 % RH on average over the heating season, 5.0 % RH more than the plain "
        "reset, with no wet minute added, against 1\u202f234 with that. A controller that knew the whole winter "
        "beforehand "
        "would have held 29.7 %; of what that one gains over no humidifier, looking ahead reached 94 % and the plain "
        "reset 44 %.</p>"
    )


@pytest.mark.parametrize(
    "mean, says", [(24.04, "as much as the plain"), (23.0, "1.0 % RH less than the plain"), (24.1, "0.1 % RH "
    "more than")]
)
def test_no_gain_and_a_loss_are_called_so(few_days, mean, says):
    text = gained_of(few_days, outlook={"mean_rh_pct": mean, "added_wet_minutes": 1}, plain={"mean_rh_pct": 24.0})
    assert says in text and "1 minute of wet glass added" in text


def test_where_no_share_is_defined_none_is_told(few_days):
    nothing = {name: {"share_of_best_pct": None} for name in few_days.result["policies"]}
    text = gained_of(few_days, **nothing)
    assert "would have held" in text and "reached" not in text and "None" not in text


@pytest.mark.parametrize("forecast, words", [
    ("simulated", "every six hours"), ("perfect", "of the next three days"), ("none", "no forecast")
])  # fmt: skip
def test_the_report_says_what_the_controller_was_told(few_days, forecast, words):
    assert set(report_tables.TOLD) == set(replay.FORECASTS)
    assert f"The controller was told {report_tables.TOLD[forecast]}.</p>" in gained_of(few_days, forecast)
    assert words in report_tables.TOLD[forecast]


# --- learned


def learned_of(**values):
    known = {"hours": 500, "halves": 9, "burst": [0.2] * 24, "distrusted": False, **values}
    learner = SimpleNamespace(
        hours=known["hours"],
        halves_h=lambda: known["halves"],
        burst_g_kg=lambda hour: known["burst"][hour],
        distrusted=known["distrusted"],
    )
    run = SimpleNamespace(learned=SimpleNamespace(outlook=SimpleNamespace(house=learner)))
    return report_ahead.learned(SimpleNamespace(runs={"outlook": run}))


def test_what_was_learned_is_told_in_words():
    assert learned_of(burst=[0.2] * 23 + [1.26]) == (
        "<p>By the end it had learned of this house: what the humidifier adds is gone by half in about 9 hours "
        "once the "
        "valve is shut, and the largest burst from showers, cooking or laundry it keeps room for is 1.3 g of water in "
        "each kilogram of air.</p>"
    )


@pytest.mark.parametrize(
    "halves, says", [(0, "within about an hour"), (1, "within about an hour"), (2, "in about 2 hours"),
                     (98, "in about 98 hours"), (99, "only over days")]
)  # fmt: skip
def test_drying_has_words_for_very_fast_and_very_slow(halves, says):
    assert f"gone by half {says} once" in learned_of(halves=halves)


def test_a_day_is_the_least_record_to_speak_of():
    assert learned_of(hours=23) == "<p>The record is too short for the controller to have learned the house.</p>"
    assert "had learned" in learned_of(hours=24)


def test_a_house_that_its_own_predictions_have_lost_says_so():
    assert learned_of(distrusted=True).endswith("so it counted on the cautious start values.</p>")
    assert "predictions" not in learned_of()


def test_half_a_day_makes_a_whole_page():
    day = sky(1, -20.0)
    for name in ("outdoor_c", "rh_pct", "wind_m_s", "pressure_pa"):
        setattr(day, name, getattr(day, name)[:13])
    done = replay.Replay(house(), day, 1, "house.toml")
    done.run()
    section = section_of(report.render(done))
    assert "The record is too short for the controller to have learned the house." in section
    assert "Over the 12 hours drawn" in section


# --- --forecast


@pytest.fixture(scope="module")
def told():
    """{forecast: Replay} of 18 days in which it gets 17 K colder within an hour in the last but one.

    For the first two weeks the look-ahead is so careful that forecasts hardly count.
    """
    runs = {}
    for forecast in replay.FORECASTS:
        runs[forecast] = replay.Replay(house(), sky(18, -3.0, (396, -20.0)), 1, "house.toml", forecast=forecast)
        runs[forecast].run()
    return runs


def test_the_forecast_reaches_the_look_ahead_and_nothing_else(told):
    results = {forecast: one.result for forecast, one in told.items()}
    assert [result["forecast"] for result in results.values()] == ["simulated", "perfect", "none"]
    for name in COMPARED:
        blocks = [result["policies"][name] for result in results.values()]
        assert blocks[0] == blocks[1] == blocks[2]
    means = {result["policies"]["outlook"]["mean_rh_pct"] for result in results.values()}
    assert len(means) == 3
    status = [one.runs["outlook"].learned.outlook.forecast.status for one in told.values()]
    assert status == [FORECAST_FRESH, FORECAST_FRESH, FORECAST_NONE_YET]
    assert told["none"].runs["plain"].learned.outlook.forecast.status == FORECAST_NONE_YET


def test_whatever_is_told_the_house_stays_dry_and_no_drier_than_with_the_plain_reset(told):
    for one in told.values():
        blocks = one.result["policies"]
        assert one.result["binding"] and blocks["plain_no_margin"]["added_wet_minutes"] > 60
        assert blocks["outlook"]["added_wet_minutes"] == blocks["best"]["added_wet_minutes"] == 0
        assert blocks["outlook"]["mean_rh_pct"] >= blocks["plain"]["mean_rh_pct"] - 0.1
        assert blocks["outlook"]["share_of_best_pct"] <= 101.0


def test_the_perfect_forecast_is_the_weather_and_the_simulated_one_is_drawn_from_the_seed(told):
    perfect, simulated = told["perfect"]._forecasts(), told["simulated"]._forecasts()
    assert perfect.perfect and not simulated.perfect and simulated.seed == 1 and told["none"]._forecasts() is None
    number = START_S // 21600 + 8  # two days after the start
    hours = perfect.issue_dc(number)
    for k in range(0, 72, 7):
        true_c = told["perfect"].weather.outdoor_c[48 + k]
        assert hours[k] == pytest.approx(10.0 * true_c, abs=0.51)
    assert hours != simulated.issue_dc(number)


def test_only_a_drawn_forecast_is_called_drawn(told):
    for forecast, one in told.items():
        drawn = "drawn at random from the same seed" in report_tables.assumed(one, SI)
        assert drawn == (forecast == "simulated")


# --- the share in the result


def test_shares_are_of_the_best_gain_and_lie_between_the_shut_house_and_the_best(few_days):
    blocks = few_days.result["policies"]
    assert blocks["best"]["mean_rh_pct"] - blocks["shut"]["mean_rh_pct"] >= 4.0
    assert (blocks["shut"]["share_of_best_pct"], blocks["best"]["share_of_best_pct"]) == (0.0, 100.0)
    gain = blocks["best"]["mean_rh_pct"] - blocks["shut"]["mean_rh_pct"]
    for block in blocks.values():
        by_hand = 100.0 * (block["mean_rh_pct"] - blocks["shut"]["mean_rh_pct"]) / gain
        assert block["share_of_best_pct"] == pytest.approx(by_hand, abs=0.011)


def test_where_the_best_gains_less_than_four_percent_there_is_no_share_anywhere():
    done = replay.Replay(house(humidifier={"kg_h": 0.1}), sky(2, -5.0), 1, "house.toml")
    done.run()
    blocks = done.result["policies"]
    assert done.result["headroom_class"] == "clear"
    assert 0.0 < blocks["best"]["mean_rh_pct"] - blocks["shut"]["mean_rh_pct"] < 4.0
    assert {block["share_of_best_pct"] for block in blocks.values()} == {None}
    assert "of the best possible gain" not in replay.summary(done.result)
    assert "reached" not in report_ahead.gained(done)


def test_the_summary_gives_each_policy_a_line_with_its_share(few_days):
    blocks = {
        name: {"mean_rh_pct": 20.0 + i, "added_wet_minutes": i, "share_of_best_pct": 20.0 * i}
        for i, name in enumerate(few_days.runs)
    }
    blocks["dial"]["setting_pct"] = 23.5
    result = {"house": "Home", "headroom_class": "tight", "binding": True, "policies": blocks}
    assert replay.summary(result).split("\n") == [
        "Home: tight, binding",
        "  shut             mean 20.0 % RH, 0 added wet minutes",
        "  dial             mean 21.0 % RH, 1 added wet minutes, 20 % of the best possible gain (at 23.5 %)",
        "  plain            mean 22.0 % RH, 2 added wet minutes, 40 % of the best possible gain",
        "  plain_no_margin  mean 23.0 % RH, 3 added wet minutes, 60 % of the best possible gain",
        "  outlook          mean 24.0 % RH, 4 added wet minutes, 80 % of the best possible gain",
        "  best             mean 25.0 % RH, 5 added wet minutes",
        replay.CLASS_SENTENCES["tight"],
    ]


def test_beside_its_own_fog_the_best_is_let_off_but_every_minute_is_counted():
    """A house whose windows fog by its own moisture on some hours: `best` may add minutes there, and they are told."""
    glass = {"f_day": 0.3, "f_night": 0.3}
    foggy = house(gains={"people": 5, "bursts": False}, house={"air_changes_per_h": 0.3}, glass=glass)
    done = replay.Replay(foggy, sky(3, -12.0), 1, "house.toml")
    done.run()
    assert done.result["headroom_class"] == "foggy"
    wet, shut, best = done.course.wet_w_g_kg, done.runs["shut"].w_g_kg, done.runs["best"].w_g_kg
    added = [k for k in range(1, done.course.n_steps) if best[k] >= wet[k] > shut[k]]
    assert added and done.result["policies"]["best"]["added_wet_minutes"] == len(added)
    own = {k for k in range(done.course.n_steps) if shut[k] >= wet[k]}
    assert own and all(own & set(range(k - 60, k + 61)) or shut[k] > 0.98 * wet[k] for k in added)
