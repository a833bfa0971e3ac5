"""The feed: reports, documents and rows to a board's messages; how a server is asked.  No address but loopback."""

import http.server
import io
import json
import random
import socket
import threading
import time
from datetime import UTC, datetime
from email.utils import formatdate

import mqtt_rig as rig
import pytest

from dewcore import feed
from dewcore.readings import FORECAST_NONE, Readings
from dewsim import feed_command, metar, polling
from dewsim.cli import main
from dewsim.errors import InputError
from dewsim.feed_sources import Told, hours_of

NOW_S = int(datetime(2026, 1, 14, 21, 10, tzinfo=UTC).timestamp())


@pytest.fixture(autouse=True)
def loopback_only(monkeypatch):
    """Whoever looks up or calls another host fails."""
    look_up = socket.getaddrinfo

    def guarded(host, *arguments, **options):
        assert host in ("127.0.0.1", "localhost", b"127.0.0.1", None), f"called {host}"
        return look_up(host, *arguments, **options)

    monkeypatch.setattr(socket, "getaddrinfo", guarded)


# METAR; every report is invented


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("METAR KXYZ 142053Z AUTO 27008KT 10SM -SN BKN012 04/M03 A2992 RMK AO2 SLP132 T00391033=", (3.9, "14 20:53")),
        ("SPECI COR EXYZ 142050Z 00000KT 9999 M05/M07 Q1013", (-5.0, "14 20:50")),
        ("KXYZ 142053Z 18/// Q1013", (18.0, "14 20:53")),
        ("KXYZ 142053Z 18/ Q1013", (18.0, "14 20:53")),
        ("KXYZ 142053Z M00/M01 A3000 RMK T10021006", (-0.2, "14 20:53")),
        ("KXYZ 142053Z 1 1/2SM R06/2400FT M12/M14 A3000 RMK T1122", (-12.2, "14 20:53")),
        ("kxyz 132053z 02/01", (2.0, "13 20:53")),
        ("KXYZ 312353Z M40/M44", (-40.0, "31 23:53")),  # of the month before
        ("2026/01/14 20:53\nKXYZ 142053Z 27008KT\n  10SM M01/M03 A2992\n  RMK 10/08", (-1.0, "14 20:53")),
        ("TAF KXYZ 142020Z 1421/1524 27008KT TX05/1421Z METAR KXYZ 142053Z 01/00", (1.0, "14 20:53")),
        ("KXYZ 141953Z 09/00 KXYZ 142053Z 08/00 KXYZ 141853Z 07/00", (8.0, "14 20:53")),
        ("KXYZ 142053Z NIL= KXYZ 141953Z 06/00=", (6.0, "14 19:53")),
    ],
)
def test_reports(text, expected):
    found, _ = metar.reports(text, NOW_S)
    newest = max(found, key=lambda report: report.observed_s)
    assert (newest.outdoor_c, f"{datetime.fromtimestamp(newest.observed_s, UTC):%d %H:%M}") == expected


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("KXYZ 142053Z 27008KT", "0 temperature groups"),
        ("KXYZ 142053Z 04/03 05/02", "2 temperature groups"),
        ("KXYZ 142053Z 04/09", "above the temperature"),
        ("KXYZ 142053Z 04/M03 RMK T00891033", "contradict"),
        ("KXYZ 992053Z 04/M03", "no day"),
        ("KXYZ 142099Z 04/M03", "no day"),
    ],
)
def test_reports_that_cannot_be(text, words):
    found, problems = metar.reports(text, NOW_S)
    assert found == [] and len(problems) == 1 and words in problems[0]


def test_any_text_is_read_without_harm():
    rng = random.Random(2)
    words = "KXYZ 142053Z 04/M03 M12/ // RMK T00391033 = TAF 999999Z / T1 M99/99 Ünïcode \0 METAR".split(" ")
    for _ in range(2000):
        found, _ = metar.reports(" ".join(rng.choice(words) for _ in range(rng.randrange(30))), NOW_S)
        assert all(-99.9 <= report.outdoor_c <= 99.9 for report in found)


# Documents to messages, as the command prints them


def printed(capsys, *words) -> dict:
    """{topic: message} of `dewmargin feed ... --print`, each as a board takes it."""
    assert main(["feed", *map(str, words), "--print"]) == 0
    messages = {}
    for line in capsys.readouterr().out.splitlines():
        topic, _, text = line.partition(" ")
        message = json.loads(text)
        assert len(text.encode()) <= feed.LARGEST_BYTES
        assert feed.accept(message, Readings(), message["sent_s"], message["sent_s"]) == ""
        messages[topic.removeprefix("dewmargin/feed/")] = message
    return messages


