"""The client and the link against a broker that does everything wrong: bytes on the wire, bounds, and waits."""

import asyncio
import unittest

from link_rig import App, Broker, Net, answer, length_of, linked, publish, run, until

from dewboard import link, mqtt
from dewboard.broker_config import full, problem_of
from dewboard.mqtt import Broken, Client

BASE = "homie/5/attic"


class Wire:
    """A stream that keeps what is written and gives what it was told to, then waits; it is its own reader."""

    def __init__(self, data=b"", most=1000):
        self.sent = b""
        self.data = data
        self.at = 0
        self.most = most
        self.is_stuck = False

    def write(self, data):
        self.sent += data

    async def drain(self):
        while self.is_stuck:
            await asyncio.sleep(0.005)

    async def read(self, count):
        while self.is_empty():
            await asyncio.sleep(0.005)
        data = self.data[self.at : self.at + min(count, self.most)]
        self.at += len(data)
        return data

    def is_empty(self):
        return self.at == len(self.data)


class Talk:
    """A client on a Wire; seconds pass where the test says so."""

    def __init__(self, data=b"", most=1000):
        self.now_s = 100
        self.taken = []
        self.acked = []
        self.client = Client(lambda: self.now_s, self.take, self.acked.append)
        self.wire = self.client.reader = self.client.writer = Wire(data, most)
        self.client.session = True

    def take(self, topic, payload, is_retained):
        self.taken.append((topic, bytes(payload), is_retained))


def received(data, most=1000, is_in=True):
    """(Talk, why it broke) after this data from the broker."""

    async def main():
        talk = Talk(data, most)
        talk.client.session = is_in
        task = asyncio.create_task(talk.client.receive())
        await until(lambda: talk.client.broken or talk.wire.is_empty(), 4)
        await asyncio.sleep(0.02)
        task.cancel()
        return talk, talk.client.broken

    return run(main())


def sent(work, data=b""):
    """Bytes on the wire after `await work(client)`."""

    async def main():
        talk = Talk(data)
        await work(talk.client)
        return talk.wire.sent

    return run(main())


class TestBytes(unittest.TestCase):
    """Section 3 of the MQTT 3.1.1 standard, byte for byte."""

    def test_connect_with_user_password_and_a_retained_will(self):
        found = sent(lambda client: client.enter("attic", "u", "pw", "a/$state", b"lost"))
        flags = 0x80 | 0x40 | 0x20 | 0x08 | 0x04 | 0x02
        fields = b"\x00\x05attic\x00\x08a/$state\x00\x04lost\x00\x01u\x00\x02pw"
        self.assertEqual(found, bytes([0x10, 10 + len(fields)]) + b"\x00\x04MQTT\x04" + bytes([flags, 0, 30]) + fields)

    def test_connect_without_user(self):
        found = sent(lambda client: client.enter("a", "", "ignored", "s", b"lost"))
        self.assertEqual(found, b"\x10\x16\x00\x04MQTT\x04\x2e\x00\x1e\x00\x01a\x00\x01s\x00\x04lost")

    def test_publish_retained_and_not(self):
        self.assertEqual(sent(lambda c: c.publish("a/b", b"21.5", True)), b"\x33\x0b\x00\x03a/b\x00\x0121.5")
        self.assertEqual(sent(lambda c: c.publish("a/b", b"", False)), b"\x32\x07\x00\x03a/b\x00\x01")
        self.assertEqual(sent(lambda c: c.tell("a", "°".encode())), b"\x30\x05\x00\x01a\xc2\xb0")

    def test_a_payload_in_pieces_is_the_same_message(self):
        pieces = [b"x" * 100, b"", b"y" * 1000, b"z"] * 5
        found = sent(lambda c: c.publish("a", lambda: iter(pieces), True))
        length = 2 + 1 + 2 + 5505
        head = bytes([0x33, length & 127 | 128, length >> 7]) + b"\x00\x01a\x00\x01"
        self.assertEqual(found, head + b"".join(pieces))

    def test_lengths_at_each_border(self):
        for size, head in ((127, b"\x7f"), (128, b"\x80\x01"), (16383, b"\xff\x7f"), (16384, b"\x80\x80\x01")):
            found = sent(lambda c, size=size: c.tell("a", b"p" * (size - 3)))
            self.assertEqual(found[: 1 + len(head)], b"\x30" + head)
            self.assertEqual(len(found), 1 + len(head) + size)

    def test_subscribe(self):
        async def work(client):
            task = asyncio.create_task(client.subscribe(["a/#", "b"]))
            await until(lambda: client.due == 1)
            task.cancel()

        self.assertEqual(sent(work), b"\x82\x0c\x00\x01\x00\x03a/#\x01\x00\x01b\x01")

    def test_a_payload_that_changes_between_counting_and_sending_ends_the_connection(self):
        sizes = [3, 4, 3, 2]

        async def work(client):
            for _ in range(2):
                try:
                    await client.publish("a", lambda: iter([b"x" * sizes.pop(0)]), True)
                except Broken:
                    continue
                raise AssertionError("sent")

        self.assertTrue(sent(work)[2:] in (b"", b"\x00\x01a\x00\x01"))


