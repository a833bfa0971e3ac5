"""Names to addresses: the query byte for byte, every way an answer can be wrong, and that no wait is too long."""

import asyncio
import os
import socket
import unittest

from link_rig import HOST, run, ticks_ms

from dewboard import dns
from dewboard.dns import answer_of, is_name, is_numeric, query_of, resolve

QUERY = query_of("Broker.Example", b"\x12\x34")
# An answer as RFC 1035 section 4.1 has it: the question, an alias, and the address of what it stands for
ALIAS = b"\xc0\x0c\x00\x05\x00\x01\x00\x00\x0e\x10\x00\x07\x04real\xc0\x13"
ADDRESS = b"\xc0\x2c\x00\x01\x00\x01\x00\x00\x0e\x10\x00\x04\xc0\x00\x02\x07"


def answer(records=ALIAS + ADDRESS, count=2, number=b"\x12\x34", flags=b"\x81\x80", question=QUERY[12:], questions=1):
    head = number + flags + bytes([0, questions, 0, count, 0, 0, 0, 0])
    return head + question + records


class TestText(unittest.TestCase):
    def test_addresses_and_names(self):
        for text in ("192.0.2.7", "0.0.0.0", "255.255.255.255"):
            self.assertTrue(is_numeric(text), text)
        for text in ("", "192.0.2", "192.0.2.256", "192.0.2.7.1", "192.0.2.x", "192.0..2", "1921.0.2.7", "-1.0.2.7"):
            self.assertFalse(is_numeric(text), text)
        for text in ("broker", "broker.local", "a-b.example", "x" * 63 + ".de", "_mqtt.example"):
            self.assertTrue(is_name(text), text)
        for text in ("", ".", "a..b", "a.", "x" * 64, "a b", "a/b", "ä", ".".join(["x" * 50] * 6)):
            self.assertFalse(is_name(text), text)

    def test_the_query_is_what_the_standard_says(self):
        self.assertEqual(
            QUERY,
            b"\x12\x34\x01\x00\x00\x01\x00\x00\x00\x00\x00\x00\x06broker\x07example\x00\x00\x01\x00\x01",
        )


class TestAnswer(unittest.TestCase):
    def test_an_address_behind_an_alias_is_found(self):
        self.assertEqual(answer_of(answer(), QUERY), "192.0.2.7")

    def test_names_written_out_are_read_past(self):
        long_name = b"\x06broker\x07example\x00" + ADDRESS[2:]
        self.assertEqual(answer_of(answer(long_name, 1), QUERY), "192.0.2.7")

    def test_the_cache_flush_bit_of_the_link_is_no_matter(self):
        self.assertEqual(answer_of(answer(ADDRESS[:4] + b"\x80\x01" + ADDRESS[6:], 1), QUERY), "192.0.2.7")

    def test_what_answers_another_question_is_none(self):
        for data in (
            answer(number=b"\x12\x35"),
            answer(flags=b"\x01\x80"),  # a query
            answer(flags=b"\x81\x83"),  # no such name
            answer(question=query_of("other.example", b"\x12\x34")[12:]),
            answer(questions=0),
            answer(count=0),
            answer(ADDRESS[:3] + b"\x1c" + ADDRESS[4:], 1),  # an address of another kind
            answer(ADDRESS[:5] + b"\x03" + ADDRESS[6:], 1),  # of another class
            answer(ADDRESS[:11] + b"\x03" + ADDRESS[12:], 1),
        ):
            self.assertEqual(answer_of(data, QUERY), "")

    def test_every_cut_gives_nothing_and_no_exception(self):
        data = answer()
        for size in range(len(data)):
            self.assertEqual(answer_of(data[:size], QUERY), "", size)

    def test_names_that_lead_astray_end(self):
        for name in (b"\xc0\x00" * 40, b"\x3f" * 60, b"\x3f" + b"x" * 200, b"\xff" * 90):
            self.assertEqual(answer_of(answer(name, 9), QUERY), "")
        self.assertEqual(answer_of(answer(b"\x00" * 300, 65535 & 255), QUERY), "")

    def test_noise_after_the_question_never_raises(self):
        for _ in range(300):
            found = answer_of(answer(os.urandom(40), 200), QUERY)
            self.assertTrue(found == "" or is_numeric(found))


