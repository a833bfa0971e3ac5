"""The device as others see it: every message of a link read by a strict reader, values byte for byte, commands."""

import asyncio
import json
import unittest

from homie_reader import UNITS, Reader
from link_rig import UTC_S, App, Broker, Net, linked, publish, run, until

from dewboard import homie
from dewboard.broker_config import full
from dewboard.events import MOST
from dewboard.homie import FAULT_NOTICES, FAULTS, Homie, Log
from dewboard.link import Link
from dewcore import words as w
from dewcore.ceiling import BINDS_NAMES
from dewcore.permit import PROOF_NAMES
from dewcore.readings import SAW_CLEAR, SAW_FOG
from dewcore.settings import SWITCH, TABLE

BASE = "homie/5/attic"
NODES = ["control", "indoor", "outdoor", "settings", "system", "valve", "water"]
SET = BASE + "/settings/wish-pct/set"
NOT_WIRING = [row[0] for row in TABLE if not homie.is_wiring(row[0])]


class Seen:
    """A link, its broker, and a reader that has read everything so far."""

    def __init__(self, app, broker, link):
        self.app = app
        self.broker = broker
        self.link = link
        self.reader = Reader("attic")
        self.count = 0

    def read(self):
        for topic, payload, is_retained in self.broker.published[self.count :]:
            self.count += 1
            self.reader.take(topic, payload, is_retained)
        return self.reader

    async def ready(self):
        await until(lambda: self.link.is_ready)
        return self.read()

    async def until(self, true):
        return await until(lambda: true(self.read()))

    async def order(self, topic, payload, is_retained=False):
        """A message to the device; what it then logs."""
        before = len(self.read().logs)
        await self.broker.send(publish(topic, payload, is_retained, 7))
        await until(lambda: len(self.read().logs) > before, 0.2)
        return [text for _, text in self.reader.logs[before:]]


class Heard(Link):
    """A link that keeps what it says."""

    def say(self, level, text):
        self.said.append(text)


def seen(work, config=None, changes=None, speed=1, app=None):
    """What work(seen) returns."""

    async def main():
        broker = await Broker().start()
        the_app = app or App(speed, changes)
        the_app.history.add(1)

        async def inside(link):
            one = Seen(the_app, broker, link)
            await one.ready()
            found = await work(one)
            one.read()
            if one.reader.problems:
                raise AssertionError(one.reader.problems)
            return found

        return await linked(the_app, dict({"device": "attic", "commands": 1}, **(config or {})), broker, inside)

    return run(main())


