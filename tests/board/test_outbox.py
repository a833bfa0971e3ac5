"""Minute records on their way out: the batch byte for byte, what a logger must commit, and that nothing is lost."""

import json
import unittest

from flash_models import Flash
from link_rig import UTC_S, App, Broker, Records, linked, publish, run, until

from dewboard import history, keep, outbox, senml, store
from dewboard.history import History
from dewboard.outbox import Outbox
from dewboard.senml import NONE, mark_of, mark_text, short
from dewcore import learned
from dewcore.record import FIELDS, SIZE, pack
from dewcore.settings import Settings

RECORDS = "dewmargin/attic/records"
COMMITTED = "dewmargin/attic/committed"


def read(payload):
    """(done, after, [(boot, seq, bt, {name: value})]) of a pack, as another reader of RFC 8428 would have it."""
    pack = json.loads(payload.decode())
    assert pack[0]["bn"] == "dewmargin/attic/"
    heads = {entry["n"]: entry["v"] for entry in pack[:4]}
    rows = []
    time_s = None
    for entry in pack[4:]:
        assert set(entry) <= {"bn", "bt", "n", "u", "v", "ut"}, entry
        time_s = entry.get("bt", time_s)
        assert isinstance(time_s, int)
        if entry["n"] == "boot":
            rows.append([entry["v"], None, time_s, {}])
        elif entry["n"] == "seq":
            rows[-1][1] = entry["v"]
            assert entry["ut"] == 60
        else:
            rows[-1][3][entry["n"]] = (entry.get("u"), entry["v"])
    return (heads["done/boot"], heads["done/seq"]), (heads["after/boot"], heads["after/seq"]), rows


class Logger:
    """Takes batches as the contract says; rows: (time, RH) by key."""

    def __init__(self):
        self.rows = {}
        self.mine = NONE
        self.again = 0

    def take(self, payload):
        done, after, rows = read(payload)
        for boot, seq, bt, values in rows:
            self.again += (boot, seq) in self.rows
            self.rows.setdefault((boot, seq), (bt, values.get("in/rh", (None, None))[1]))
        if after <= max(self.mine, done):
            self.mine = max(self.mine, (rows[-1][0], rows[-1][1]))
        return self.mine

    def has_just(self, boot, count):
        """Whether it has these numbers of a boot, and nothing else."""
        return len(self.rows) == count and all([(boot, n) in self.rows for n in range(count)])


class Bare:
    """An app with nothing but records."""

    def __init__(self, records=0, boot=7):
        self.now_s = 1000
        self.history = Records(boot)
        self.keep = self
        self.history.add(records)

    def raise_boot(self, boot):
        self.history.boot = boot


def pack_of(box):
    return b"".join(box.batch.pieces())


def opened(records, has_logger=True):
    """An outbox that knows there is no mark at the broker."""
    app = Bare(records)
    box = Outbox(app, "attic", has_logger)
    app.now_s += outbox.HEAR_S
    return app, box