class Server:
    """A name server on this machine; reply(query) is what it sends, or nothing."""

    def __init__(self, reply):
        self.reply = reply
        self.asked = 0
        self.channel = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.channel.setblocking(False)
        for port in range(20000 + ticks_ms() % 20000, 60000, 11):
            try:
                self.channel.bind(socket.getaddrinfo(HOST, port)[0][-1])
                self.port = port
                return
            except OSError:
                continue

    async def serve(self):
        while True:
            await asyncio.sleep(0.005)
            try:
                query, who = self.channel.recvfrom(512)
            except OSError:
                continue
            self.asked += 1
            reply = self.reply(query)
            if reply:
                self.channel.sendto(reply, who)


def asked(reply, name="broker.example", server=HOST):
    """(address, queries the server got, milliseconds it took)."""

    async def main():
        one = Server(reply)
        task = asyncio.create_task(one.serve())
        dns.LINK = (HOST, one.port)
        began_ms = ticks_ms()
        try:
            return await resolve(name, server, one.port), one.asked, ticks_ms() - began_ms
        finally:
            task.cancel()
            one.channel.close()

    before = dns.TRY_MS, dns.LOOK_MS, dns.LINK
    dns.TRY_MS, dns.LOOK_MS = 200, 10
    try:
        return run(main())
    finally:
        dns.TRY_MS, dns.LOOK_MS, dns.LINK = before


def true_answer(query):
    return answer(ADDRESS[:1] + b"\x0c" + ADDRESS[2:], 1, query[:2], question=query[12:])


class TestResolve(unittest.TestCase):
    def test_a_server_that_answers(self):
        address, count, _ = asked(true_answer)
        self.assertEqual((address, count), ("192.0.2.7", 1))

    def test_a_silent_server_is_asked_three_times_and_given_up(self):
        address, count, took_ms = asked(lambda query: b"")
        self.assertEqual((address, count), ("", dns.TRIES))
        self.assertTrue(400 <= took_ms < 2500, took_ms)

    def test_a_late_answer_to_a_lost_query_still_counts(self):
        seen = []
        address, count, _ = asked(lambda query: seen.append(1) if len(seen) < 1 else true_answer(query))
        self.assertEqual((address, count), ("192.0.2.7", 2))

    def test_answers_that_are_none_are_waited_past(self):
        wrong = [b"", b"\x00", b"x" * 512]
        address, _, _ = asked(lambda query: wrong.pop() if wrong else true_answer(query))
        self.assertEqual(address, "")
        forged = [lambda query: answer(ADDRESS, 1, b"\x00\x00", question=query[12:])]
        address, count, _ = asked(lambda query: forged.pop()(query) if forged else true_answer(query))
        self.assertEqual((address, count), ("192.0.2.7", 2))

    def test_a_name_of_the_link_needs_no_server(self):
        self.assertEqual(asked(true_answer, "Board.local", "")[0], "192.0.2.7")

    def test_a_numeric_address_asks_nobody(self):
        self.assertEqual(asked(true_answer, "198.51.100.9")[:2], ("198.51.100.9", 0))

    def test_what_is_no_name_or_has_no_server_is_not_asked_for(self):
        self.assertEqual(asked(true_answer, "a..b")[:2], ("", 0))
        self.assertEqual(asked(true_answer, "broker.example", "")[:2], ("", 0))

    def test_a_port_where_nobody_listens_is_an_answer_too(self):
        async def main():
            return await resolve("broker.example", HOST, 1)

        before = dns.TRY_MS, dns.LOOK_MS
        dns.TRY_MS, dns.LOOK_MS = 100, 10
        try:
            self.assertEqual(run(main()), "")
        finally:
            dns.TRY_MS, dns.LOOK_MS = before

    def test_no_socket_is_left_over(self):
        asked(true_answer)
        before = len(os.listdir("/proc/self/fd"))
        for _ in range(5):
            asked(true_answer)
        self.assertTrue(len(os.listdir("/proc/self/fd")) <= before + 2)  # MicroPython's loops leave theirs behind


if __name__ == "__main__":
    unittest.main()