class TestDevice(unittest.TestCase):
    def test_everything_it_says_is_as_the_convention_wants_it(self):
        async def work(one):
            await asyncio.sleep(0.1)
            return one.read()

        reader = seen(work)
        self.assertEqual(reader.states, ["init", "ready"])
        self.assertEqual(sorted(reader.description["nodes"]), NODES)
        self.assertEqual(reader.missing(), ["control/test"])  # a term that does not apply
        self.assertTrue(reader.units() - set(UNITS) <= {b"g/kg", b"1/h"})
        self.assertTrue(b"\xc2\xb0C" in reader.units())
        self.assertEqual(len(reader.description["nodes"]["settings"]["properties"]), len(TABLE))

    def test_values_are_what_the_controller_has_byte_for_byte(self):
        app = App()

        async def work(one):
            return one.read()

        reader = seen(work, app=app)
        d, t = app.controller.decision, app.controller.terms
        for path, value in (
            ("control/target", d.target_pct),
            ("control/ceiling", d.ceiling_pct),
            ("control/glass", t.glass_pct),
            ("control/plain", t.plain_pct),
            ("control/ahead", t.ahead_pct),
            ("control/now", t.now_pct),
            ("control/corner", t.corner_pct),
            ("control/envelope", t.envelope_pct),
            ("control/owner", t.owner_pct),
        ):
            self.assertEqual(reader.values[path], w.decimal(value, 1).encode(), path)
        for path, payload in (
            ("indoor/temperature", b"20.40"),
            ("indoor/humidity", b"29.6"),
            ("outdoor/temperature", b"-6.3"),
            ("outdoor/basis", b"read"),
            ("control/binds", BINDS_NAMES[d.binds].encode()),
            ("control/status", w.status_sentence(d.refusals, d.notices).encode()),
            ("control/reason", w.reason_name(d.refusals).encode()),
            ("control/factor-day", b"0.550"),
            ("valve/open", b"false"),
            ("valve/fan", b"on"),
            ("valve/load", b"off"),
            ("system/version", b"0.2.0"),
            ("system/out-of-service", b"\x00"),
            ("system/clock-known", b"false"),
            ("settings/wish-pct", b"40"),
            ("settings/f-tolerance", b"0.03"),
            ("settings/design-outdoor-c", b"-30"),
            ("settings/has-leak", b"true"),
        ):
            self.assertEqual(reader.values[path], payload, path)
        self.assertEqual(reader.targets["control/target"], b"40")
        self.assertEqual(reader.targets["settings/wish-pct"], b"40")

    def test_the_description_is_the_same_twice_and_its_version_follows_its_content(self):
        app = App()
        versions = []
        for takes, changes in ((True, {}), (False, {}), (True, {"has_room": 1})):
            app = App(changes=changes)
            one = Homie(app, None, "attic", takes)
            run(one.describe())
            first = b"".join(one.description())
            run(one.describe())
            self.assertEqual(b"".join(one.description()), first)
            versions.append(json.loads(first.decode())["version"])
        self.assertEqual(len(set(versions)), 3)

    def test_no_piece_of_the_description_is_large(self):
        one = Homie(App(), None, "attic", True)
        run(one.describe())
        self.assertTrue(max([len(piece) for piece in one.description()]) < 600)

    def test_what_is_not_fitted_is_not_described_and_a_value_of_old_is_cleared(self):
        async def work(one):
            return one.read(), one.broker.published

        reader, published = seen(work)
        self.assertEqual(reader.field("indoor/room-temperature"), None)
        self.assertEqual(reader.field("water/overflow"), None)
        self.assertTrue((BASE + "/indoor/room-temperature", b"", True) in published)

    def test_fitting_something_describes_anew_through_init(self):
        async def work(one):
            one.app.settings.change({"has_room": 1})
            one.app.controller.judge.inputs.status[5] = 1  # as after the next start
            one.link.minute_s = 0
            await one.until(lambda reader: len(reader.documents) == 2 and reader.state == "ready")
            return one.read()

        reader = seen(work)
        self.assertEqual(reader.states, ["init", "ready", "init", "ready"])
        self.assertTrue(reader.field("indoor/room-temperature") is not None)

    def test_a_reading_that_is_not_trusted_has_no_value_and_an_alert(self):
        async def work(one):
            app = one.app
            app.beat = lambda: None
            app.controller.judge.inputs.trusted = 0
            app.controller.decision.refusals = 1 << w.RH_BAD
            await one.until(lambda reader: "rh-bad" in reader.alerts)
            one.link.minute_s = 0
            await one.until(lambda reader: "outdoor/temperature" not in reader.values)  # the last of them
            alerts = dict(one.reader.alerts)
            missing = one.reader.missing()
            app.controller.decision.refusals = 0
            await one.until(lambda reader: "rh-bad" not in reader.alerts)
            return alerts, missing, dict(one.reader.alerts)

        alerts, missing, after = seen(work)
        self.assertEqual(alerts["rh-bad"], w.REFUSALS[w.RH_BAD][1])
        for path in ("indoor/humidity", "indoor/temperature", "indoor/dew-point", "outdoor/temperature"):
            self.assertTrue(path in missing, path)
        self.assertFalse("rh-bad" in after)

    def test_a_valve_that_opens_is_told_without_waiting_for_the_minute(self):
        async def work(one):
            one.app.beat = lambda: None
            d = one.app.controller.decision
            d.valve, d.refusals = True, 0
            told = await one.until(lambda reader: reader.values["valve/open"] == b"true")
            return told, one.reader.values["control/reason"], one.reader.values["control/status"]

        told, reason, status = seen(work)
        self.assertTrue(told)
        self.assertEqual((reason, status), (b"open", w.OPEN_SENTENCE.encode()))

    def test_a_timer_is_told_with_its_reason_and_between_the_minutes_no_more(self):
        async def work(one):
            one.app.beat = lambda: None
            d = one.app.controller.decision
            d.valve, d.refusals, d.hold_s = False, 1 << w.MIN_OFF, 251
            told = await one.until(lambda reader: reader.values["valve/hold"] == b"251")
            reason = one.reader.values["control/reason"]
            d.hold_s = 240
            await asyncio.sleep(0.3)
            between = one.read().values["valve/hold"]
            d.refusals, d.hold_s = 1 << w.FAN_SETTLING, 0
            return told, reason, between, await one.until(lambda reader: reader.values["valve/hold"] == b"0")

        self.assertEqual(seen(work), (True, w.reason_name(1 << w.MIN_OFF).encode(), b"251", True))

    def test_the_clock_is_known_when_its_alert_is_gone(self):
        async def work(one):
            one.app.beat = lambda: None
            d = one.app.controller.decision
            d.notices |= 1 << w.CLOCK_UNKNOWN
            one.app.utc_s = lambda: UTC_S  # told since the last scan
            await asyncio.sleep(0.3)
            before = one.read().values["system/clock-known"]
            d.notices &= ~(1 << w.CLOCK_UNKNOWN)
            return before, await one.until(lambda reader: reader.values["system/clock-known"] == b"true")

        self.assertEqual(seen(work), (b"false", True))

    def test_nothing_is_sent_while_nothing_changes(self):
        async def work(one):
            one.app.beat = lambda: None
            await asyncio.sleep(0.3)
            before = len(one.broker.published)
            await asyncio.sleep(0.3)
            return len(one.broker.published) - before

        self.assertEqual(seen(work), 0)


