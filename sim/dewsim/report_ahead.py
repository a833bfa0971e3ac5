"""What looking ahead gained: the winter's hardest fall drawn for plain reset and look-ahead, and what was learned."""

from datetime import UTC, datetime
from typing import NamedTuple

from dewsim import charts, figures, thinning
from dewsim.charts import Figure, Line, Pane
from dewsim.report_tables import TOLD
from dewsim.units import Units, minutes_text, number

FALL_H = 24
BEFORE_H = 30
AFTER_H = 18
HUMID = [
    Line("rh", "looking ahead", "strong", "%"),
    Line("plain_rh", "plain reset", "dash", "%"),
    Line("ceiling", "ceiling", "dot", "%"),
    Line("best_rh", "best possible", "thin", "%"),
    Line("shut_rh", "no humidifier", "pale", "%"),
]


class Fall(NamedTuple):
    """Steps first up to end are drawn; from the warmest step the outdoors fell to the coldest, within a day."""

    first: int
    end: int
    warmest: int
    coldest: int


def hardest_fall(course) -> Fall:
    """The fall within a day that ends deepest below its begin, cold weighed in, by the hour.

    Half of the fall and half of the cold it ends in: a fall from mild to cool tries no glass.
    """
    hour = 3600 // course.dt_s
    hourly = course.outdoor_c[:: hour][: course.n_steps // hour]
    most, warmest, coldest = -1e9, 0, 0
    for i in range(1, len(hourly)):
        begin = max(range(max(0, i - FALL_H), i), key=lambda j: (hourly[j], j))  # the last of equals
        weight = (hourly[begin] - hourly[i]) - hourly[i]
        if weight > most:
            most, warmest, coldest = weight, begin, i
    first = max(1, (coldest - BEFORE_H) * hour)
    return Fall(first, min(course.n_steps, (coldest + AFTER_H) * hour), warmest * hour, coldest * hour)


def figure(replay, units: Units) -> Figure:
    """Outdoors, the humidity of plain reset, look-ahead and the best possible below the ceiling, and wet minutes."""
    course = replay.course
    first, end, _, _ = hardest_fall(course)
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
    humid = [values[line.column] for line in HUMID]
    low, high = charts.bounds_of(humid, 10.0)
    degrees = units.temperature_unit
    panes = [
        Pane("lines", f"Outdoor temperature, {degrees}", 110, [Line("outdoor", "outdoors", "strong", degrees)],
             *charts.bounds_of([values["outdoor"]])),
        Pane("lines", "Relative humidity, %", 230, HUMID, max(low, 0.0), high),
    ]  # fmt: skip
    start = course.start_local_s
    return Figure(
        "front",
        figures.with_marks(replay, panes),
        [level],
        start + first * course.dt_s,
        start + end * course.dt_s,
        thinning.wet_marks(replay),
        start,
        course.dt_s,
        100,
    )


def section(replay, units: Units, drawn: Figure) -> str:
    """The gain in figures and words, the hardest fall as a picture, and what the board learned."""
    caption = (
        "Minute by minute, local standard time; the ceiling is what glass, walls and owner allow at that minute. The "
        "plain reset keeps the same distance from the glass on every day; looking ahead the house is let more humid "
        "while it can still dry in time, and dries before the cold arrives."
    )
    return gained(replay) + fall(replay, units) + figures.html(drawn, caption) + learned(replay)


def fall(replay, units: Units) -> str:
    """The hardest fall in figures: outdoors, and humidity and wet minutes of each policy over the hours drawn."""
    course = replay.course
    first, end, warmest, coldest = hardest_fall(course)
    if coldest == 0:
        return ""
    moment = datetime.fromtimestamp(course.start_local_s + coldest * course.dt_s, UTC)
    told = []
    for name, label in (
        ("outlook", "looking ahead"),
        ("plain", "the plain reset"),
        ("plain_no_margin", "a reset without margin"),
    ):
        run = replay.runs[name]
        mean = sum(run.rh_pct[first:end]) / (end - first)
        wet = added_between(replay, run, first, end)
        told.append(f"{label} held {number(mean)} % RH with {wet_text(wet)}")
    return (
        "<p>The winter's hardest fall went from "
        f"{units.temperature_text(course.outdoor_c[warmest])} to "
        f"{units.temperature_text(course.outdoor_c[coldest])} in "
        f"{(coldest - warmest) * course.dt_s // 3600} h, until {moment.day} {moment:%B}, {moment:%H:%M}. Over the "
        f"{(end - first) * course.dt_s / 3600:.0f} hours drawn {'; '.join(told)}.</p>"
    )


def wet_text(count: int) -> str:
    """A count of added wet minutes in words."""
    return "no wet minute added" if count == 0 else f"{minutes_text(count)} of wet glass added"


def added_between(replay, run, first: int, end: int) -> int:
    """Added wet minutes of the steps first up to end; first >= 1."""
    shut_w, wet_w = replay.runs["shut"].w_g_kg, replay.course.wet_w_g_kg
    steps = sum(1 for k in range(first, end) if run.w_g_kg[k] >= wet_w[k] > shut_w[k])
    return steps * replay.course.dt_s // 60


def gained(replay) -> str:
    """Mean humidity and wet minutes of plain reset, look-ahead and best."""
    blocks = replay.result["policies"]
    ahead, plain, best = blocks["outlook"], blocks["plain"], blocks["best"]
    if ahead["mean_rh_pct"] is None:
        return f"<p>No heating season, so there was nothing to look ahead for.</p>{told(replay)}"
    more = ahead["mean_rh_pct"] - plain["mean_rh_pct"]
    text = (
        f"<p>Looking ahead, the house held {number(ahead['mean_rh_pct'])} % RH on average over the heating season, "
        f"{difference_text(more)} the plain reset, with {wet_text(ahead['added_wet_minutes'])}, against "
        f"{number(plain['added_wet_minutes'], 0)} with that. A controller that knew the whole winter beforehand would "
        f"have held {number(best['mean_rh_pct'])} %"
    )
    share = ahead["share_of_best_pct"]
    if share is not None:
        text += (
            f"; of what that one gains over no humidifier, looking ahead reached {number(share, 0)} % and the plain "
            f"reset {number(plain['share_of_best_pct'], 0)} %"
        )
    return text + f".</p>{told(replay)}"


def difference_text(more: float) -> str:
    """How much more humid [% RH] than something, in words."""
    if abs(more) < 0.05:
        return "as much as"
    return f"{number(abs(more))} % RH " + ("more than" if more > 0.0 else "less than")


def told(replay) -> str:
    """What the controller heard of the weather to come."""
    return f"<p>The controller was told {TOLD[replay.forecast]}.</p>"


def learned(replay) -> str:
    """What the board would say of the house at the winter's end."""
    house = replay.runs["outlook"].learned.outlook.house
    if house.hours < 24:
        return "<p>The record is too short for the controller to have learned the house.</p>"
    halves = house.halves_h()
    time = "only over days" if halves >= 99 else "within about an hour" if halves <= 1 else f"in about {halves} hours"
    burst = max(house.burst_g_kg(hour) for hour in range(24))
    text = (
        f"<p>By the end it had learned of this house: what the humidifier adds is gone by half {time} once the valve "
        f"is shut, and the largest burst from showers, cooking or laundry it keeps room for is {number(burst)} g of "
        "water in each kilogram of air."
    )
    if house.distrusted:
        text += " Its own day-ahead predictions were too dry of late, so it counted on the cautious start values."
    return text + "</p>"
