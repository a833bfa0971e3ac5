"""The live bench: its ledger, its house, every order of its page, and both ports over real sockets."""

import http.client
import json
import re
import statistics
import time
from pathlib import Path

import bench_served
import pytest

from dewcore import readings as r
from dewcore import words
from dewsim import (
    bench_inputs,
    bench_ledger,
    bench_live,
    bench_page,
    housefile,
    policies,
    replay,
    report,
    thinning,
    winters,
)
from dewsim.cli import main

ROOT = Path(__file__).resolve().parents[2]
PAGE = bench_page.page(1)


@pytest.fixture(scope="module")
def parts():
    """(house, winter, settings) of the demo."""
    house = housefile.load(replay.DEMO_HOUSE)
    return house, winters.ostervale(), policies.settings_for(house, "demo")


@pytest.fixture
def live(parts):
    """A bench without its page, paused so that only orders move it."""
    made = bench_live.Live(*parts)
    made.paused = True
    yield made
    made.bench.close()


class Caller:
    """The page's side of both ports."""

    def __init__(self, served):
        self.port, self.board_port = served.port, served.board_port

    def ask(self, method: str, path: str, body: str | None = None, port: int = 0, **headers):
        """(status, head, body)."""
        port = port or self.port
        line = http.client.HTTPConnection("127.0.0.1", port, timeout=10)
        sent = {"Host": f"127.0.0.1:{port}", "Origin": f"http://127.0.0.1:{port}", **headers}
        if body is not None:
            sent.setdefault("Content-Type", "application/json")
        line.request(method, path, body, sent)
        answer = line.getresponse()
        found = answer.status, dict(answer.getheaders()), answer.read().decode()
        line.close()
        return found

    def do(self, **order) -> dict:
        """The frame after an order."""
        status, _, body = self.ask("POST", "/do", json.dumps(order))
        assert status == 200
        return json.loads(body)


@pytest.fixture(scope="module")
def served(parts):
    with bench_served.served(bench_live.Live(*parts)) as made:
        yield made


@pytest.fixture
def caller(served):
    made = Caller(served)
    made.do(do="renew")
    return made


def order(live, **what) -> str:
    return live.act(what)


# -- the ledger


def test_every_reason_has_its_line_and_only_one():
    codes = [code for row in bench_ledger.PERMITS for code in row[3]]
    codes += [code for row in bench_ledger.VALVE for code in row[1]] + [words.HUMID_ENOUGH]
    assert sorted(codes) == list(range(len(words.REFUSALS)))


def test_every_status_of_readings_and_forecast_has_words():
    assert len(bench_ledger.STATUS) == r.UNFITTED + 1
    assert len(bench_ledger.CHANNELS) == len(r.SAMPLE_NAMES)
    assert set(bench_ledger.FORECAST) == set(range(8))
    assert set(bench_ledger.CONTACTS) == set(r.CONTACT_NAMES)


def test_lines_are_numbered_and_the_last_says_what_the_board_says(live):
    lines = live.frame()["ledger"]
    assert [line[0] for line in lines] == list(range(1, len(lines) + 1))
    steps = list(dict.fromkeys(line[1] for line in lines))
    assert steps == ["judge", "outlook", "ceiling", "target", "demand", "permit", "valve"]
    decision = live.bench.app.controller.decision
    assert lines[-1][3] == "shut"
    assert lines[-1][4].startswith(words.status_sentence(decision.refusals, decision.notices))
    (target,) = [line for line in lines if line[2] == "Target"]
    assert target[3] == words.decimal(decision.target_pct, 1) + " %"