class TestTables(unittest.TestCase):
    def test_names_in_the_file_are_those_of_the_code(self):
        rows = {row[0] + "/" + row[1]: row for _, row in Homie(App(), None, "attic", True).rows()}
        self.assertEqual(rows["control/binds"][4], ",".join(BINDS_NAMES))
        self.assertEqual(rows["valve/proof"][4], ",".join(PROOF_NAMES))
        self.assertEqual(len(rows), Homie(App(), None, "attic", True).rows_here + len(TABLE))

    def test_faults_are_the_reasons_that_somebody_must_see_to(self):
        faults = "leak_wet leak_wire overflow welded drain_runs relay_failed indoor_bad rh_bad contact_unreadable "
        faults += "fan_unfitted fan_unreadable heat_unprovable supply_cold relay_retry safe_mode bench_shim"
        notices = "outdoor_old outdoor_none clock_unknown glass_bad supply_bad room_bad no_water fan_stuck_off "
        notices += "ceiling_passed looks_torn forecast_old forecast_elsewhere self_doubt "
        notices += "rh_jumped outdoor_doubt no_rise no_air rises_shut pad_weak rh_low sensors_differ sensor_place "
        notices += "half_wave"
        for table, mask, names in ((w.REFUSALS, FAULTS, faults), (w.NOTICES, FAULT_NOTICES, notices)):
            self.assertEqual([row[0] for n, row in enumerate(table) if mask >> n & 1], names.split())

    def test_every_setting_is_there_with_its_bounds(self):
        one = Homie(App(), None, "attic", True)
        run(one.describe())
        settings = json.loads(b"".join(one.description()).decode())["nodes"]["settings"]["properties"]
        for name, unit, default, low, high in TABLE:
            field = settings[name.replace("_", "-")]
            self.assertEqual(field.get("settable", False), not homie.is_wiring(name), name)
            if unit == SWITCH:
                self.assertEqual(field["datatype"], "boolean")
                continue
            self.assertEqual(field["datatype"], "integer" if isinstance(default, int) else "float")
            bounds = [float(part) for part in field["format"].split(":")]
            self.assertEqual([abs(bounds[0] - low) < 1e-6, abs(bounds[1] - high) < 1e-6], [True, True], name)
            self.assertEqual(field.get("unit", "1"), unit)