class TestReceiving(unittest.TestCase):
    def test_messages_with_their_retain_flag_whatever_the_pieces(self):
        data = publish("a/b", b"21.5", True) + publish("c", b"", False, 5) + publish("d", b"x" * 900, True, 6)
        for most in (1, 7, 1000):
            talk, broken = received(data, most)
            self.assertEqual(talk.taken, [("a/b", b"21.5", True), ("c", b"", False), ("d", b"x" * 900, True)])
            self.assertEqual((broken, [n for n in talk.client.acks if n]), ("", [5, 6]))

    def test_a_message_of_300_kb_is_read_past_counted_and_acknowledged(self):
        data = publish("big", b"\x30" * 300000, False, 77) + publish("t" * 2000, b"x", False, 78) + publish("c", b"1")
        talk, broken = received(data)
        self.assertEqual((talk.taken, broken, talk.client.skipped), ([("c", b"1", False)], "", 2))
        self.assertEqual([n for n in talk.client.acks if n], [77, 78])

    def test_the_largest_message_of_the_feed_fits(self):
        topic = "f" * 128 + "/observed"
        talk, _ = received(publish(topic, b"x" * 1000, False, 1))
        self.assertEqual(talk.taken, [(topic, b"x" * 1000, False)])

    def test_one_byte_too_many_for_the_buffer_is_skipped_and_one_less_is_not(self):
        for size, skipped in ((mqtt.BUFFER_BYTES - 1, 0), (mqtt.BUFFER_BYTES, 1)):
            talk, broken = received(publish("a", b"x" * size) + publish("b", b"y"))
            self.assertEqual((talk.client.skipped, broken, len(talk.taken)), (skipped, "", 2 - skipped))

    def test_what_no_broker_may_send_ends_the_connection_with_a_reason(self):
        for data in (
            b"\x30\xff\xff\xff\xff\x01",  # five bytes of length
            b"\xd0\xff\xff\xff\x7f",  # the longest packet, but no message
            b"\x30\x01\x00",  # shorter than a topic's length
            b"\x30\x04\x00\x09ab",  # topic beyond the end
            b"\x32\x03\x00\x01a",  # no room for its number
            b"\x34\x05\x00\x01a\x00\x01",  # QoS 2 was not asked for
            b"\x36\x05\x00\x01a\x00\x01",
            b"\x30\x04\x00\x02\xff\xfe",  # no UTF-8
            b"\x20\x02\x00\x00",  # a second CONNACK
            b"\x40\x03\x00\x01\x00",
            b"\x90\x03\x00\x01\x01",  # SUBACK to nothing
            b"\xd0\x00",  # PINGRESP to nothing
            b"\xd0\x01\x00",
            b"\x10\x00",
            b"\x00\x00",
            b"\xf0\x00",
            b"\x50\x02\x00\x01",
        ):
            talk, broken = received(data + b"\x00" * 4)
            self.assertTrue(broken.startswith("the broker sent"), (data, broken))
            self.assertEqual(talk.taken, [])

    def test_each_way_to_be_refused_is_told_in_words(self):
        for code, words in enumerate(("3.1.1", "name", "available", "password", "user", "no reason"), 1):
            _, broken = received(b"\x20\x02\x00" + bytes([code]), is_in=False)
            self.assertTrue(broken.startswith("refused: ") and words in broken, broken)

    def test_before_the_welcome_nothing_else_is_taken(self):
        for data in (publish("a", b"1"), b"\xd0\x00", b"\x40\x02\x00\x01", b"\x20\x01\x00", b"\x20\x03\x00\x00\x00"):
            talk, broken = received(data, is_in=False)
            self.assertTrue(broken.startswith("the broker sent"), (data, broken))
            self.assertFalse(talk.client.session)

    def test_an_acknowledgement_of_nothing_is_no_matter(self):
        talk, broken = received(b"\x40\x02\x00\x09\x40\x02\x00\x00")
        self.assertEqual((broken, talk.acked, talk.client.due), ("", [], 0))


