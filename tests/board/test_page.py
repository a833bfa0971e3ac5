"""The page's content and its changes: nothing without login, nothing by GET, everything escaped and in SI."""

import json
import sys
import unittest

from page_app import App, fill
from page_client import STORED, Browser, logged_in, request

from dewboard import chart, page_parts
from dewboard.events import COUNTERS
from dewboard.guard import BODY_BYTES
from dewboard.login import to_hex
from dewcore import readings as r
from dewcore import words
from dewcore.ceiling import BINDS_OWNER
from dewcore.record import pack
from dewcore.settings import SWITCH, TABLE

SALT = "00112233445566778899aabbccddeeff"
CHANGES = (
    ("/clear", {}),
    ("/rearm", {}),
    ("/look", {"look": "fog"}),
    ("/window", {"here": True}),
    ("/run", {"seconds": 60}),
    ("/settings", {"values": {"wish_pct": 30}}),
    ("/leave", {}),
)


def page(browser):
    answer = browser.get("/")
    assert answer.status() == 200, answer.data[:200]
    return answer.body().decode()


class Reading(unittest.TestCase):
    def test_every_counter_has_its_words(self):
        self.assertEqual(set(page_parts.COUNTED), {name for name, _ in COUNTERS})
        text = page(Browser())
        self.assertTrue('Valve opened</th><td>1234<' in text and 'open, hours</th><td>274<' in text)

    def test_the_status_sentence_leads_and_the_others_follow(self):
        browser = Browser()
        text = page(browser)  # before the first scan
        self.assertIn("The valve rests for its shortest pause.", text)
        self.assertIn("Nothing has been decided yet.", text)
        browser.app.start()
        text = page(browser)
        decision = browser.app.controller.decision
        first = words.status_sentence(decision.refusals, decision.notices)
        at = text.find('<p id="status"')
        self.assertTrue(0 < text.find(first) - at < 60)
        for other in words.sentences(decision.refusals, decision.notices):
            self.assertTrue(text.find(other) >= at, other)
        self.assertEqual(text.count(">" + first), 1)
        self.assertTrue(at < text.find("<table") < text.find("<h2"))

    def test_it_is_whole_and_has_every_setting_once_with_its_bounds(self):
        text = page(Browser())
        self.assertTrue(text.rstrip().endswith("</html>"))
        self.assertEqual(text.find("\n% "), -1)
        for name, unit, _, low, high in TABLE:
            self.assertEqual(text.count(' name="' + name + '"'), 1, name)
            row = text[text.find('name="' + name + '"') :].split("</div>")[0]
            if unit == "min":
                self.assertEqual((low, high), (0, 1439))
                minute = getattr(Browser().app.settings, name)
                self.assertIn(' value="%02d:%02d" data-v="%d" data-u="min"' % (minute // 60, minute % 60, minute), row)
                self.assertEqual(text.count('type="time" id="s-' + name + '"'), 1)
            elif unit != SWITCH:
                self.assertIn('data-lo="%s"' % page_parts.trimmed(words.decimal(low, 3)), row)
                self.assertIn('data-hi="%s"' % page_parts.trimmed(words.decimal(high, 3)), row)
                self.assertIn('data-u="' + unit + '"', row)

    def test_figures_are_the_decisions(self):
        browser = Browser()
        browser.app.start()
        text = page(browser)
        controller = browser.app.controller
        for key, value in (
            ("target_pct", controller.decision.target_pct),
            ("coldest_c", controller.decision.coldest_c),
            ("rh_pct", 29.6),
            ("outdoor_c", -6.3),
            ("corner_pct", controller.terms.corner_pct),
        ):
            row = text[text.find('data-k="' + key + '"') :].split("</tr>")[0]
            self.assertIn('value="' + words.decimal(value, 1) + '"', row)
        self.assertEqual(text.find('data-k="room_c"'), -1)  # not fitted
        state = json.loads(browser.get("/state").body())
        self.assertEqual(state["figures"]["rh_pct"], {"v": "29.6", "u": "%", "note": ""})
        self.assertEqual(state["status"], page_parts.status(browser.app))
        self.assertEqual(state["open"], controller.decision.valve)
        for key in state["figures"]:
            self.assertIn('data-k="' + key + '"', text)

    def test_the_drawing_can_be_asked_for_alone(self):
        browser = Browser()
        browser.app.start()
        self.assertIn("Nothing is recorded yet", browser.get("/chart").body().decode())
        fill(browser.app)
        text = browser.get("/chart").body().decode()
        self.assertTrue(text.startswith("<figure><svg") and text.endswith("</svg>\n</figure>\n"))
        self.assertIn(text, page(browser))

    def test_a_minute_of_the_day_is_a_time(self):
        self.assertEqual([page_parts.of_day(n) for n in (0, 480, 1080, 1439)], ["00:00", "08:00", "18:00", "23:59"])

    def test_a_reading_that_is_not_trusted_says_so(self):
        browser = Browser()
        browser.app.start()
        browser.app.readings.rh_pct.error = r.ERROR_NO_ANSWER
        browser.app.controller.scan(browser.app.readings, browser.app.now_s + 2000)
        self.assertIn("<small>not trusted: ", page(browser))

    def test_a_reading_that_failed_but_whose_last_one_holds_says_that(self):
        browser = Browser()
        browser.app.start()
        browser.app.readings.rh_pct.error = r.ERROR_NO_ANSWER
        browser.app.controller.scan(browser.app.readings, browser.app.now_s + 10)
        self.assertEqual(page_parts.figure(browser.app, "rh_pct")[1], "the last one holds: no reading")
        self.assertFalse("not trusted" in page(browser))

    def test_no_number_is_no_number(self):
        for value in (float("nan"), float("inf"), -float("inf")):
            self.assertEqual(page_parts.number(value, 1), "")
        self.assertEqual(page_parts.quantity("", "K"), "–")

    def test_the_learned_house_in_words(self):
        browser = Browser()
        house = browser.app.controller.outlook.house
        self.assertIn("this house dries by half in %d h; an hour of open valve" % house.halves_h(), page(browser))
        self.assertIn("So it is taken, after 0 h of its own record.", page(browser))
        house.hours = 300
        house.dry_per_h = house.store_per_h = 0.0
        text = page(browser)
        self.assertIn("this house dries by half in more than 98 h;", text)
        self.assertIn("after 300 h of its own record", text)

    def test_alarm_and_fault_say_so_above_the_sentence_and_nothing_else_does(self):
        browser = Browser()
        browser.app.start()
        decision = browser.app.controller.decision
        for code, text in (
            (words.LEAK_WET, "Alarm: somebody has to come."),
            (words.RH_BAD, "Fault: a reading or a wire cannot be trusted."),
            (words.SWITCH_OFF, ""),
            (words.FAN_OFF, ""),
        ):
            decision.refusals = 1 << code
            whole = page(browser)
            at = whole.find('id="grave"')
            self.assertTrue(0 < at < whole.find('id="status"'))
            line = whole[at:].split("</p>")[0]
            self.assertEqual(line.split(">")[1], text)
            self.assertEqual(" hidden" in line, text == "")
            self.assertEqual(json.loads(browser.get("/state").body())["grave"], text)

    def test_without_a_trusted_humidity_nobody_says_that_it_is_enough(self):
        browser = Browser()
        browser.app.start()
        decision = browser.app.controller.decision
        enough = words.REFUSALS[words.HUMID_ENOUGH][1]
        decision.refusals = (1 << words.HUMID_ENOUGH) | (1 << words.SWITCH_OFF)
        self.assertIn(enough, page_parts.why(browser.app))
        for code in (words.RH_BAD, words.INDOOR_BAD):
            decision.refusals = (1 << words.HUMID_ENOUGH) | (1 << code)
            self.assertFalse(enough in page_parts.why(browser.app))

    def test_beside_humid_enough_stands_what_sets_the_target(self):
        browser = Browser()
        browser.app.start()
        decision = browser.app.controller.decision
        decision.refusals, decision.target_pct, decision.binds = 1 << words.HUMID_ENOUGH, 5.2, BINDS_OWNER
        self.assertEqual(page_parts.why(browser.app)[-1], "The target is 5.2 % now. Your wish sets it.")
        decision.refusals = 1 << words.SWITCH_OFF
        self.assertFalse("The target is" in " ".join(page_parts.why(browser.app)))

    def test_before_a_login_stands_what_line_load_fan_and_heat_show(self):
        browser = Browser()
        browser.app.start()
        readings = browser.app.readings
        for state, found in ((r.OFF, "off"), (r.ON, "on"), (r.UNREADABLE, "cannot be read"), (r.NOT_FITTED, "")):
            for name, label in (("line_sense", "24 V at the line"), ("load_sense", "24 V at the valve"),
                                ("fan", "Fan proof"), ("heat_call", "Heat call")):  # fmt: skip
                getattr(readings, name).state = state
                row = '<tr data-c="' + name + '"><th scope="row">' + label + "</th><td>" + found + "</td></tr>"
                text = page(browser)
                self.assertEqual((row in text, 'data-c="' + name in text), (found != "", found != ""))
                self.assertEqual(json.loads(browser.get("/state").body())["contacts"][name], found)
                self.assertFalse("data-post" in text.split(label)[0] and found)

    def test_below_zero_there_is_a_true_minus_sign(self):
        self.assertEqual(page_parts.quantity("-6.3", "°C"), '<data value="-6.3" data-u="°C">−6.3 °C</data>')
        bounds = page(Browser()).split('name="design_outdoor_c"')[1].split("</span>")[0]
        self.assertIn('min="-', bounds)
        self.assertIn('class="bounds">−', bounds)

    def test_how_long_a_timer_keeps_the_valve(self):
        browser = Browser()
        browser.app.start()
        for hold_s, text in ((0, ""), (119, ": 119 s more."), (299, ": 4 min more.")):
            browser.app.controller.decision.hold_s = hold_s
            told = page_parts.hold(browser.app)
            self.assertTrue(told.endswith(text) and (told == "") == (text == ""), told)
            self.assertIn("before this page was sent." + told, page(browser))
            self.assertEqual(json.loads(browser.get("/state").body())["hold"], told)

    def test_the_link_at_the_top_says_what_can_be_done(self):
        for browser, words_there in ((Browser(), "log in"), (logged_in(), "log out")):
            self.assertIn('<a href="#h-login">' + words_there + "</a>", page(browser))

    def test_safe_mode_is_told_first(self):
        browser = Browser()
        self.assertEqual(page(browser).find("out of service"), -1)
        browser.app.safe = "it restarted 5 times in a row"
        text = page(browser)
        self.assertTrue(0 < text.find("out of service: it restarted 5 times") < text.find('id="status"'))
        self.assertIn("it restarted 5 times", json.loads(browser.get("/state").body())["safe"])

    def test_texts_of_others_are_escaped(self):
        browser = logged_in()
        browser.app.events.add('<script>alert("x")</script>&\'')
        text = page(browser)
        self.assertEqual(text.find("<script>alert"), -1)
        self.assertIn("&lt;script&gt;alert(&quot;x&quot;)&lt;/script&gt;&amp;&#39;", text)

    def test_nothing_in_it_comes_from_elsewhere_or_stands_in_line(self):
        text = page(logged_in())
        for part in ("http:", "https:", "//", "style=", "onclick", "<script>", "javascript:"):
            self.assertEqual(text.find(part), -1, part)

    def test_files_and_nothing_beside_them(self):
        browser = Browser()
        for path, mark in (("/page.css", b"body"), ("/page.js", b"fetch"), ("/proof.js", b"sha256")):
            answer = browser.get(path)
            self.assertEqual(answer.status(), 200)
            self.assertIn(mark, answer.body())
        for path in ("/page.py", "/page.html", "/../main.py", "/page.css/../page.py", "//page.css", "/run", "/favicon"):
            self.assertIn(browser.get(path).status(), (404, 405), path)

    def test_without_login_no_version_no_events(self):
        browser = logged_in()
        browser.app.events.add("something happened")
        text = page(browser)
        self.assertIn(browser.app.version, text)
        self.assertIn("something happened", text)
        browser.cookie = ""
        text = page(browser)
        self.assertEqual(text.find(browser.app.version), -1)
        self.assertEqual(text.find("something happened"), -1)


class Chart(unittest.TestCase):
    def drawn(self, app):
        return "".join(chart.chart(app))

    def test_a_day(self):
        app = App()
        app.start()
        self.assertIn("Nothing is recorded yet", self.drawn(app))
        fill(app)
        text = self.drawn(app)
        self.assertEqual(text.count("<svg"), 1)
        self.assertEqual(text.count("<path"), 6)
        self.assertIn('stroke-dasharray="7 4"', text)
        for name in ("humidity", "target", "ceiling", "outdoors", "fan", "valve"):
            self.assertIn(">" + name + "</text>", text)
        for path in text.split('<path stroke-width')[1:]:
            self.assertEqual(path.split('"/>')[0].count("M"), 2)  # broken once, where an hour is missing

    def test_it_draws_each_line_from_its_own_field_and_none_from_another(self):
        values = {"rh_pct": 31.0, "target_pct": 32.0, "ceiling_pct": 33.0, "outdoor_c": -4.0, "fan": 0.5, "valve": 0.25}
        numbers = chart.struct.unpack(chart.FORMAT, pack(values))
        drawn = [numbers[at] / scale for at, scale in chart.packed_places()]
        self.assertEqual(drawn, [values[row[0]] for row in chart.LINES + chart.BARS])
        bars = chart.BARS
        for name in ("fan_duty", "dew_point_c"):  # no field, and one that is computed, not recorded
            chart.BARS = ((name, "fan"),)
            try:
                self.assertRaises(ValueError, chart.packed_places)
            finally:
                chart.BARS = bars

    def test_a_wet_minute_is_not_lost(self):
        app = App()
        fill(app)
        day = chart.Day()
        list(chart.read(day, app))
        before = max(day.lines[0])
        app.history.put(700, chart.struct.pack(chart.FORMAT, 0, 2000, 9000, 800, 500, 400, 0, 0, 0, 255))
        day = chart.Day()
        list(chart.read(day, app))
        self.assertEqual(max(day.lines[0]), 900)
        self.assertTrue(before < 400)
        self.assertEqual(min([n for n in day.lines[2] if n != chart.NONE]), 50)

    def test_records_of_an_earlier_start_need_the_wall_clock(self):
        app = App()
        row = Row()
        self.assertEqual(chart.age_s(row, app), -1)
        app.readings.utc_s = 1700000600
        self.assertEqual(chart.age_s(row, app), -1)
        row.utc_s = 1700000000
        self.assertEqual(chart.age_s(row, app), 600)
        row.boot = app.history.boot
        self.assertEqual(chart.age_s(row, app), app.now_s - 5)

    def test_missing_fields_and_extremes(self):
        app = App()
        app.history.make_room(3)
        none = (-32768, -32768, 65535, -32768, 65535, 65535, 255, 255, 255, 255)
        most = (32767, 32767, 65534, 32767, 65534, 65534, 254, 254, 31, 2)
        for n, numbers in enumerate((none, most, none)):
            app.history.add(app.now_s - 6000 * n, chart.struct.pack(chart.FORMAT, *numbers))
        self.assertIn("</svg>", self.drawn(app))


class Row:
    boot = 1
    now_s = 5
    utc_s = 0


class Changing(unittest.TestCase):
    def test_nothing_without_login(self):
        fresh = Browser()
        with_password = logged_in()
        with_password.cookie = ""
        for browser in (fresh, with_password):
            image = browser.app.image
            for path, values in CHANGES:
                status, answer = browser.post(path, values)
                self.assertEqual((status, answer), (403, {"error": "Log in first."}), path)
            self.assertEqual(browser.app.calls, [])
            self.assertEqual(browser.app.image, image)

    def test_every_post_but_three_is_behind_the_login(self):
        browser = logged_in()
        open_to_all = []
        for route in browser.guard.routes:
            method, path = route.split(" ")
            self.assertIn(method, ("GET", "POST"))
            if method == "POST":
                _, answer = browser.post(path, {}, sign=False)
                if answer != {"error": "Log in first."}:
                    open_to_all.append(path)
        self.assertEqual(sorted(open_to_all), ["/ask", "/login", "/password"])
        self.assertEqual(browser.guard.url_map, [])  # no other way in
        self.assertEqual(browser.app.calls, [])

    def test_a_get_changes_nothing(self):
        browser = logged_in()
        image, events = browser.app.image, list(browser.app.events)
        for route in browser.guard.routes:
            browser.get(route.split(" ")[1])
        self.assertEqual(browser.app.calls, [])
        self.assertEqual((browser.app.image, list(browser.app.events)), (image, events))

    def test_a_session_without_its_sign_or_with_a_wrong_one(self):
        browser = logged_in()
        body = b'{"look": "fog"}'
        good = browser.sign("/look", body)
        for sign in ("", good[:-1] + "g", "x" + good, browser.sign("/run", body), "1:" + "0" * 64):
            self.assertEqual(browser.post("/look", {"look": "fog"}, False, ["X-Dew-Sign: " + sign])[0], 403, sign)
        self.assertEqual(browser.app.calls, [])
        self.assertEqual(browser.post("/look", {"look": "fog"}, False, ["X-Dew-Sign: " + good])[0], 200)
        self.assertEqual(browser.post("/look", {"look": "fog"}, False, ["X-Dew-Sign: " + good])[0], 403)  # again
        self.assertEqual(len(browser.app.calls), 1)

    def test_looks_requests_and_runs_reach_the_app(self):
        browser = logged_in()
        more = (("/look", {"look": "clear"}), ("/window", {"here": False}), ("/run", {"seconds": 0}))
        for path, values in CHANGES[:5] + more:
            self.assertEqual(browser.post(path, values), (200, {"ok": 1}), path)
        self.assertEqual(
            browser.app.calls,
            [
                ("request", r.REQUEST_CLEAR, 0),
                ("request", r.REQUEST_REARM, 0),
                ("look", r.SAW_FOG),
                ("request", r.REQUEST_WINDOW, 1800),
                ("request", r.REQUEST_TIMED_RUN, 60),
                ("look", r.SAW_CLEAR),
                ("end", r.REQUEST_WINDOW),
                ("end", r.REQUEST_TIMED_RUN),
            ],
        )
        self.assertIn("timed test run of 60 s asked for", browser.app.events.texts())

    def test_what_they_do_not_understand_is_refused(self):
        browser = logged_in()
        for path, values in (
            ("/look", {}),
            ("/look", {"look": "wet"}),
            ("/look", {"look": ["fog"]}),
            ("/window", {"here": 1}),
            ("/run", {}),
            ("/run", {"seconds": 301}),
            ("/run", {"seconds": -1}),
            ("/run", {"seconds": 1.5}),
            ("/run", {"seconds": True}),
            ("/run", {"seconds": "60"}),
            ("/settings", {}),
            ("/settings", {"values": []}),
            ("/settings", {"values": {}}),
        ):
            self.assertEqual(browser.post(path, values)[0], 422, values)
        self.assertEqual(browser.app.calls, [])

    def test_bodies_that_are_no_object(self):
        browser = logged_in()
        for body in (b"", b"{", b"[]", b"7", b"null", b'"x"', b"[" * BODY_BYTES, b"\xff\xfe", b"{'a':1}"):
            self.assertEqual(self.raw(browser, body), 400, body[:10])
        self.assertEqual(browser.app.calls, [])

    def raw(self, browser, body):
        headers = browser.cookies() + ["X-Dew-Sign: " + browser.sign("/settings", body)]
        return browser.send(request("POST", "/settings", headers, body)).status()

    def test_settings_go_in_all_or_none_and_the_refusal_comes_back(self):
        browser = logged_in()
        self.assertEqual(browser.post("/settings", {"values": {"wish_pct": 33.5, "look_ahead": 0}}), (200, {"ok": 1}))
        self.assertEqual((browser.app.settings.wish_pct, browser.app.settings.look_ahead), (33.5, 0))
        bad = ({"wish_pct": 20, "cap_pct": 99}, {"wish_pct": 20, "nonsense": 1}, {"wish_pct": "20"}, {"x" * 41: 1})
        for values in bad:
            status, answer = browser.post("/settings", {"values": values})
            self.assertEqual(status, 422)
            self.assertTrue(len(answer["error"]) > 10)
        self.assertEqual(browser.app.settings.wish_pct, 33.5)
        self.assertEqual(browser.app.events.texts()[0], "settings changed: look_ahead wish_pct")

    def test_first_password_login_change_and_leaving(self):
        browser = Browser()
        self.assertIn("No password is set", page(browser))
        status, answer = browser.post("/password", {"salt": "00" * 16, "stored": "11" * 32})
        self.assertEqual(status, 403)
        self.assertIn("Press a button", answer["error"])
        self.assertFalse("point" in browser.post("/ask", {})[1])
        browser.app.pressed_s = browser.app.now_s
        point = browser.post("/ask", {})[1]["point"]
        self.assertEqual(browser.post("/ask", {})[1]["point"], point)
        for values in ({"stored": "11" * 32}, {"masked": "11" * 32}, {"point": "00" * 32, "masked": "11" * 32}):
            self.assertEqual(browser.post("/password", dict(values, salt=SALT))[0], 403)
        self.assertEqual(browser.set_password()[0], 200)
        self.assertFalse("point" in browser.post("/ask", {})[1])
        self.assertFalse("dewboard.curve" in sys.modules)
        browser.app.forget()
        self.assertNotEqual(browser.post("/ask", {})[1]["point"], point)  # each first password has its own secret
        self.assertEqual(browser.set_password()[0], 200)
        self.assertEqual(browser.log_in(bytes(32)), 403)
        self.assertEqual(browser.log_in(), 200)
        head = browser.last.head()
        self.assertIn("; HttpOnly; SameSite=Strict", head)
        self.assertIn("Logged in.", page(browser))
        self.assertEqual(browser.post("/password", {"salt": "00" * 16, "masked": "11" * 31})[0], 422)
        self.assertEqual(browser.post("/password", {"salt": SALT, "masked": "11" * 32})[0], 200)
        self.assertEqual(browser.post("/look", {"look": "fog"})[0], 403)
        self.assertEqual(browser.log_in(), 403)
        self.assertEqual(browser.app.calls, [])

    def test_leaving_ends_the_session(self):
        browser = logged_in()
        self.assertEqual(browser.post("/leave", {})[0], 200)
        self.assertEqual(browser.post("/look", {"look": "fog"})[0], 403)

    def test_both_buttons_held(self):
        browser = logged_in()
        browser.app.forget()
        self.assertEqual(browser.post("/look", {"look": "fog"})[0], 403)
        self.assertIn("No password is set", page(browser))

    def test_guessing_has_to_wait(self):
        browser = Browser("192.168.1.66")
        browser.set_password()
        browser.app.pressed_s = -1
        found = [browser.log_in(bytes(32)) for _ in range(7)]
        self.assertEqual(found, [403] * 5 + [429] * 2)
        self.assertIn("Retry-After: 5", browser.last.head())
        self.assertEqual(browser.log_in(), 429)
        browser.app.now_s += 5
        self.assertEqual(browser.log_in(), 200)

    def test_secrets_come_back_nowhere(self):
        browser = logged_in()
        everything = page(browser) + browser.get("/state").body().decode() + repr(list(browser.app.events))
        for secret in (STORED, browser.key, browser.app.image):
            self.assertEqual(everything.find(to_hex(secret)), -1)
        self.assertEqual(everything.find(browser.cookie), -1)


if __name__ == "__main__":
    unittest.main()