def iso(second: int) -> str:
    """A time as sources write it, without a zone."""
    return datetime.fromtimestamp(second, UTC).strftime("%Y-%m-%dT%H:%M:%S")


def test_json_with_paths_units_and_all_kinds_of_times(tmp_path, capsys):
    now_s = int(time.time())
    hour_s = now_s // 3600 * 3600
    tree = {
        "now": {"air": [{"f": 14.0}], "at": (now_s - 600) * 1000, "text": "5.5", "iso": iso(now_s - 60) + "+00:00"},
        "days": [{"k": 263.15 + n, "at": iso(hour_s + 3600 * n)} for n in range(4)] + [{"k": None, "at": "no time"}],
        "made": iso(now_s - 7200),
    }
    path = tmp_path / "d.json"
    path.write_text(json.dumps(tree))
    words = (path, "--kind", "json")
    found = printed(capsys, *words, "--outdoor", "now.air[0].f", "--time", "now.at", "--unit", "f")
    assert set(found) == {"observed"}
    assert found["observed"]["outdoor_c"] == -10.0 and found["observed"]["observed_s"] == now_s - 600
    found = printed(capsys, *words, "--outdoor", "now.text", "--time", "now.iso")
    assert (found["observed"]["outdoor_c"], found["observed"]["observed_s"]) == (5.5, now_s - 60)
    paths = ("--forecast", "days[*].k", "--forecast-time", "days[*].at", "--issued", "made", "--unit", "k", "--utc")
    message = printed(capsys, *words, *paths)["forecast"]
    assert message["outdoor_c"] == [-10.0, -9.0, -8.0, -7.0]
    assert (message["start_s"], message["issued_s"]) == (hour_s, now_s - 7200)


def test_csv_past_rows_are_the_observation_and_later_ones_the_forecast(tmp_path, capsys):
    hour_s = int(time.time()) // 3600 * 3600
    rows = [f"{iso(hour_s + 3600 * n)}Z,{n % 40}.25" for n in range(-2, 100) if n not in (3, 4)]
    (tmp_path / "w.csv").write_text("\n".join(["time,outdoor_c", *rows]) + "\n")
    found = printed(capsys, tmp_path / "w.csv", "--kind", "csv")
    assert found["observed"]["outdoor_c"] == 0.25 and found["observed"]["observed_s"] == hour_s
    values = found["forecast"]["outdoor_c"]
    assert len(values) == 72 and values[:6] == [0.2, 1.2, 2.2, None, None, 5.2]
    readings = Readings()
    assert feed.accept(found["forecast"], readings, 0, found["forecast"]["sent_s"]) == ""
    assert list(readings.forecast_dc[:4]) == [2, 12, 22, FORECAST_NONE]


def test_csv_rows_need_not_lie_evenly(tmp_path, capsys):
    hour_s = int(time.time()) // 3600 * 3600
    seen_s = hour_s - 660
    rows = [f"{iso(seen_s)}Z,-3.1", f"{iso(hour_s + 3600)}Z,-5", f"{iso(hour_s + 7200)}Z,-6"]
    (tmp_path / "w.csv").write_text("\n".join(["time,outdoor_c", *rows]) + "\n")
    found = printed(capsys, tmp_path / "w.csv", "--kind", "csv")
    assert (found["observed"]["outdoor_c"], found["observed"]["observed_s"]) == (-3.1, seen_s)
    assert found["forecast"]["outdoor_c"][-2:] == [-5.0, -6.0]


def test_an_hour_takes_the_lowest_value_within_half_an_hour_of_it():
    hour_s = NOW_S // 3600 * 3600
    rows = [(hour_s - 1900, -30.0), (hour_s - 1700, 3.0), (hour_s + 600, 2.0), (hour_s + 1900, 1.0)]
    rows += [(hour_s + 3 * 3600 + 1700, -4.0), (hour_s + 80 * 3600, 0.0)]
    expected = [(0, 2.0), (1, 1.0), (2, None), (3, -4.0)]
    assert hours_of(rows, NOW_S) == [(hour_s + 3600 * n, c) for n, c in expected]
    assert hours_of(rows, hour_s + 90 * 3600) == []