class TestBatch(unittest.TestCase):
    def test_a_pack_is_what_the_contract_says_byte_for_byte(self):
        app, box = opened(0)
        app.history.add(2)
        box.fill()
        row = (
            '{"n":"out/t","u":"Cel","v":-12.3},{"n":"in/rh","u":"%%RH","v":33.1%s},{"n":"valve/duty","u":"/","v":0.25},'
            '{"n":"valve/reason","v":16}'
        )
        self.assertEqual(
            pack_of(box).decode(),
            '[{"bn":"dewmargin/attic/","n":"done/boot","v":-1},{"n":"done/seq","v":-1},{"n":"after/boot","v":-1},'
            '{"n":"after/seq","v":-1},{"bt":1768435200,"n":"boot","v":7},{"n":"seq","v":0,"ut":60},' + row % ""
            + ',{"bt":1768435260,"n":"boot","v":7},{"n":"seq","v":1,"ut":60},' + row % "1" + "]",
        )

    def test_every_stored_field_goes_through_exactly_at_both_ends(self):
        for extreme in (0, 1):
            values = {}
            for name, _, code, scale, _, _ in FIELDS:
                if code:
                    lowest, highest = {"h": (-32767, 32767), "H": (0, 65534), "B": (0, 254)}[code]
                    values[name] = (lowest, highest)[extreme] / scale
                    self.assertEqual(1000 % scale, 0, name)  # three decimals are enough
            app, box = opened(1)
            app.history.kept[0].data[:] = pack(values)
            box.fill()
            found = read(pack_of(box))[2][0][3]
            for name, _, code, _, label, unit in FIELDS:
                if code:
                    self.assertEqual(found[label][0], unit or None)
                    self.assertTrue(abs(found[label][1] - values[name]) < 0.0002, (label, found[label], values[name]))

    def test_names_and_numbers_are_within_the_rfcs_alphabet(self):
        app, box = opened(1)
        box.fill()
        for entry in json.loads(pack_of(box).decode()):
            name = "dewmargin/attic/" + entry["n"]
            self.assertTrue(all([c.isalpha() or c.isdigit() or c in "-:./_" for c in name]), name)
        self.assertFalse("e+" in pack_of(box).decode() or "E" in pack_of(box).decode())

    def test_without_a_clock_times_count_from_the_sending(self):
        app, box = opened(0)
        app.history.add(1, boot=6, utc_s=0)
        app.history.add(1, utc_s=0)
        app.now_s = 500
        box.began_s = 0
        box.fill()
        old, new = read(pack_of(box))[2]
        self.assertEqual((old[2], old[3]["up"]), (-500, ("s", 0)))  # before this boot: at least so long ago
        self.assertEqual((new[2], new[3]["up"]), (60 - 500, ("s", 60)))

    def test_a_clock_that_comes_later_dates_this_boots_records_too(self):
        app, box = opened(0)
        app.history.add(1, utc_s=0)
        app.history.utc_at_0_s = UTC_S
        box.fill()
        row = read(pack_of(box))[2][0]
        self.assertEqual(row[2], UTC_S)
        self.assertFalse("up" in row[3])

    def test_a_batch_stays_what_it_was_while_the_history_goes_on(self):
        app, box = opened(3)
        box.fill()
        before = pack_of(box)
        app.history.kept[0].data[:] = bytes(SIZE)
        app.history.add(5)
        self.assertEqual(pack_of(box), before)

    def test_numbers_are_short(self):
        for value, text in ((40.0, "40"), (0.25, "0.25"), (-12.3, "-12.3"), (0.0, "0"), (-0.0001, "0"), (100.0, "100")):
            self.assertEqual(short(value, 3), text)

    def test_marks(self):
        self.assertEqual(mark_of(mark_text((7, 123))), (7, 123))
        self.assertEqual(mark_of(b'{"boot":-1,"seq":-1,"more":[]}'), NONE)
        wrong = (b"", b"{}", b"[7,1]", b'{"boot":7}', b'{"boot":7,"seq":1.0}', b'{"boot":true,"seq":1}')
        wrong += (b'{"boot":"7","seq":1}', b'{"boot":-2,"seq":1}', b'{"boot":1073741823,"seq":1}')
        wrong += (b"[" * 900, b"7", b"null", b'{"boot":7,"seq":1e99}')
        for payload in wrong:
            self.assertEqual(mark_of(payload), None, payload)


