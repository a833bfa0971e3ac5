"""What looking ahead gained: the winter's hardest fall drawn for plain reset and look-ahead, and what was learned."""

from datetime import UTC, datetime

from dewsim import charts, figures, thinning
from dewsim.charts import Figure, Line, Pane
from dewsim.report_tables import TOLD
from dewsim.units import Units, number

FALL_H = 24
BEFORE_H = 30
AFTER_H = 18


def hardest_fall(course) -> tuple:
    """(first, end, coldest) steps about the fall within a day that ends deepest below its begin, cold weighed in.

    Half of the fall and half of the cold it ends in: a fall from mild to cool tries no glass.
    """
    hour = 3600 // course.dt_s
    hourly = course.outdoor_c[:: hour][: course.n_steps // hour]
    best, at = -1e9, 0
    for i in range(1, len(hourly)):
        highest = max(hourly[max(0, i - FALL_H) : i])
        weight = (highest - hourly[i]) - hourly[i]
        if weight > best:
            best, at = weight, i
    first = max(1, (at - BEFORE_H) * hour)
    return first, min(course.n_steps, (at + AFTER_H) * hour), at * hour


def figure(replay, units: Units) -> Figure:
    """Outdoors, and the humidity with plain reset, look-ahead and the best possible, below what wets the glass."""
    course = replay.course
    first, end, _ = hardest_fall(course)
    whole = slice(first, end)
    runs = replay.runs
    values = {
        "outdoor": [units.temperature(c) for c in course.outdoor_c[whole]],
        "rh": runs["outlook"].rh_pct[whole],
        "plain_rh": runs["plain"].rh_pct[whole],
        "best_rh": runs["best"].rh_pct[whole],
        "shut_rh": runs["shut"].rh_pct[whole],
        "ceiling": runs["outlook"].ceiling_pct[whole],
    }
    level = thinning.Level(course.start_local_s + first * course.dt_s, course.dt_s, values)
    humid = [values[name] for name in ("rh", "plain_rh", "best_rh", "shut_rh", "ceiling")]
    low, high = charts.bounds_of(humid, 10.0)
    lines = [
        Line("rh", "looking ahead", "strong", "%"),
        Line("plain_rh", "plain reset", "dash", "%"),
        Line("ceiling", "ceiling: glass, walls, owner", "dot", "%"),
        Line("best_rh", "best possible", "thin", "%"),
        Line("shut_rh", "without a humidifier", "pale", "%"),
    ]
    degrees = units.temperature_unit
    panes = [
        Pane("lines", f"Outdoor temperature, {degrees}", 110, [Line("outdoor", "outdoors", "strong", degrees)],
             *charts.bounds_of([values["outdoor"]])),
        Pane("lines", "Relative humidity, %", 230, lines, max(low, 0.0), high),
    ]  # fmt: skip
    start = course.start_local_s
    return Figure(
        "front", panes, [level], start + first * course.dt_s, start + end * course.dt_s, [], start, course.dt_s, 100
    )


def section(replay, units: Units, drawn: Figure) -> str:
    """The gain in figures and words, the hardest fall as a picture, and what the board learned."""
    course = replay.course
    _, _, at = hardest_fall(course)
    moment = datetime.fromtimestamp(course.start_local_s + at * course.dt_s, UTC)
    caption = (
        f"The winter's hardest fall, around {moment.day} {moment:%B}, minute by minute, local standard time. The plain "
        "reset keeps the same distance from the glass on every day; looking ahead the house is let more humid while "
        "it can still dry in time, and dries before the cold arrives."
    )
    return gained(replay) + figures.html(drawn, caption) + learned(replay)


def gained(replay) -> str:
    """Mean humidity and wet minutes of plain reset, look-ahead and best."""
    blocks = replay.result["policies"]
    ahead, plain, best = blocks["outlook"], blocks["plain"], blocks["best"]
    if ahead["mean_rh_pct"] is None:
        return "<p>No heating season, so there was nothing to look ahead to.</p>"
    more = ahead["mean_rh_pct"] - plain["mean_rh_pct"]
    text = (
        f"<p>Looking ahead, the house held {number(ahead['mean_rh_pct'])} % RH on average over the heating season, "
        f"{number(more)} % RH more than the plain reset, with {number(ahead['added_wet_minutes'], 0)} added wet "
        f"minutes against {number(plain['added_wet_minutes'], 0)}. A controller that knew the whole winter beforehand "
        f"would have held {number(best['mean_rh_pct'])} %"
    )
    share = ahead["share_of_best_pct"]
    if share is not None:
        text += (
            f"; of what that one gains over no humidifier, looking ahead reached {number(share, 0)} % and the plain "
            f"reset {number(plain['share_of_best_pct'], 0)} %"
        )
    return text + f".</p><p>The controller was told {TOLD[replay.forecast]}.</p>"


def learned(replay) -> str:
    """What the board would say of the house at the winter's end."""
    house = replay.runs["outlook"].learned.outlook.house
    if house.hours < 24:
        return "<p>The record is too short for the controller to have learned the house.</p>"
    halves = house.halves_h()
    time = f"in about {halves} hours" if halves < 99 else "only over days"
    burst = max(house.burst_g_kg(hour) for hour in range(24))
    text = (
        f"<p>By the end it had learned of this house: what the humidifier adds is gone by half {time} once the valve "
        f"is shut, and the largest burst from showers, cooking or laundry it keeps room for is {number(burst)} g of "
        "water in each kilogram of air."
    )
    if house.distrusted:
        text += " Its own day-ahead predictions were too dry of late, so it counted on the cautious start values."
    return text + "</p>"