REFUSED = [
    (["nowhere", "--kind", "metar"], None, "cannot be read"),
    (["f", "--kind", "json"], "{}", "found no path"),
    (["f", "--kind", "json", "--outdoor", "a"], "{}", "--time"),
    (["f", "--kind", "metar", "--outdoor", "a"], "", "only with --kind json"),
    (["f", "--kind", "json", "--outdoor", "a..b", "--time", "t"], "{}", "write it so"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], "{", "is no JSON"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], "[" * 100000, "is no JSON"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"b":1}', "found nothing at a"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":true,"t":0}', "no temperature"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":NaN,"t":0}', "no temperature"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":5,"t":"2026-01-01T00:00"}', "--utc"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":5,"t":"soon"}', "no time"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":5,"t":1}', "observed_s"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":61,"t":NOW}', "-70 to 60"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":5,"t":LATER}', "ahead of the clock"),
    (["f", "--kind", "json", "--outdoor", "a", "--time", "t"], '{"a":5,"t":OLD}', "allowed are 6 h"),
    (["f", "--kind", "json", "--forecast", "a", "--forecast-time", "t"], '{"a":[1],"t":[1,2]}', "1 values"),
    (["f", "--kind", "json", "--forecast", "a", "--forecast-time", "t"], '{"a":[],"t":[]}', "no list"),
    (["f", "--kind", "csv"], "time,outdoor_c\n", "give rows"),
    (["f", "--kind", "csv"], "", "header"),
    (["f", "--kind", "csv"], "time,outdoor_c\n2026-01-01T00:00,5\n", "zone"),
    (["f", "--kind", "metar"], "nothing", "no usable report"),
    (["f", "--kind", "metar"], "KAAA 142053Z 01/00 KBBB 142053Z 01/00", "--station"),
    (["f", "--kind", "metar", "--station", "KCCC"], "KAAA 142053Z 01/00", "KCCC"),
    (["f", "--kind", "metar", "--station", "K"], "KAAA 142053Z 01/00", "four letters"),
    (["f", "--kind", "metar", "--topic", "a/#"], "KAAA 142053Z 01/00", "--topic"),
    (["ftp://127.0.0.1/", "--kind", "metar"], None, "correct the address"),
    (["http://", "--kind", "metar"], None, "correct the address"),
    (["http://127.0.0.1:x/", "--kind", "metar"], None, "correct the address"),
]


REFUSED_IDS = [f"{n} {told}" for n, (*_, told) in enumerate(REFUSED)]


@pytest.mark.parametrize(("words", "text", "told"), REFUSED, ids=REFUSED_IDS)
def test_refusals_are_one_line(tmp_path, monkeypatch, capsys, words, text, told):
    monkeypatch.chdir(tmp_path)
    if text is not None:
        now_s = int(time.time())
        for name, second in (("NOW", now_s), ("LATER", now_s + 3600), ("OLD", now_s - 7 * 3600)):
            text = text.replace(name, str(second))
        (tmp_path / "f").write_text(text)
    assert main(["feed", *words, "--print"]) == 2
    out, errors = capsys.readouterr()
    assert out == "" and errors.count("\n") == 1 and errors[:-1].isprintable() and told in errors, errors
    assert errors.startswith("dewmargin: ") and len(errors) < 1000


def test_intervals_below_ten_minutes_are_refused(capsys):
    for text in ("9", "0", "-5", "1e3", "181"):
        with pytest.raises(SystemExit) as ended:
            main(["feed", "http://127.0.0.1/", "--kind", "metar", "--every", text])
        assert ended.value.code == 2 and "10 to 180" in capsys.readouterr().err