@pytest.mark.parametrize(
    ("name", "value", "what", "text"),
    [
        ("leak", "wet", "Leak wire", "Water at the leak wire"),
        ("fan", "off", "Fan proof", "not proven running"),
        ("selector", "dial_only", "Selector at the unit", "off or dial only"),
        ("terminal", "dead", "Line", "No 24 V"),
        ("rh_pct", "60", "Humidity", "as humid as it may be"),
    ],
)
def test_a_refused_line_is_marked_with_its_sentence(live, name, value, what, text):
    assert order(live, do="set", name=name, value=value) == ""
    for _ in range(4):
        live.one_scan()
    (line,) = [line for line in live.frame()["ledger"] if line[2] == what]
    assert line[5]
    assert text in line[4]


def test_an_untrusted_reading_is_refused_and_a_lost_outdoor_one_tells_what_holds(live):
    order(live, do="fault", name="humidity_silent", on=True)
    order(live, do="fault", name="outdoor_silent", on=True)
    for _ in range(5):
        live.one_scan()
    lines = {line[2]: line for line in live.frame()["ledger"]}
    assert lines["Air indoors"][4:] == ("no reading", True)
    assert lines["Air outdoors"][4:] == ("no reading, the last one holds", False)
    assert "not judged" in lines["Humidity"][4]
    assert "humid as" not in str((live.frame()["ledger"], live.frame()["others"], live.frame()["sentence"]))
    for _ in range(5500):
        live.step()
    lines = {line[2]: line for line in live.frame()["ledger"]}
    assert lines["Air outdoors"][4:] == ("reading too old: the coldest of the last day", True)


def test_latched_is_told(live):
    order(live, do="set", name="leak", value="wet")
    live.one_scan()
    order(live, do="set", name="leak", value="dry")
    live.one_scan()
    (line,) = [line for line in live.frame()["ledger"] if line[2] == "Leak wire"]
    assert line[3] == "dry"
    assert line[4].endswith("Latched.")


# -- the house, jumps and restarts


def test_the_house_drives_all_that_nobody_holds(live):
    order(live, do="house", on=True)
    order(live, do="set", name="rh_pct", value="33")
    for _ in range(600):
        live.step()
    frame, course, k = live.frame(), live.house.course, live.house.k
    assert k == 10
    assert frame["held"] == ["rh_pct"]
    assert frame["inputs"]["outdoor_c"] == course.outdoor_c[k]
    assert frame["inputs"]["fan"] == ("on" if course.fan[k] else "off")
    assert frame["inputs"]["rh_pct"] == 33.0
    assert frame["local_s"] == course.start_local_s + 600 - 1  # the last beat's second
    assert order(live, do="release", name="rh_pct") == ""
    assert abs(live.frame()["inputs"]["rh_pct"] - live.house.moisture.rh_pct(k)) < 1e-9
    assert "no house drives it" in order(live, do="release", name="leak")


def test_an_open_valve_moistens_the_house(live):
    order(live, do="jump")
    live.house.moisture.w_g_kg *= 0.6  # dry enough to want water
    for _ in range(3 * 3600):
        live.step()
    open_s = live.bench.app.counters.valve_open_s
    moisture, humidifier = live.house.moisture, live.house.house.humidifier
    assert open_s > 600
    assert abs(moisture.open_h * 3600 - open_s) <= 70  # a minute is not over yet, a beat is a second
    assert 0.2 < moisture.evaporated_kg / (humidifier.kg_h * moisture.open_h) < 1.5


def test_a_jump_goes_to_the_noon_before_the_coldest_night_with_the_week_before_known(live):
    assert order(live, do="jump") == ""
    first, _, coldest = thinning.coldest_window(live.house.course)
    assert live.house.k == first
    assert 0 < coldest - first < 1440
    history = live.bench.app.controller.judge.history
    week_c = live.house.course.outdoor_c[first - 7 * 1440 : first]
    assert history.count == 168
    assert abs(history.week_c - sum(week_c) / len(week_c)) < 0.01
    live.one_scan()
    assert live.frame()["inputs"]["outdoor_c"] == live.house.course.outdoor_c[live.house.k]
    assert live.frame()["held"] == []