class TestCommands(unittest.TestCase):
    def test_a_setting_is_changed_and_the_target_is_what_was_sent_byte_for_byte(self):
        async def work(one):
            for payload in (b"33", b"3.35e1", b"34.0"):
                await one.broker.send(publish(SET, payload, False, 9))
                await one.until(lambda reader, payload=payload: reader.targets["settings/wish-pct"] == payload)
                await one.until(lambda reader: one.broker.topics()[-1] == BASE + "/settings/wish-pct")
            return one.broker.published[-2:], one.app.settings.wish_pct

        published, wish_pct = seen(work)
        topic = BASE + "/settings/wish-pct"
        self.assertEqual(published, [(topic + "/$target", b"34.0", True), (topic, b"34", True)])
        self.assertEqual(wish_pct, 34.0)

    def test_all_kinds_of_settings_can_be_changed(self):
        async def work(one):
            for name, payload in (("owner-off", b"true"), ("min-off-s", b"600"), ("curtains-from-min", b"1140")):
                await one.broker.send(publish(BASE + "/settings/" + name + "/set", payload))
                await one.until(lambda reader, name=name, payload=payload: reader.values["settings/" + name] == payload)
            s = one.app.settings
            return s.owner_off, s.min_off_s, s.curtains_from_min

        self.assertEqual(seen(work), (1, 600, 1140))

    def test_a_retained_command_is_refused_and_that_is_told(self):
        async def work(one):
            return await one.order(SET, b"20", True), one.app.settings.wish_pct

        told, wish_pct = seen(work)
        self.assertEqual(wish_pct, 40.0)
        self.assertTrue("retained" in told[0], told)

    def test_what_is_no_value_changes_nothing(self):
        payloads = (b"", b"+5", b" 33", b"33 ", b"nan", b"inf", b"1e999", b"-", b"true", b"0x21", b"3_3", b"\xff")
        payloads += (b"9" * 25, b"60", b"-1", b"33,5", b"--3", b"1e")

        async def work(one):
            told = []
            for payload in payloads:
                told.append(await one.order(SET, payload))
                one.link.inbox.bucket.room = one.link.log.bucket.room = 9
            return told, one.app.settings.wish_pct

        told, wish_pct = seen(work)
        self.assertEqual(wish_pct, 40.0)
        self.assertEqual([len(lines) for lines in told], [1] * len(payloads))

    def test_booleans_are_only_true_and_false(self):
        async def work(one):
            for payload in (b"1", b"TRUE", b"on", b""):
                await one.order(BASE + "/settings/owner-off/set", payload)
            return one.app.settings.owner_off

        self.assertEqual(seen(work), 0)

    def test_what_two_settings_make_impossible_is_refused_in_the_tables_words(self):
        async def work(one):
            return await one.order(BASE + "/settings/glass-f-night/set", b"0.9"), one.app.settings.glass_f_night

        told, factor = seen(work)
        self.assertTrue("curtains only cool the glass" in told[0], told)
        self.assertEqual(factor, 0.5)

    def test_what_is_wired_cannot_be_changed_from_afar(self):
        async def work(one):
            told = await one.order(BASE + "/settings/has-leak/set", b"false")
            told += await one.order(BASE + "/settings/water-needs-heat/set", b"false")
            told += await one.order(BASE + "/settings/fan-grade/set", b"3")
            s = one.app.settings
            return told, (s.has_leak, s.water_needs_heat, s.fan_grade), one.read().settable()

        told, values, settable = seen(work)
        self.assertEqual(values, (1, 1, 1))
        self.assertEqual(len(told), 3)
        self.assertEqual(len(settable), 1 + len(NOT_WIRING))
        self.assertTrue("control/look" in settable)

    def test_unknown_names_and_other_topics_are_refused(self):
        async def work(one):
            found = []
            for path in ("settings/no-such", "control/target", "valve/open", "settings/wish-pct/extra", ""):
                found += await one.order(BASE + "/" + path + "/set", b"1")
            return found, one.app.controller.decision.valve

        found, is_open = seen(work)
        self.assertEqual(len(found), 5)
        self.assertFalse(is_open)

    def test_a_look_is_told_to_the_app(self):
        async def work(one):
            await one.order(BASE + "/control/look/set", b"fog")
            await one.order(BASE + "/control/look/set", b"clear")
            await one.order(BASE + "/control/look/set", b"Fog")
            return one.app.looks

        self.assertEqual(seen(work), [SAW_FOG, SAW_CLEAR])

    def test_commands_that_are_turned_off_are_neither_listened_to_nor_obeyed(self):
        async def work(one):
            told = await one.order(SET, b"20")
            subscribed = [body for first, body in one.broker.got if first >> 4 == 8]
            return told, one.app.settings.wish_pct, subscribed, one.read().settable()

        told, wish_pct, subscribed, settable = seen(work, {"commands": 0})
        self.assertEqual((wish_pct, settable), (40.0, []))
        self.assertFalse(b"/set" in subscribed[0])
        self.assertTrue("turned off" in told[0])

    def test_a_flood_of_commands_is_dammed(self):
        async def work(one):
            for n in range(60):
                await one.broker.send(publish(SET, str(20 + n % 20).encode()))
            await asyncio.sleep(0.5)
            return one.broker.topics().count(BASE + "/settings/wish-pct"), one.read().logs

        count, logs = seen(work)
        self.assertTrue(2 <= count <= 21, count)
        self.assertTrue(len(logs) <= 10, len(logs))