def test_a_held_message_is_not_replaced_by_an_older_one():
    messages = feed_command.Messages()
    assert messages.take(Told("x", (NOW_S - 60, -5.0), 0, []), NOW_S) == (["observed"], [])
    assert messages.take(Told("x", (NOW_S - 60, -5.0), 0, []), NOW_S) == ([], [])
    fresh, problems = messages.take(Told("x", (NOW_S - 120, -6.0), 0, []), NOW_S)
    assert fresh == [] and "older than the one held" in problems[0]
    hours = [(NOW_S // 3600 * 3600, 1.0)]
    fresh, problems = messages.take(Told("x", (NOW_S - 30, 99.0), NOW_S, hours), NOW_S)
    assert fresh == ["forecast"] and "outdoor_c" in problems[0]  # one wrong, the other still goes out
    assert json.loads(dict(messages.texts(NOW_S))["observed"])["outdoor_c"] == -5.0
    assert dict(messages.texts(NOW_S + 7 * 3600)).keys() == {"forecast"}  # what is too old is no longer sent


# Asking a server


class Server:
    """A loopback server whose answers are given: (status, headers, body) each; it keeps what it was asked."""

    def __init__(self):
        self.asked = []
        self.answers = []
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_GET(self):
                outer.asked.append(dict(self.headers))
                status, headers, body = outer.answers.pop(0)
                self.send_response(status)
                for name, value in headers.items():
                    self.send_header(name, value)
                self.send_header("Content-Length", str(len(body)))
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_):
                pass

        self.server = http.server.HTTPServer(("127.0.0.1", 0), Handler)
        self.url = f"http://127.0.0.1:{self.server.server_port}/x"
        threading.Thread(target=self.server.serve_forever, daemon=True).start()


@pytest.fixture
def server():
    """A server that answers what it is told to."""
    made = Server()
    yield made
    made.server.shutdown()
    made.server.server_close()


@pytest.fixture
def still(monkeypatch):
    """No jitter: waits can be compared."""
    monkeypatch.setattr(polling.random, "random", lambda: 0.0)


def waited(address) -> float:
    """How long until the next request."""
    return address.due_s - time.monotonic()


def test_a_server_is_asked_by_name_and_only_for_what_changed(server, still):
    stamp = formatdate(NOW_S, usegmt=True)
    server.answers = [(200, {"ETag": '"v1"', "Last-Modified": stamp}, b"one"), (304, {}, b""), (200, {}, b"two")]
    address = polling.Address(server.url, 900.0, "dewmargin/test")
    document = address.get()
    assert (document.text, document.made_s, document.place) == ("one", NOW_S, "127.0.0.1")
    assert waited(address) == pytest.approx(900.0, abs=1.0)
    assert address.get() is None and waited(address) == pytest.approx(900.0, abs=1.0)
    assert address.get().text == "two"
    assert [asked["User-Agent"] for asked in server.asked] == ["dewmargin/test"] * 3
    assert "If-None-Match" not in server.asked[0]
    assert (server.asked[1]["If-None-Match"], server.asked[1]["If-Modified-Since"]) == ('"v1"', stamp)


def test_failures_back_off_and_a_success_ends_it(server, still):
    server.answers = [(503, {}, b"")] * 6 + [(200, {}, b"x"), (500, {}, b"")]
    address = polling.Address(server.url, 900.0, "a")
    waits = []
    for _ in range(6):
        with pytest.raises(polling.Failed, match="503"):
            address.get()
        waits.append(round(waited(address)))
    assert waits == [1800, 3600, 7200, 14400, 21600, 21600]
    address.get()
    assert round(waited(address)) == 900
    with pytest.raises(polling.Failed):
        address.get()
    assert round(waited(address)) == 1800


@pytest.mark.parametrize(
    ("status", "header", "wait_s", "is_final"),
    [
        (429, "7200", 7200, False),
        (429, "60", 1800, False),
        (429, "date", 5400, False),
        (429, "99999999999", 86400, False),
        (429, "soon", 1800, False),
        (503, "3600", 3600, False),
        (404, "", 1800, True),
        (403, "7200", 7200, True),
    ],
)
def test_retry_after_is_heeded(server, still, status, header, wait_s, is_final):
    text = formatdate(time.time() + 5400, usegmt=True) if header == "date" else header
    server.answers = [(status, {"Retry-After": text}, b"")]
    address = polling.Address(server.url, 900.0, "a")
    with pytest.raises(polling.Failed) as failed:
        address.get()
    assert failed.value.is_final == is_final
    assert waited(address) == pytest.approx(wait_s, abs=2.5)


def test_limits_of_size_and_time(server, still, monkeypatch):
    monkeypatch.setattr(polling, "SOCKET_S", 0.3)
    server.answers = [(200, {}, b"x" * (polling.LARGEST_BYTES + 1))]
    address = polling.Address(server.url, 900.0, "a")
    with pytest.raises(polling.Failed, match="more than 1000000 bytes"):
        address.get()
    with socket.create_server(("127.0.0.1", 0)) as silent:
        address = polling.Address(f"http://127.0.0.1:{silent.getsockname()[1]}/", 900.0, "a")
        began_s = time.monotonic()
        with pytest.raises(polling.Failed, match="timed out"):
            address.get()
        assert time.monotonic() - began_s < 5.0
    address = polling.Address(f"http://127.0.0.1:{rig.free_port()}/", 900.0, "a")
    with pytest.raises(polling.Failed, match="refused"):
        address.get()


def test_a_drip_is_cut_off(monkeypatch):
    monkeypatch.setattr(polling, "ANSWER_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as dripping:

        def drip():
            link, _ = dripping.accept()
            link.recv(4096)
            link.sendall(b"HTTP/1.0 200 OK\r\n\r\n")
            try:
                while True:
                    link.sendall(b"x")
                    time.sleep(0.05)
            except OSError:
                link.close()

        threading.Thread(target=drip, daemon=True).start()
        address = polling.Address(f"http://127.0.0.1:{dripping.getsockname()[1]}/", 900.0, "a")
        with pytest.raises(polling.Failed, match="took more than"):
            address.get()


def test_jitter_only_makes_it_rarer(server):
    server.answers = [(200, {}, b"x")] * 20
    address = polling.Address(server.url, 900.0, "a")
    waits = []
    for _ in range(20):
        address.get()
        waits.append(waited(address))
    assert 899.0 < min(waits) and max(waits) <= 990.0 and max(waits) - min(waits) > 10.0


def test_an_address_that_is_wrong_ends_the_command_one_that_fails_does_not(server, capsys, monkeypatch):
    server.answers = [(404, {}, b"")]
    assert main(["feed", server.url, "--kind", "metar", "--broker", "mqtt://127.0.0.1:1"]) == 2
    errors = capsys.readouterr().err
    assert "answered 404" in errors and errors.count("\n") == 1
    server.answers = [(503, {}, b"")]
    source = feed_command.Polled(server.url, 15, "a")
    assert source.next(0.0) is None and "asking again in 3" in capsys.readouterr().err
    assert source.next(0.0) is None and len(server.asked) == 2  # not asked again before its time


# Files and stdin


def test_a_file_is_sent_again_when_it_has_changed(tmp_path, monkeypatch):
    monkeypatch.setattr(feed_command, "FILE_S", 0.0)
    path = tmp_path / "now.txt"
    path.write_text("a")
    source = feed_command.File(str(path))
    assert source.next(0.0).text == "a" and source.next(0.0) is None
    path.write_text("bc")
    assert source.next(0.0).text == "bc"
    path.unlink()
    with pytest.raises(InputError, match="cannot be read"):
        source.next(0.0)


def lines_of(monkeypatch, kind: str, text: str, whole: bool = False) -> list:
    """Documents of a stdin."""
    monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(text.encode())))
    source = feed_command.Lines(kind, whole)
    found = []
    while not source.is_over:
        document = source.next(5.0)
        if document is not None:
            found.append(document.text)
    return found