def test_what_is_fitted_counts_after_the_restart_that_it_brings(live):
    assert order(live, do="fit", name="has_glass", value=1) == ""
    frame = live.frame()
    assert (frame["fitted"]["has_glass"], frame["restarts"]) == (1, 1)
    live.one_scan()
    live.one_scan()
    assert "Thermometer on the glass" in [line[2] for line in live.frame()["ledger"]]
    assert "has_line_sense" in order(live, do="fit", name="has_line_sense", value=0)
    assert order(live, do="renew") == ""
    assert live.frame()["fitted"]["has_glass"] == 1


def test_people_press_look_and_ask(live):
    order(live, do="set", name="leak", value="wet")
    live.one_scan()
    order(live, do="set", name="leak", value="dry")
    live.one_scan()
    live.one_scan()
    assert order(live, do="press", button="alarm", seconds=4) == ""
    live.one_scan()
    assert not live.bench.app.controller.permit.latched
    assert order(live, do="look", what="fog") == ""
    live.one_scan()
    assert live.bench.app.controller.glass.last_look == r.SAW_FOG
    order(live, do="ask", what="run", seconds=60)
    live.one_scan()
    assert "A timed test run" in " ".join(live.frame()["others"])
    assert order(live, do="clock", minute=370) == ""
    live.one_beat()
    assert live.frame()["local_s"] % 86400 // 60 == 370


def test_forecasts_by_hand_and_of_the_winter(live):
    order(live, do="house", on=True)
    assert order(live, do="forecast", kind="steady", outdoor_c=-7) == ""
    assert set(live.bench.app.readings.forecast_dc) == {-70}
    assert order(live, do="forecast", kind="weather") == ""
    assert len(set(live.bench.app.readings.forecast_dc)) > 5
    assert order(live, do="forecast", kind="none") == ""
    assert live.bench.app.readings.forecast_issued_s == 0


def test_paused_nothing_moves_but_what_is_asked_for(live):
    before = live.bench.seconds
    live.slice()
    order(live, do="set", name="fan", value="off")
    assert live.bench.seconds == before
    order(live, do="beat")
    assert live.bench.seconds == before + 1
    order(live, do="scan")
    assert before + 2 <= live.bench.seconds <= before + 12
    assert live.paused


WRONG = (
    ({"do": "fly"}, "allowed is an object whose do is one of"),
    (["set"], "allowed is an object whose do is one of"),
    ({"do": "set", "name": "rh_pct", "value": "300"}, "rh_pct: found '300', allowed is a number from 0 to 100 %"),
    ({"do": "set", "name": "rh_pct", "value": 30}, "found 30, allowed is a text"),
    ({"do": "set", "name": "nothing", "value": "1"}, "found the input 'nothing'"),
    ({"do": "set", "name": "leak"}, "set: found {'name': 'leak'}, which it does not take"),
    ({"do": "fault", "name": "x", "on": True}, "found the fault 'x'"),
    ({"do": "speed", "factor": 7}, "found the speed 7"),
    ({"do": "press", "button": "red", "seconds": 1}, "allowed is look, alarm, both"),
    ({"do": "press", "button": "look", "seconds": 9999}, "for 0.1 to 60 s"),
    ({"do": "power", "seconds": 0}, "allowed are 1 to 3600 whole seconds"),
    ({"do": "forecast", "kind": "rain"}, "allowed is none, steady or weather"),
    ({"do": "forecast", "kind": "steady", "outdoor_c": 99}, "allowed is -70 to 60"),
    ({"do": "fit", "name": "wish_pct", "value": 1}, "found 'wish_pct'"),
    ({"do": "fit", "name": "has_leak", "value": 2}, "has_leak: found 2"),
    ({"do": "look", "what": "out"}, "allowed is fog or clear"),
    ({"do": "ask", "what": "money"}, "allowed is clear, rearm, window, run, stop"),
    ({"do": "clock", "minute": 1440}, "allowed is a minute of the day"),
)