class TestBounds(unittest.TestCase):
    def test_four_publications_are_under_way_at_most(self):
        async def main():
            talk = Talk()
            numbers = []
            task = asyncio.create_task(self.many(talk.client, numbers))
            await asyncio.sleep(0.1)
            first = list(numbers)
            receiver = asyncio.create_task(talk.client.receive())
            talk.wire.data += b"\x40\x02\x00\x02"
            await until(lambda: len(numbers) == 5, 1)
            task.cancel()
            receiver.cancel()
            return first, numbers, talk.acked

        self.assertEqual(run(main()), ([1, 2, 3, 4], [1, 2, 3, 4, 5], [2]))

    async def many(self, client, numbers):
        for _ in range(9):
            await client.publish("a", b"x", True, numbers.append)

    def test_a_number_under_way_is_not_used_again(self):
        async def main():
            talk = Talk()
            talk.client.window[0] = 1
            talk.client.number = 65535
            numbers = []
            await talk.client.publish("a", b"x", True, numbers.append)
            return numbers

        self.assertEqual(run(main()), [2])

    def test_acknowledgements_wait_for_the_sender_and_reading_for_them(self):
        data = b"".join([publish("a", b"x", False, n) for n in range(1, 21)])

        async def main():
            talk = Talk(data)
            receiver = asyncio.create_task(talk.client.receive())
            await asyncio.sleep(0.1)
            held = len(talk.taken)
            await talk.client.idle()
            await asyncio.sleep(0.1)
            await talk.client.idle()
            await until(lambda: len(talk.taken) == 20, 1)
            await talk.client.idle()
            receiver.cancel()
            return held, talk.wire.sent

        held, found = run(main())
        self.assertEqual(held, mqtt.ACKS + 1)
        self.assertEqual(found, b"".join([bytes([0x40, 2, 0, n]) for n in range(1, 21)]))

    def overdue(self, work, seconds):
        """What overdue() says so many seconds after work(client) began."""

        async def main():
            talk = Talk()
            task = asyncio.create_task(work(talk))
            await asyncio.sleep(0.03)
            talk.now_s += seconds
            found = talk.client.overdue()
            task.cancel()
            return found

        return run(main())

    def test_no_answer_is_waited_for_longer_than_it_may(self):
        async def enter(talk):
            talk.client.session = False
            await talk.client.enter("a", "", "", "s", b"lost")

        async def subscribe(talk):
            await talk.client.subscribe(["a"])

        async def send(talk):
            await talk.client.publish("a", b"x", True)

        async def ping(talk):
            talk.now_s += mqtt.QUIET_S
            await talk.client.idle()

        for work in (enter, subscribe, send, ping):
            self.assertEqual(self.overdue(work, mqtt.ANSWER_S), "")
            self.assertEqual(self.overdue(work, mqtt.ANSWER_S + 1), "the broker does not answer any more")

    def test_a_peer_that_takes_nothing_is_given_up(self):
        async def stuck(talk):
            talk.wire.is_stuck = True
            await talk.client.publish("a", b"x", True)

        self.assertEqual(self.overdue(stuck, mqtt.ANSWER_S), "")
        self.assertEqual(self.overdue(stuck, mqtt.ANSWER_S + 1), "the broker takes nothing any more")

    def test_answers_that_keep_coming_are_patiently_waited_for(self):
        async def main():
            talk = Talk()
            receiver = asyncio.create_task(talk.client.receive())
            said = []
            for _ in range(4):
                await talk.client.publish("a", b"x", True)
            for n in range(1, 5):
                talk.now_s += 10
                said.append(talk.client.overdue())
                talk.wire.data += b"\x40\x02\x00" + bytes([n])
                await until(lambda n=n: talk.client.window.count(0) == n, 1)
            receiver.cancel()
            return said, talk.client.due

        self.assertEqual(run(main()), ([""] * 4, 0))

    def test_it_pings_when_it_has_been_quiet_on_either_side_and_once(self):
        async def main():
            talk = Talk()
            client = talk.client
            await client.idle()
            talk.now_s += mqtt.QUIET_S - 1
            await client.idle()
            before = talk.wire.sent
            talk.now_s += 1
            client.sent_s = talk.now_s  # we talk, nobody answers
            await client.idle()
            await client.idle()
            return before, talk.wire.sent

        self.assertEqual(run(main()), (b"", b"\xc0\x00"))

    def test_the_ping_leaves_before_the_broker_would_hang_up(self):
        self.assertTrue(mqtt.QUIET_S < mqtt.KEEP_ALIVE_S)
        self.assertTrue(mqtt.QUIET_S + mqtt.ANSWER_S < 1.5 * mqtt.KEEP_ALIVE_S)  # [MQTT-3.1.2-24]