def test_stdin_by_lines_and_whole(monkeypatch):
    assert lines_of(monkeypatch, "json", '{"a":1}\n\n{"a":2}\n') == ['{"a":1}', '{"a":2}']
    assert lines_of(monkeypatch, "csv", "time,outdoor_c\nr1\nr2\n") == ["time,outdoor_c\nr1", "time,outdoor_c\nr2"]
    assert lines_of(monkeypatch, "csv", "time,outdoor_c\nr1\nr2\n", whole=True) == ["time,outdoor_c\nr1\nr2"]
    assert lines_of(monkeypatch, "metar", "") == []


def test_lines_go_out_as_they_come_and_a_wrong_one_stops_nothing(tmp_path):
    tmp_path.chmod(0o777)
    with rig.running(rig.Mosquitto(tmp_path, careful=False)) as broker:
        heard = []
        ear = rig.client(broker.port, on_message=lambda _c, _d, m: heard.append(json.loads(m.payload)))
        ear.subscribe("dewmargin/feed/#", 1)
        words = ("feed", "-", "--kind", "json", "--outdoor", "c", "--time", "t", "--broker")
        command = rig.dewmargin(*words, f"mqtt://127.0.0.1:{broker.port}")
        process = rig.subprocess.Popen(
            command, env=rig.PATH, stdin=rig.subprocess.PIPE, stderr=rig.subprocess.PIPE, text=True
        )
        for n, line in enumerate(('{"c":-5,"t":%d}', '{"c":-6,"t":%d}', '{"c":"x","t":%d}', '{"c":-7,"t":%d}')):
            process.stdin.write(line % (time.time() - 60 + n) + "\n")
            process.stdin.flush()
            if n != 2:
                rig.wait_for(lambda: heard and heard[-1]["outdoor_c"] == json.loads(line % 0)["c"], line)
        _, errors = process.communicate(timeout=rig.WAIT_S)
        assert process.returncode == 0 and "no temperature" in errors and "Traceback" not in errors
        ear.disconnect()
        ear.loop_stop()