@pytest.mark.parametrize(("wrong", "refusal"), WRONG, ids=[str(n) for n in range(len(WRONG))])
def test_wrong_orders_are_refused_in_one_line_and_change_nothing(live, wrong, refusal):
    before = {name: value for name, value in live.frame().items() if name != "n"}
    told = live.act(wrong)
    assert refusal in told
    assert "\n" not in told
    assert {name: value for name, value in live.frame().items() if name != "n"} == before


# -- speed


def test_a_week_a_minute_leaves_time_to_spare(live):
    """In processor time, which does not depend on what else this computer does."""
    live.jump()
    live.set_speed(10080)
    for _ in range(9000):  # the waves are counted once
        live.step()
    began = time.process_time()
    for _ in range(6000):
        live.step()
    assert 6000 / (time.process_time() - began) > 1.2 * 10080


def test_time_follows_the_speed_and_what_cannot_be_kept_up_is_left_out(live, monkeypatch):
    clock = [100.0]
    monkeypatch.setattr(bench_live.time, "monotonic", lambda: clock[0])
    live.paused = False
    live.last = clock[0]
    live.set_speed(10)
    before = live.bench.seconds
    for _ in range(20):
        clock[0] += 0.05
        live.slice()
    assert abs(live.bench.seconds - before - 10) <= 1
    clock[0] += 3600.0
    before = live.bench.seconds
    live.slice()
    assert live.bench.seconds - before <= 4


# -- over sockets


def test_the_page_has_a_label_for_every_control_and_nothing_from_outside():
    ids = set(re.findall(r'<(?:input|select)[^>]* id="([^"]+)"', PAGE))
    assert ids == set(re.findall(r'<label for="([^"]+)"', PAGE))
    for tick in re.findall(r'<input type="checkbox"[^>]*>', PAGE):
        assert "<label" in PAGE.split(tick)[0][-40:]
    assert set(re.findall(r'data-input="([^"]+)"', PAGE)) == set(bench_inputs.NAMES)
    assert set(re.findall(r'data-fault="([^"]+)"', PAGE)) == set(bench_inputs.FAULTS)
    for text in (PAGE, report.own("bench.css"), report.own("bench.js")):
        assert set(re.findall(r"(?:https?:)?//[\w.]+", text)) <= {"http://127.0.0.1"}
        assert "@import" not in text


def test_readings_and_what_is_fitted_are_called_as_on_the_boards_page():
    text = (report.CHECKOUT / "firmware" / "dewboard" / "page.html").read_text("utf-8")
    rows = dict(re.findall(r"(?m)^~ row (\w+) (.+)$", text))
    labels = {row[0]: row[1] for row in bench_inputs.NUMBERS if row[0] != "terminal_vac"}
    assert len(labels) == 7 and labels == {name: rows[name] for name in labels}
    assert '> Drain electrodes</label>' in PAGE and '> Selector at the unit</label>' in PAGE


def test_every_button_of_the_page_does_something(caller):
    orders = [json.loads(text) for text in re.findall(r"data-do='([^']+)'", PAGE)]
    assert len(orders) >= 14
    for what in orders:
        before = caller.do(do="pause", on=False)["n"]
        frame = caller.do(**what)
        assert frame["refusal"] == ""
        assert frame["n"] > before


def test_every_input_and_fault_reaches_the_board_over_the_wire(caller):
    for name, _, choices in bench_inputs.CHOICES:
        assert caller.do(do="set", name=name, value=choices[-1])["inputs"][name] == choices[-1]
    for name, *_ in bench_inputs.NUMBERS:
        assert caller.do(do="set", name=name, value="10.5")["inputs"][name] == 10.5
    for name in bench_inputs.FAULTS:
        assert name in caller.do(do="fault", name=name, on=True)["faults"]
        assert name not in caller.do(do="fault", name=name, on=False)["faults"]


