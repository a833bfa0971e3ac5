"""Bounds in front of the page: sizes, time, connections, names; and that nothing of it stays behind."""

import asyncio
import unittest

from microdot import Response
from page_client import Reader, Writer, request, run, talk

from dewboard import guard as g


def names():
    return ("127.0.0.1", "dewmargin.local")


def new_guard():
    """A guard with one page to read, one to send to, and one that never ends."""
    guard = g.Guard(names)
    guard.bodies = []

    async def hello(_):
        return "hello"

    async def take(request):
        guard.bodies.append(request.body)
        return "taken"

    async def endless(_):
        return Response(forever(guard))

    guard.add("GET", "/", hello)
    guard.add("POST", "/take", take)
    guard.add("GET", "/endless", endless)
    return guard


def forever(guard):
    try:
        while True:
            yield ""
    finally:
        guard.bodies.append("closed")


def answer_of(guard, data, **how):
    """The Writer with the answer to these bytes."""
    return run(guard, talk(guard, data, **how))


def status_of(data, **how):
    """The status that one request gets, 0 for none."""
    return answer_of(new_guard(), data, **how).status()


class Requests(unittest.TestCase):
    def test_what_a_browser_sends_is_answered(self):
        guard = new_guard()
        writer = answer_of(guard, request("GET", "/"))
        self.assertEqual(writer.status(), 200)
        self.assertEqual(writer.body(), b"hello")
        self.assertTrue(writer.closed)
        self.assertEqual(guard.callers, [])

    def test_byte_by_byte_as_well(self):
        guard = new_guard()
        writer = answer_of(guard, request("POST", "/take", body=b"0123456789"), most=1)
        self.assertEqual(writer.status(), 200)
        self.assertEqual(guard.bodies, [b"0123456789"])

    def test_answers_carry_what_keeps_a_browser_from_harm(self):
        guard = new_guard()
        for path in ("/", "/nowhere"):
            head = answer_of(guard, request("GET", path)).head()
            self.assertIn("Content-Security-Policy: default-src 'self'", head)
            self.assertIn("X-Content-Type-Options: nosniff", head)
            self.assertIn("Cache-Control: no-store", head)
            self.assertFalse("\r\nserver:" in head.lower())
            self.assertFalse("python" in head.lower())

    def test_unknown_addresses_and_methods(self):
        self.assertEqual(status_of(request("GET", "/nowhere")), 404)
        self.assertEqual(status_of(request("GET", "/take")), 405)
        self.assertEqual(status_of(request("POST", "/", body=b"")), 405)
        for method in ("PUT", "DELETE", "OPTIONS", "HEAD", "TRACE", "CONNECT", "get"):
            self.assertEqual(status_of(request(method, "/")), 405)

    def test_a_query_is_left_out_unread(self):
        self.assertEqual(status_of(request("GET", "/?a=%zz&b")), 200)

    def test_request_lines_that_are_none(self):
        for line in (b"", b"G", b"GET /", b"GET / HTTP/2", b"GET  / HTTP/1.1", b"GET / HTTP/1.1 x", b"GET x HTTP/1.1"):
            self.assertEqual(status_of(line + b"\r\nHost: 127.0.0.1\r\n\r\n"), 400, line)
        self.assertEqual(status_of(b"\x16\x03\x01\x02\x00\x01\x00\n\n"), 400)  # a browser that tries TLS
        self.assertEqual(status_of(b"GET /\xc3\xa4 HTTP/1.1\r\n\r\n"), 400)

    def test_headers_that_are_none(self):
        for line in ("no colon", ": nameless", " folded: x", "Space : x", "Host: 127.0.0.1", "Content-Length: x"):
            self.assertEqual(status_of(request("GET", "/", [line])), 400, line)
        self.assertEqual(status_of(request("GET", "/", ["X: \x00"])), 400)

    def test_half_a_request_is_told_nothing(self):
        body = request("POST", "/take", body=b"12")[:-1]
        for data in (b"", b"GET / HT", b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\n", body):
            self.assertEqual(status_of(data), 0)


class Endless(Reader):
    """Its bytes, then ever more."""

    async def read(self, n):
        if not self.data:
            self.data = b"x" * n
        return await super().read(n)


class Sizes(unittest.TestCase):
    def test_request_line(self):
        room = g.LINE_BYTES - len("GET  HTTP/1.1\r")
        self.assertEqual(status_of(request("GET", "/" + "x" * (room - 1))), 404)
        self.assertEqual(status_of(request("GET", "/" + "x" * (room + 1))), 414)
        self.assertEqual(status_of(b"GET /" + b"x" * 100000), 414)

    def test_header_line(self):
        room = g.LINE_BYTES - len("X: \r")
        self.assertEqual(status_of(request("GET", "/", ["X: " + "y" * room])), 200)
        self.assertEqual(status_of(request("GET", "/", ["X: " + "y" * (room + 2)])), 431)
        self.assertEqual(status_of(b"GET / HTTP/1.1\r\nX: " + b"y" * 100000), 431)

    def test_number_of_headers(self):
        some = ["X-%d: y" % n for n in range(g.HEADERS - 3)]  # request() sends three of its own
        self.assertEqual(status_of(request("GET", "/", some)), 200)
        self.assertEqual(status_of(request("GET", "/", some + ["One: more"])), 431)

    def test_a_long_head_takes_no_more_than_a_few_lines_of_memory(self):
        caller = g.Caller("a", Reader(request("GET", "/", ["X-%d: %s" % (n, "y" * 500) for n in range(20)])))
        asyncio.run(caller.head())
        self.assertTrue(len(caller.rest) <= g.LINE_BYTES + g.CHUNK_BYTES)
        self.assertEqual(len(caller.headers), 1)

    def test_body(self):
        guard = new_guard()
        for size in (0, 1, g.BODY_BYTES):
            self.assertEqual(answer_of(guard, request("POST", "/take", body=b"x" * size)).status(), 200)
        self.assertEqual([len(body) for body in guard.bodies], [0, 1, g.BODY_BYTES])
        self.assertEqual(status_of(request("POST", "/take", body=b"x" * (g.BODY_BYTES + 1))), 413)

    def test_ten_megabytes_are_refused_unread(self):
        head = request("POST", "/take").replace(b"Content-Length: 0", b"Content-Length: 10000000")
        reader = Endless(head)
        writer = Writer()
        guard = new_guard()
        run(guard, guard.handle_request(reader, writer))
        self.assertEqual(writer.status(), 413)
        self.assertTrue(reader.given <= (g.LINGER_READS + 2) * g.CHUNK_BYTES)

    def test_length_must_be_told_once_and_sanely(self):
        plain = request("POST", "/take")
        for found, wanted in (
            (b"", 411),
            (b"Content-Length: -1\r\n", 400),
            (b"Content-Length: 1e3\r\n", 400),
            (b"Content-Length: 999999999\r\n", 400),
            (b"Content-Length: 0\r\nContent-Length: 0\r\n", 400),
            (b"Transfer-Encoding: chunked\r\n", 411),
            (b"Content-Length: 5\r\nTransfer-Encoding: chunked\r\n", 411),
        ):
            self.assertEqual(status_of(plain.replace(b"Content-Length: 0\r\n", found)), wanted, found)
        self.assertEqual(status_of(request("GET", "/", ["Content-Length: 3"]) + b"abc"), 400)


class Names(unittest.TestCase):
    def test_own_names_only(self):
        for host in ("127.0.0.1", "127.0.0.1:80", "dewmargin.local", "DEWMARGIN.local:8080", "dewmargin.local."):
            self.assertEqual(status_of(request("GET", "/", host=host)), 200, host)
        others = ("evil.example", "", "127.0.0.1.evil.example", "localhost", "127.0.0.2", "[::1]", "a:b:80", "x" * 300)
        for host in others:
            self.assertEqual(status_of(request("GET", "/", host=host)), 421, host)
        self.assertEqual(status_of(b"GET / HTTP/1.1\r\n\r\n"), 421)

    def test_a_change_comes_from_this_page(self):
        plain = request("POST", "/take", host="dewmargin.local:8080")
        own = b"Origin: http://dewmargin.local:8080\r\n"
        self.assertEqual(status_of(plain), 200)
        for origin in (b"", b"Origin: http://evil.example\r\n", b"Origin: null\r\n", b"Origin: http://dewmargin.local\r\n"):
            self.assertEqual(status_of(plain.replace(own, origin)), 403, origin)


class Crowds(unittest.TestCase):
    def crowd(self, addresses, wait_s, then="9.9.9.9", data=request("GET", "/")):
        """Idle callers from these addresses; after wait_s one that asks: its status, those of the idle, the guard."""
        guard = new_guard()

        async def all_of_them():
            idle = [Writer(address) for address in addresses]
            tasks = [asyncio.create_task(guard.handle_request(Reader(b"", after_s=30), writer)) for writer in idle]
            await asyncio.sleep(wait_s)
            last = await talk(guard, data, then)
            count = len(guard.callers)
            for task in tasks:
                task.cancel()
            await asyncio.sleep(0.01)
            return last.status(), [writer.status() for writer in idle], count

        return run(guard, all_of_them()) + (guard,)

    def test_no_more_than_four_and_three_from_one_address(self):
        status, idle, count, guard = self.crowd(["1.1.1.%d" % n for n in range(4)], 0.01)
        self.assertEqual((status, count), (503, g.CONNECTIONS))
        status, idle, count, guard = self.crowd(["1.1.1.1"] * 9, 0.01)
        self.assertEqual((status, count), (200, g.FROM_ONE))
        self.assertEqual(guard.refused[503], 6)
        self.assertEqual(guard.callers, [])

    def test_an_idle_one_gives_way(self):
        status, idle, count, _ = self.crowd(["1.1.1.%d" % n for n in range(4)], 1.2)
        self.assertEqual(status, 200)
        self.assertEqual(count, g.CONNECTIONS - 1)
        self.assertEqual(idle[0], 503)

    def test_three_hundred(self):
        status, idle, count, guard = self.crowd(["1.1.%d.1" % n for n in range(300)], 0.01)
        self.assertEqual(status, 503)
        self.assertEqual(guard.refused[503], 297)
        self.assertEqual(guard.callers, [])


class Time(unittest.TestCase):
    def watch(self, data, after_s, head_s=1, total_s=2, most=1000):
        """Status and guard of a slow caller, with shorter deadlines."""
        before = g.HEAD_S, g.TOTAL_S, g.SWEEP_S
        g.HEAD_S, g.TOTAL_S, g.SWEEP_S = head_s, total_s, 0.05
        try:
            guard = new_guard()
            writer = answer_of(guard, data, most=most, after_s=after_s)
            return writer, guard
        finally:
            g.HEAD_S, g.TOTAL_S, g.SWEEP_S = before

    def test_a_head_that_does_not_end(self):
        writer, guard = self.watch(b"GET / HTTP/1.1\r\n", 30)
        self.assertEqual(writer.status(), 408)
        self.assertTrue(writer.closed)
        self.assertEqual(guard.callers, [])

    def test_a_body_that_does_not_end(self):
        writer, guard = self.watch(request("POST", "/take", body=b"abc")[:-1], 30)
        self.assertEqual(writer.status(), 408)
        self.assertEqual(guard.bodies, [])

    def test_an_answer_that_does_not_end_is_closed(self):
        writer, guard = self.watch(request("GET", "/endless"), 0)
        self.assertEqual(writer.status(), 200)
        self.assertEqual(writer.body(), b"")  # no refusal in the middle of it
        self.assertTrue(writer.closed)
        self.assertEqual(guard.bodies, ["closed"])
        self.assertEqual(guard.callers, [])

    def test_the_real_deadlines(self):
        self.assertEqual((g.HEAD_S, g.TOTAL_S, g.SWEEP_S), (5, 20, 1))


class Trouble(unittest.TestCase):
    def test_a_caller_that_goes_away(self):
        class Gone(Writer):
            async def awrite(self, data):
                raise OSError(104, "reset")

            async def aclose(self):
                raise OSError(104, "reset")

        guard = new_guard()
        run(guard, guard.handle_request(Reader(request("GET", "/")), Gone()))
        self.assertEqual(guard.callers, [])

    def test_addresses_as_either_interpreter_has_them(self):
        self.assertEqual(g.address_of(("192.168.1.7", 5000)), "192.168.1.7")
        self.assertEqual(g.address_of(b"\x02\x00\x13\x88\xc0\xa8\x01\x07" + bytes(8)), "192.168.1.7")
        self.assertEqual(g.address_of(None), "")


if __name__ == "__main__":
    unittest.main()