class Exhausted:
    """An outbox that fails once, for want of memory."""

    def __init__(self, one, good):
        self.one = one
        self.good = good
        self.batch = good.batch

    def fill(self):
        self.one.outbox = self.good
        raise MemoryError()


def misbehaving(on_packet, work, speed=1, config=None, app=None):
    """What work(link, broker, app) returns beside a broker with this hook."""

    async def main():
        broker = await Broker(on_packet).start()
        the_app = app or App(speed)

        async def inside(one):
            return await work(one, broker, the_app)

        return await linked(the_app, dict({"device": "attic"}, **(config or {})), broker, inside)

    return run(main())


class TestLink(unittest.TestCase):
    """A whole board at a broker; beats must go on at their time whatever it does."""

    def on_time(self, app):
        self.assertTrue(app.late_ms < 200, app.late_ms)

    def test_connected_all_is_told_and_the_will_is_lost(self):
        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            self.on_time(app)
            return broker.got[0][1], app.texts()

        connect, texts = misbehaving(None, work, config={"user": "board", "password": "canary-secret"})
        self.assertTrue(b"\x00\x14homie/5/attic/$state\x00\x04lost" in connect, connect)
        self.assertEqual(connect[7] & 0x3C, 0x2C)  # retained will at QoS 1
        self.assertTrue(b"canary-secret" in connect)
        self.assertEqual(texts, ["broker: connected"])

    def test_an_orderly_end_leaves_disconnected_and_no_will(self):
        async def work(one, broker, app):
            before = one.leave()
            await until(lambda: one.is_ready and one.client.filled == 0)
            said = one.leave()
            await until(lambda: 14 in broker.kinds())
            return before, said, one.leave(), broker.published[-1], broker.got[-1][0]

        last = (BASE + "/$state", b"disconnected", True)
        self.assertEqual(misbehaving(None, work), (False, True, False, last, 0xE0))

    def test_in_the_middle_of_a_packet_nothing_is_said(self):
        async def work(client):
            client.filled = 3
            self.assertFalse(client.leave("a", b"b"))
            client.filled = 0
            client.stuck_s = 100
            self.assertFalse(client.leave("a", b"b"))
            client.stuck_s = -1
            self.assertTrue(client.leave("a", b"b"))

        self.assertEqual(sent(work), b"\x33\x06\x00\x01a\x00\x01b\xe0\x00")

    def test_secrets_are_nowhere_but_in_the_greeting(self):
        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            await broker.drop()
            await until(lambda: broker.connections == 2)
            told = [text.encode() for text in app.texts()]
            return told + [topic.encode() + body for topic, body, _ in broker.published]

        found = misbehaving(None, work, config={"user": "canary-user", "password": "canary-secret", "log": "debug"})
        self.assertFalse(any([b"canary" in data for data in found]))

    def test_refused_with_a_reason_it_waits_longer_each_time(self):
        async def refuse(broker, first, body, writer):
            writer.write(b"\x20\x02\x00\x05")
            await writer.drain()
            return True

        async def work(one, broker, app):
            await until(lambda: one.wait_s >= 0.4)
            waits = one.wait_s
            return waits, broker.connections, app.texts()

        wait_s, connections, texts = misbehaving(refuse, work)
        self.assertEqual(texts, ["broker: refused: this user may not connect"])  # told once, however often it happens
        self.assertTrue(wait_s >= 0.4 and 3 <= connections <= 4, (wait_s, connections))

    def test_nobody_listens_and_the_waits_end_at_five_minutes(self):
        async def main():
            app = App()

            async def inside(one):
                one.wait_s = 200
                await until(lambda: app.texts())
                await until(lambda: one.wait_s != 200, 0.3)
                return app.texts(), app.late_ms

            return await linked(app, {"device": "attic"}, None, inside)

        texts, late_ms = run(main())
        self.assertEqual(len(texts), 1)
        self.assertTrue(late_ms < 200, late_ms)
        self.assertEqual(min(2 * 200, link.LONGEST_WAIT_S), 300)

    def test_a_broker_that_says_nothing_is_left_within_its_time(self):
        async def mute(broker, first, body, writer):
            return True

        async def work(one, broker, app):
            began_s = app.clock.now_s()
            await until(lambda: app.texts())
            took_s = app.clock.now_s() - began_s
            self.on_time(app)
            return app.texts(), took_s

        texts, took_s = misbehaving(mute, work, speed=40)
        self.assertEqual(texts, ["broker: the broker does not answer any more"])
        self.assertTrue(mqtt.ANSWER_S < took_s < 2 * mqtt.ANSWER_S, took_s)

    def test_a_connection_that_died_silently_is_found_out_within_one_and_a_half_keep_alives(self):
        dead = []

        async def half_open(broker, first, body, writer):
            return bool(dead)

        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            app.beat = lambda: setattr(app, "now_s", app.clock.now_s())
            dead.append(1)
            began_s = app.clock.now_s()
            await until(lambda: len(app.texts()) > 1)
            return app.texts()[0], app.clock.now_s() - began_s

        text, took_s = misbehaving(half_open, work, speed=40)
        self.assertEqual(text, "broker: the broker does not answer any more")
        self.assertTrue(took_s <= 1.5 * mqtt.KEEP_ALIVE_S, took_s)

    def test_a_ping_that_is_not_answered_ends_it(self):
        async def no_pong(broker, first, body, writer):
            return first >> 4 == 12

        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            app.beat = lambda: setattr(app, "now_s", app.clock.now_s())
            one.minute_s = 1 << 29
            await until(lambda: len(app.texts()) > 1)
            return app.texts()[0], broker.kinds().count(12)

        text, pings = misbehaving(no_pong, work, speed=40)
        self.assertEqual((text, pings), ("broker: the broker does not answer any more", 1))

    def test_one_byte_at_a_time_is_slow_but_works(self):
        async def slow(broker, first, body, writer):
            if first >> 4 == 1:
                for byte in b"\x20\x02\x00\x00":
                    writer.write(bytes([byte]))
                    await writer.drain()
                    await asyncio.sleep(0.05)
                return True
            return False

        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            order = publish(BASE + "/settings/wish-pct/set", b"31", False, 3)
            for n in range(len(order)):
                await broker.send(order[n : n + 1])
                await asyncio.sleep(0.005)
            await until(lambda: app.settings.wish_pct == 31.0)
            self.on_time(app)
            return app.settings.wish_pct

        self.assertEqual(misbehaving(slow, work, config={"commands": 1}), 31.0)

    def test_300_kb_for_the_board_delay_no_beat_and_are_acknowledged(self):
        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            message = publish("dewmargin/feed/observed", b"x" * 3000, False, 99)
            await broker.send(message[:1] + length_of(len(message) - 3 + 297000) + message[3:])
            for _ in range(99):
                await broker.send(message[-3000:])
            await until(lambda: (0x40, b"\x00\x63") in broker.got)
            self.on_time(app)
            return one.client.skipped, (0x40, b"\x00\x63") in broker.got, one.client.overdue()

        self.assertEqual(misbehaving(None, work), (1, True, ""))

    def test_garbage_ends_the_connection_and_the_next_one_works(self):
        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            await broker.send(b"\x30\xff\xff\xff\xff\xff")
            await until(lambda: broker.connections == 2 and one.is_ready)
            return app.texts()

        self.assertEqual(
            misbehaving(None, work),
            ["broker: connected", "broker: the broker sent a length of more than four bytes", "broker: connected"],
        )

    def test_kicked_by_a_twin_again_and_again_it_does_not_flap(self):
        async def work(one, broker, app):
            for n in range(1, 5):
                await until(lambda n=n: broker.connections == n and one.is_ready)
                await broker.drop()
                await until(lambda: not one.is_ready)
            return one.wait_s, link.FIRST_WAIT_S

        wait_s, first_s = misbehaving(None, work)
        self.assertTrue(wait_s >= 8 * first_s, wait_s)  # only a minute of peace begins the waits anew

    def test_a_message_in_the_middle_of_being_sent_may_be_cut_off_anywhere(self):
        async def cut(broker, first, body, writer):
            if len(broker.got) == 5 * broker.connections and broker.connections < 4:
                await broker.drop()
            return False

        async def work(one, broker, app):
            await until(lambda: broker.connections == 4 and one.is_ready)
            return broker.topics()[-1] == BASE + "/$state" or one.is_ready

        self.assertTrue(misbehaving(cut, work))

    def test_refused_topics_are_told_in_the_log(self):
        async def deaf(broker, first, body, writer):
            if first >> 4 == 8:
                writer.write(b"\x90\x04" + body[:2] + b"\x80\x01")
                await writer.drain()
                return True
            return False

        async def work(one, broker, app):
            await until(lambda: broker.last(BASE + "/$log/error"))
            return broker.last(BASE + "/$log/error")

        self.assertEqual(misbehaving(deaf, work), b"the broker refuses 1 of the topics to listen to")

    def test_without_a_network_nothing_is_tried(self):
        async def main():
            app = App()
            broker = await Broker().start()
            net = Net("")

            async def inside(one):
                await asyncio.sleep(0.2)
                before = broker.connections
                net.address = "192.0.2.9"
                await until(lambda: one.is_ready)
                return before, broker.connections

            return await linked(app, {"device": "attic"}, broker, inside, net)

        self.assertEqual(run(main()), (0, 1))

    def test_a_name_that_nobody_answers_for_is_told_and_a_known_address_lasts(self):
        async def main():
            app = App()
            broker = await Broker().start()

            async def inside(one):
                await until(lambda: app.texts())
                said = app.texts()
                one.address = "127.0.0.1"  # found an hour ago
                await until(lambda: one.is_ready)
                return said, one.is_ready

            return await linked(app, {"device": "attic", "host": "broker.example"}, broker, inside)

        self.assertEqual(run(main()), (["broker: nobody knows the address of broker.example"], True))

    def test_whatever_breaks_inside_is_waited_out_and_ends_no_task(self):
        async def work(one, broker, app):
            await until(lambda: one.is_ready)
            one.outbox = Exhausted(one, one.outbox)
            await until(lambda: broker.connections == 2 and one.is_ready)
            return one.is_ready, [text for text in app.texts() if "MemoryError" in text]

        is_ready, texts = misbehaving(None, work)
        self.assertTrue(is_ready)
        self.assertEqual(len(texts), 1)

    def test_decisions_are_the_same_as_without_a_network(self):
        async def mute(broker, first, body, writer):
            return len(broker.got) > 20 or await answer(writer, first, body)

        decisions = []

        async def work(one, broker, app):
            await asyncio.sleep(0.5)
            d = app.controller.decision
            decisions.append((d.valve, d.refusals, d.target_pct))

        misbehaving(mute, work)
        alone = App()
        alone.beat()
        d = alone.controller.decision
        self.assertEqual(decisions, [(d.valve, d.refusals, d.target_pct)])