class TestFeed(unittest.TestCase):
    def told(self, messages, config=None, has_thermometer=False):
        """(outdoor reading, utc, forecast issued, log) after (payload, is_retained) messages."""

        async def work(one):
            one.app.beat = lambda: setattr(one.app, "now_s", one.app.clock.now_s())
            one.app.readings.outdoor_c.set(0.0, 0)
            one.link.inbox.has_thermometer = has_thermometer
            for n, (payload, is_retained) in enumerate(messages):
                topic = one.link.inbox.feed + ("", "/observed")[n % 2]
                await one.order(topic, payload, is_retained)
            r = one.app.readings
            return r.outdoor_c.value, one.app.utc_s(), r.forecast_issued_s, [text for _, text in one.read().logs]

        return seen(work, config)

    def message(self, **values):
        found = {"schema": 1, "source": "roof", "sent_s": UTC_S, "observed_s": UTC_S, "outdoor_c": -12.5}
        found.update(values)
        return json.dumps(found).encode()

    def test_an_observation_gives_temperature_and_wall_time(self):
        value, utc_s, _, logs = self.told([(self.message(), False)], {"feed": "roof/weather"})
        self.assertEqual((value, logs), (-12.5, []))
        self.assertTrue(0 <= utc_s - UTC_S < 5)

    def test_a_retained_one_tells_no_time(self):
        value, utc_s, _, logs = self.told([(self.message(), True)])
        self.assertEqual((value, utc_s), (0.0, 0))
        self.assertEqual(len(logs), 1)

    def test_a_forecast_may_be_retained(self):
        forecast = {"schema": 1, "sent_s": UTC_S, "issued_s": UTC_S, "start_s": UTC_S, "step_s": 3600}
        forecast["outdoor_c"] = [-12.5, None] * 36
        payload = json.dumps(forecast).encode()
        self.assertTrue(len(payload) <= 1000)
        self.assertEqual(self.told([(payload, True)])[2], UTC_S)

    def test_where_a_thermometer_is_wired_the_feed_gives_only_time_and_forecast(self):
        value, utc_s, _, logs = self.told([(self.message(), False)], has_thermometer=True)
        self.assertEqual((value, logs), (0.0, []))
        self.assertTrue(utc_s > 0)

    def test_nonsense_is_refused_and_told_once_each(self):
        nonsense = (b"", b"{", b"[" * 999, b"<html>", b"\xff\xfe", b"null", b'{"schema":1}', b" " * 1001)
        value, utc_s, _, logs = self.told([(payload, False) for payload in nonsense])
        self.assertEqual((value, utc_s, len(logs)), (0.0, 0, len(nonsense)))


class TestLog(unittest.TestCase):
    def test_lines_are_throttled_and_what_is_left_out_is_counted(self):
        log = Log("warn")
        for n in range(30):
            log.add("warn", "line " + str(n), 1000)
            log.lines = log.lines[-1:]
        log.lines = []
        log.add("error", "later", 1031)
        self.assertEqual(log.lines, [("error", "later (and 20 more before it)")])

    def test_what_waits_is_bounded(self):
        log = Log("debug")
        for n in range(30):
            log.add("debug", "x" * 900, 1000 + 60 * n)
        self.assertEqual((len(log.lines), len(log.lines[0][1])), (homie.MOST_LINES, homie.LINE_CHARS))

    def test_less_important_lines_are_left_out(self):
        log = Log("error")
        for level in homie.LEVELS:
            log.add(level, level, 1000)
        self.assertEqual([level for level, _ in log.lines], ["fatal", "error"])

    def test_events_of_failures_go_out_as_errors(self):
        async def work(one):
            one.app.events.add("beat failed: OSError(5)")
            one.app.events.add("wireless network joined as 192.0.2.9")
            one.app.events.add("safe mode: the beat failed too often")
            await one.until(lambda reader: len(reader.logs) > 1)
            return one.reader.logs

        wanted = [("error", "beat failed: OSError(5)"), ("error", "safe mode: the beat failed too often")]
        self.assertEqual(seen(work), wanted)

    def test_of_more_than_there_is_room_for_between_two_looks_the_last_are_told_and_each_once(self):
        link = Heard(App(), full({"host": "192.0.2.7"}), Net())
        link.said = said = []
        for count in (3, MOST, 2 * MOST + 5, 1, 0):
            texts = ["event %d of %d" % (n, count) for n in range(count)]
            for text in texts:
                link.app.events.add(text)
            said.clear()
            link._events()
            self.assertEqual(said, texts[-MOST:])


if __name__ == "__main__":
    unittest.main()
