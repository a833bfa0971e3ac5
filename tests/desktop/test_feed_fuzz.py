"""Any JSON at all as a message of the outdoor feed: never an exception, and a refused one changes nothing."""

import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dewcore.feed import WallTime, accept
from dewcore.readings import FORECAST_NONE, Readings

UTC_S = 1_000_000_800
NAMES = (
    "schema", "source", "sent_s", "utc_offset_s", "observed_s", "issued_s", "start_s", "step_s", "outdoor_c", "x",
)  # fmt: skip
near = st.integers(UTC_S - 100_000, UTC_S + 1_000)
huge = st.sampled_from([10**20, -(10**20), 10**400, -(10**4000), 2**31, -1, 0, 1])
leaf = st.none() | st.booleans() | st.integers() | huge | st.floats() | st.text(max_size=30) | near
anything = st.recursive(
    leaf, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(st.text(max_size=9), inner, max_size=5)
)
degrees = st.floats(-75.0, 65.0) | st.integers(-75, 65) | st.none()
# mostly right, so that every check behind the first ones is reached too
often = {
    "schema": st.just(1),
    "source": st.text(max_size=9),
    "sent_s": near,
    "utc_offset_s": st.integers(-50_000, 55_000),
    "observed_s": near,
    "issued_s": near,
    "start_s": near,
    "step_s": st.just(3600),
    "outdoor_c": degrees | st.lists(degrees, max_size=75),
    "x": leaf,
}


@st.composite
def messages(draw):
    """One kind's keys, mostly right; some replaced by anything, dropped or added."""
    kind = draw(st.sampled_from(["observed_s", "issued_s"]))
    other = {"observed_s": ("issued_s", "start_s", "step_s"), "issued_s": ("observed_s",)}[kind]
    message = {name: draw(often[name]) for name in NAMES if name not in other}
    if kind == "observed_s":
        message["outdoor_c"] = draw(degrees)
    else:
        message["outdoor_c"] = draw(st.lists(st.floats(-70.0, 60.0) | st.none(), min_size=1, max_size=72))
    for name in draw(st.lists(st.sampled_from(NAMES), max_size=2)):
        if draw(st.booleans()):
            message[name] = draw(anything)
        else:
            message.pop(name, None)
    return message


def held():
    readings = Readings()
    readings.outdoor_c.set(-3.0, 100)
    readings.forecast_issued_s = UTC_S - 50_000
    readings.forecast_dc[0] = -30
    return readings


def image(readings):
    sample = readings.outdoor_c
    times = (readings.forecast_issued_s, readings.forecast_start_s, readings.utc_s, readings.utc_offset_s)
    return (repr(sample.value), sample.at_s, sample.error, times, readings.forecast_dc.tobytes())


def check(message, now_s, utc_s):
    """Whether the message was taken; every promise about it is held here."""
    readings = held()
    before = image(readings)
    refusal = accept(message, readings, now_s, utc_s)
    assert isinstance(refusal, str) and len(refusal) < 200
    if refusal:
        assert image(readings) == before
        return False
    sample = readings.outdoor_c
    assert -70.0 <= sample.value <= 60.0 and isinstance(sample.value, float)
    assert 100 <= sample.at_s <= max(now_s, 100)
    assert all(dc == FORECAST_NONE or -700 <= dc <= 600 for dc in readings.forecast_dc)
    assert len(readings.forecast_dc) == 72
    assert readings.forecast_issued_s >= UTC_S - 50_000
    return True


@given(anything, st.integers(0, 10**9), st.sampled_from([0, UTC_S]))
def test_anything_at_all(message, now_s, utc_s):
    check(message, now_s, utc_s)
    assert isinstance(WallTime().take(message, False, now_s), str)


@settings(max_examples=500)
@given(messages(), st.integers(0, 10**6), st.sampled_from([0, UTC_S]))
def test_messages_that_are_nearly_right(message, now_s, utc_s):
    check(message, now_s, utc_s)


@given(messages())
def test_what_comes_as_text_is_judged_the_same(message):
    """With the text's own NaN, infinities and endless numbers."""
    again = json.loads(json.dumps(message))
    assert check(again, 200_000, UTC_S) == check(message, 200_000, UTC_S)


@pytest.mark.parametrize("name", NAMES)
def test_a_number_with_more_digits_than_python_prints(name):
    message = {"schema": 1, "sent_s": UTC_S, "observed_s": UTC_S, "outdoor_c": -1}
    assert check({**message, name: 10**5000}, 200_000, UTC_S) == (name in ("start_s", "step_s", "x"))


def test_right_ones_of_both_kinds_are_taken():
    """The fuzz's own soundness: what it starts from is no refusal."""
    observation = {"schema": 1, "sent_s": UTC_S, "observed_s": UTC_S, "outdoor_c": -1}
    forecast = {"schema": 1, "sent_s": UTC_S, "issued_s": UTC_S, "start_s": 10**9, "step_s": 3600, "outdoor_c": [None]}
    assert check(observation, 200_000, UTC_S)
    assert check(forecast, 200_000, UTC_S)


@given(st.lists(st.tuples(near, st.booleans(), st.integers(0, 900)), min_size=1, max_size=40))
def test_no_course_of_messages_sets_the_wall_time_before_a_message_that_said_otherwise(course):
    """Retained messages change nothing; a step back needs three live messages in a row, all behind."""
    clock = WallTime()
    now_s = 0
    live_behind = 0
    for sent_s, is_retained, passed_s in course:
        now_s += passed_s
        before_s = clock.utc_s(now_s)
        message = {"schema": 1, "sent_s": sent_s, "observed_s": UTC_S, "outdoor_c": 0}
        assert clock.take(message, is_retained, now_s) == ""
        after_s = clock.utc_s(now_s)
        assert after_s in (before_s, sent_s)
        if is_retained:
            assert after_s == before_s
            continue
        live_behind = live_behind + 1 if sent_s < before_s - 60 else 0
        if after_s < before_s:
            assert live_behind >= 3
            live_behind = 0