class TestConfiguration(unittest.TestCase):
    def test_the_defaults_need_only_a_host(self):
        self.assertEqual(problem_of({"host": "192.0.2.7"}), "")
        self.assertEqual(problem_of({"host": "broker.local", "port": 8883, "logger": 1, "device": "a-1"}), "")
        self.assertEqual(full({"host": "x"})["commands"], 0)

    def test_what_is_wrong_is_told_in_one_sentence_that_begins_with_its_name(self):
        for name, values in (
            ("host", ("", "a b", 5, None, "300.1.1.1", "1.2", [])),
            ("port", (0, 65536, "1883", 1.5, True, -1)),
            ("device", ("", "Attic", "a_b", "-a", "a-", "feed", "a/b", "x" * 33)),
            ("feed", ("", "a/#", "+/a", "$a", "/a", "a/", "a b")),
            ("commands", (2, -1, "1", True)),
            ("logger", (2,)),
            ("tls", (2,)),
            ("log", ("", "loud")),
            ("name_server", ("dns.example", 8)),
            ("user", (5, "x" * 129)),
            ("password", (5, "x" * 129)),
        ):
            for value in values:
                found = problem_of({"host": value} if name == "host" else {"host": "a", name: value})
                self.assertTrue(found.startswith(name + ": "), (name, value, found))
                self.assertFalse("\n" in found)
        self.assertTrue(problem_of({"host": "a", "hosts": "b"}).startswith("hosts: no such key"))

    def test_no_secret_stands_in_a_refusal(self):
        for name in ("user", "password", "ca"):
            for value in ("canary" * 30, ["canary"]):
                self.assertFalse("canary" in problem_of({"host": "a", "tls": 1, name: value}))

    def test_tls_without_a_certificate_or_without_tls_is_refused_in_one_clear_sentence(self):
        try:
            import ssl  # noqa: F401

            words = "unchecked, TLS protects from nobody"
        except ImportError:
            words = "this board's firmware has no TLS"
        for ca in ("", "-----BEGIN CERTIFICATE-----\n-----END CERTIFICATE-----", "%%%"):
            found = problem_of({"host": "a", "tls": 1, "ca": ca})
            self.assertTrue(words in found, found)

    def test_a_wrong_configuration_starts_no_link_and_says_so(self):
        from dewboard import start

        app = App()
        app.keep.broker = {"host": "192.0.2.7", "port": 0}
        self.assertEqual(start.broker(app, Net()), [])
        self.assertEqual(app.texts(), ["broker: port: found 0; allowed are 1 to 65535"])
        app.keep.broker = {"host": "192.0.2.7"}
        self.assertEqual([name for name, _ in start.broker(app, Net())], ["broker"])

    def test_too_little_memory_for_a_link_is_told_and_the_board_goes_on(self):
        from dewboard import start

        def full_heap(*_):
            raise MemoryError

        app = App()
        app.keep.broker = {"host": "192.0.2.7"}
        real, link.Link = link.Link, full_heap
        try:
            self.assertEqual(start.broker(app, Net()), [])
        finally:
            link.Link = real
        self.assertEqual(app.texts(), ["broker: this board has too little memory for it"])


if __name__ == "__main__":
    unittest.main()