class TestMark(unittest.TestCase):
    def test_nothing_is_sent_until_the_mark_had_time_to_come(self):
        app = Bare(3)
        box = Outbox(app, "attic", True)
        self.assertFalse(box.fill())
        app.now_s += outbox.HEAR_S
        self.assertTrue(box.fill())

    def test_with_a_logger_the_brokers_word_frees_nothing(self):
        app, box = opened(3)
        box.fill()
        box.note(1)
        box.acked(1)
        self.assertEqual(app.history.freed, NONE)
        self.assertEqual(box.hear((7, 2)), "")
        self.assertEqual(app.history.freed, (7, 2))

    def test_without_one_it_does_in_order_and_the_board_tells_its_own_mark(self):
        app, box = opened(25, has_logger=False)
        for number in (1, 2, 3):
            self.assertTrue(box.fill())
            box.note(number)
        self.assertFalse(box.fill())
        box.acked(3)
        self.assertEqual(app.history.freed, NONE)  # the first is not there yet
        box.acked(1)
        self.assertEqual(app.history.freed, (7, 9))
        self.assertFalse(box.telling())  # not each time
        box.acked(2)
        self.assertEqual(app.history.freed, (7, 24))
        self.assertTrue(box.telling())
        self.assertFalse(box.telling())

    def test_its_own_mark_comes_back_from_the_broker_once(self):
        app, box = opened(25, has_logger=False)
        box.hear((7, 9))
        box.fill()
        self.assertEqual(read(pack_of(box))[1], (7, 9))
        box.note(1)
        box.acked(1)
        self.assertEqual(box.hear((7, 9)), "")  # an echo
        self.assertEqual(box.mark, (7, 19))

    def test_where_there_was_none_its_own_first_mark_coming_back_changes_nothing(self):
        app, box = opened(25, has_logger=False)
        for number in (1, 2):
            box.fill()
            box.note(number)
            box.acked(number)
        self.assertEqual((box.hear((7, 9)), box.mark, box.sent), ("", (7, 19), (7, 19)))

    def test_four_batches_ahead_of_the_mark_and_no_more(self):
        app, box = opened(100)
        sent = 0
        while box.fill():
            sent += 1
            box.note(sent)
        self.assertEqual(sent, senml.AHEAD)
        box.hear((7, 9))
        self.assertTrue(box.fill())
        self.assertEqual(read(pack_of(box))[:2], ((7, 9), (7, 39)))

    def test_a_mark_that_does_not_move_has_everything_sent_again_after_longer_and_longer_times(self):
        app, box = opened(5)
        times = []
        for _ in range(4000):
            app.now_s += 1
            if box.fill():
                box.note(1)
                times.append(app.now_s)
                self.assertEqual(read(pack_of(box))[1], NONE)
        waits = [b - a for a, b in zip(times, times[1:])]
        self.assertEqual(waits[:5], [60, 120, 240, 480, 900])
        self.assertEqual(max(waits), outbox.LONGEST_S)

    def test_any_move_makes_it_patient_again(self):
        app, box = opened(30)
        for seconds in (60, 120):
            while box.fill():
                box.note(1)
            app.now_s += seconds
        box.fill()
        box.note(1)
        box.hear((7, 9))
        self.assertEqual(box.patience_s, outbox.PATIENCE_S)

    def test_a_mark_that_goes_back_is_obeyed_with_what_is_left(self):
        app, box = opened(30)
        box.hear((7, 19))
        self.assertTrue("went back" in box.hear((7, 4)))
        box.fill()
        done, after, rows = read(pack_of(box))
        self.assertEqual((done, after, rows[0][1]), ((7, 4), (7, 4), 5))

    def test_a_mark_ahead_of_every_record_raises_the_boot_number_above_it(self):
        for mark in ((9, 500), (7, 3)):
            app, box = opened(3)
            self.assertTrue("ahead of every record" in box.hear(mark))
            self.assertEqual(app.history.boot, mark[0] + 1)
        app, box = opened(3)
        self.assertEqual(box.hear((7, 2)), "")

    def test_a_mark_that_cannot_be_this_boards_is_not_taken_and_uses_up_no_numbers(self):
        app, box = opened(3)
        for mark in ((senml.HIGHEST, 0), (8 + outbox.FAR_BOOTS, 0)):
            self.assertTrue("not taken" in box.hear(mark))
            self.assertEqual((app.history.boot, app.history.freed, box.mark), (7, NONE, NONE))
        self.assertTrue("boots go on" in box.hear((7 + outbox.FAR_BOOTS, 0)))
        boot = app.history.boot
        self.assertTrue("not taken" in box.hear((boot + 1, 0)))  # once in a start, also at another connection
        box.begin()
        self.assertTrue("not taken" in box.hear((boot, 99)))
        self.assertEqual((app.history.boot, box.mark), (boot, (boot - 1, 0)))

    def test_when_all_is_sent_the_history_is_left_alone(self):
        app, box = opened(3)
        while box.fill():
            box.note(1)
        calls = app.history.calls
        for _ in range(100):
            self.assertFalse(box.fill())
        self.assertEqual(app.history.calls, calls)
        app.history.add(1)
        self.assertTrue(box.fill())

    def test_another_connection_begins_behind_the_mark(self):
        app, box = opened(30)
        box.hear((7, 9))
        box.fill()
        box.note(1)
        box.begin()
        app.now_s += outbox.HEAR_S
        box.fill()
        self.assertEqual(read(pack_of(box))[1], (7, 9))


def logged(on_records, records, has_logger=1, seconds=40, until_true=None):
    """(App, Broker, Link) after `records` were sent; on_records(broker, payload, writer) is the logger."""

    async def hook(broker, first, body, writer):
        if first >> 4 == 3 and broker.published[-1][0] == RECORDS:
            return await on_records(broker, broker.published[-1][1], writer)
        return False

    async def main():
        broker = await Broker(hook).start()
        app = App()
        app.history.add(records)

        async def inside(link):
            link.outbox.began_s = -100
            await until(lambda: until_true(app, broker, link), seconds)
            return app, broker, link

        return await linked(app, {"device": "attic", "logger": has_logger}, broker, inside)

    return run(main())