def test_a_change_is_decided_in_its_own_answer_in_a_fifth_of_a_second(caller):
    took = []
    for n in range(20):
        value = ("open", "dry")[n % 2]
        began = time.monotonic()
        frame = caller.do(do="set", name="leak", value=value)
        took.append(time.monotonic() - began)
        assert ("The leak wire is broken" in frame["sentence"]) == (value == "open")
    assert statistics.median(took) < 0.2


def frames(caller, count: int) -> list:
    """The first frames of a stream."""
    line = http.client.HTTPConnection("127.0.0.1", caller.port, timeout=10)
    line.request("GET", "/frames", headers={"Host": f"127.0.0.1:{caller.port}"})
    answer = line.getresponse()
    assert answer.getheader("Content-Type").startswith("text/event-stream")
    found = []
    while len(found) < count:
        text = answer.readline().decode()
        if text.startswith("data: "):
            found.append(json.loads(text[6:]))
    line.close()
    return found


def test_the_stream_brings_every_point_once_and_a_page_that_left_is_forgotten(caller, served):
    caller.do(do="speed", factor=3600)
    found = frames(caller, 6)
    caller.do(do="speed", factor=1)
    at = found[0]["first"]
    for frame in found:
        assert frame["first"] == at
        at += len(frame["points"])
    seconds = [point[0] for frame in found for point in frame["points"]]
    assert seconds == sorted(seconds)
    assert seconds[-1] - seconds[0] > 300
    for _ in range(100):
        if not served.clients:
            return
        time.sleep(0.05)
    pytest.fail("the stream goes on for nobody")


def test_other_names_and_other_origins_are_refused(caller):
    assert caller.ask("GET", "/", Host=f"evil.example:{caller.port}")[0] == 421
    body = json.dumps({"do": "beat"})
    assert caller.ask("POST", "/do", body, Origin="http://evil.example")[0] == 403
    assert json.loads(caller.ask("POST", "/do", "nonsense")[2])["refusal"] == "The body is not JSON."
    status, head, _ = caller.ask("GET", "/")
    assert status == 200
    assert "default-src 'self'" in head["Content-Security-Policy"]
    for path in ("/bench.css", "/bench.js", "/uPlot.min.css", "/uPlot.iife.min.js"):
        assert caller.ask("GET", path)[0] == 200
    assert caller.ask("GET", "/../cli.py")[0] == 404


def test_the_boards_own_page_stands_beside_it_and_follows_restarts(caller, served):
    status, head, body = caller.ask("GET", "/", port=caller.board_port)
    assert status == 200
    assert head["Content-Security-Policy"].count("frame-ancestors") == 1
    assert f"frame-ancestors http://127.0.0.1:{caller.port}" in head["Content-Security-Policy"]
    assert "Target and readings" in body
    frame = caller.do(do="set", name="leak", value="short")
    state = json.loads(caller.ask("GET", "/state", port=caller.board_port)[2])
    assert frame["sentence"] in json.dumps(state)
    app = served.live.bench.app
    caller.do(do="power", seconds=1)
    assert served.live.bench.app is not app
    assert caller.ask("GET", "/state", port=caller.board_port)[0] == 200
    assert served.board_app is served.live.bench.app


def test_a_port_that_is_taken_is_one_line(served, capsys):
    assert main(["bench", "--port", str(served.port)]) == 2
    told = capsys.readouterr()
    refusal = f"--port: {served.port} cannot be used (it is taken); give another, or none for any free"
    assert told.err == f"dewmargin: {refusal}\n"


def test_options_that_do_not_go_together_are_refused(capsys):
    assert main(["bench", "--out", "x.html"]) == 2
    assert "only with --script" in capsys.readouterr().err
    assert main(["bench", "--script", "acceptance", "--port", "5000"]) == 2
    assert "only without --script" in capsys.readouterr().err