class TestWhole(unittest.TestCase):
    def setUp(self):
        self.before = outbox.HEAR_S
        outbox.HEAR_S = 0

    def tearDown(self):
        outbox.HEAR_S = self.before

    def test_a_day_of_records_reaches_a_logger_in_order_and_is_freed(self):
        logger = Logger()

        async def on_records(broker, payload, writer):
            mark = logger.take(payload)
            await broker.send(publish(COMMITTED, mark_text(mark), False, 1))
            return False

        app, broker, _ = logged(on_records, 1440, until_true=lambda app, b, link: app.history.freed == (7, 1439))
        self.assertEqual(app.history.freed, (7, 1439))
        self.assertTrue(logger.has_just(7, 1440))
        self.assertEqual(logger.again, 0)
        self.assertTrue(app.late_ms < 1000, app.late_ms)

    def test_a_logger_that_answers_every_third_time_and_a_broker_that_hangs_up_lose_nothing(self):
        logger = Logger()
        count = [0]

        async def on_records(broker, payload, writer):
            count[0] += 1
            if count[0] % 11 == 10:
                await broker.drop()  # before the logger has it
                return True
            mark = logger.take(payload)
            if count[0] % 3 == 0 or mark == (7, 299):
                await broker.send(publish(COMMITTED, mark_text(mark), False, 1))
            return False

        app, broker, _ = logged(on_records, 300, until_true=lambda app, b, link: app.history.freed == (7, 299))
        self.assertEqual(app.history.freed, (7, 299))
        self.assertTrue(logger.has_just(7, 300))
        self.assertTrue(broker.connections > 1)

    def test_a_retained_mark_is_where_it_begins(self):
        first = []

        async def on_records(broker, payload, writer):
            first.append(read(payload))
            return False

        async def hook(broker, one, body, writer):
            if one >> 4 == 8:
                await broker.send(publish(COMMITTED, mark_text((7, 24)), True, 1))
            if one >> 4 == 3 and broker.published[-1][0] == RECORDS:
                await on_records(broker, broker.published[-1][1], writer)
            return False

        async def main():
            broker = await Broker(hook).start()
            app = App()
            app.history.add(30)

            async def inside(link):
                await until(lambda: first)
                return app.history.freed

            return await linked(app, {"device": "attic", "logger": 1}, broker, inside)

        self.assertEqual(run(main()), (7, 24))
        done, after, rows = first[0]
        self.assertEqual((done, after, [row[1] for row in rows]), ((7, 24), (7, 24), [25, 26, 27, 28, 29]))

    def test_what_is_no_mark_frees_nothing_and_is_told(self):
        async def on_records(broker, payload, writer):
            await broker.send(publish(COMMITTED, b'{"boot":7,"seq":"all"}', False, 1))
            return False

        app, broker, _ = logged(
            on_records, 5, until_true=lambda a, broker, link: broker.last("homie/5/attic/$log/warn")
        )
        self.assertEqual(app.history.freed, NONE)
        self.assertTrue(b"no mark" in broker.last("homie/5/attic/$log/warn"))


class TestFlash(unittest.TestCase):
    def test_an_outage_of_a_day_in_flash_reaches_the_logger_whole(self):
        Flash().under(history, store)
        app = Bare()
        app.history = History("kept", 3)
        for minute in range(1440):
            app.now_s = 60 * minute
            app.history.add(pack({"rh_pct": 0.01 * minute}), UTC_S + app.now_s, app.now_s)
            while app.history.due(app.now_s):
                app.history.flush()
        box = Outbox(app, "attic", True)
        app.now_s += outbox.HEAR_S
        logger = Logger()
        while box.fill():
            box.note(1)
            box.hear(logger.take(pack_of(box)))
        self.assertTrue(logger.has_just(3, 1440))
        self.assertEqual([logger.rows[3, n][1] for n in (0, 777, 1439)], [0, 7.77, 14.39])
        self.assertEqual([logger.rows[3, n][0] - UTC_S for n in (0, 1439)], [0, 60 * 1439])
        self.assertEqual((app.history.freed_boot, app.history.freed_seq), (3, 1439))

    def test_a_raised_boot_number_outlasts_a_restart(self):
        Flash().under(history, store)
        first = keep.Keep("kept", Settings())
        self.assertEqual(first.boot, 1)
        first.raise_boot(9)
        app = App()
        app.now_s = 10
        app.keep = first
        first.urgent = learned.urgent(app.controller)
        first.beat(app)
        self.assertEqual(first.raised, 0)
        self.assertEqual(keep.Keep("kept", Settings()).boot, 10)


if __name__ == "__main__":
    unittest.main()
