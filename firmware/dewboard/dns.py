"""Names to addresses by one small bounded query (RFC 1035) at a time; the chip's own resolver blocks everything.

    address = await resolve(name, server)     "192.0.2.7", or "" where nobody answered within TRIES * TRY_MS

server: the network's name server, an address.  A name that ends in .local is asked for on the link itself
(RFC 6762, one-shot query) and needs none.  A numeric address is its own answer.
"""

import asyncio
import os
import socket

PORT = 53
LINK = ("224.0.0.251", 5353)  # multicast DNS
TRIES = 3
TRY_MS = 2000
LOOK_MS = 50
MOST_BYTES = 512
NAME_BYTES = 253
LABEL_BYTES = 63
HEAD_BYTES = 12
ASKED = b"\x00\x01\x00\x01"  # type A, class IN


def is_numeric(name: str) -> bool:
    """Whether it is an IPv4 address in decimal numbers."""
    parts = name.split(".")
    if len(parts) != 4:
        return False
    for part in parts:
        if not (part.isdigit() and len(part) <= 3 and int(part) <= 255):
            return False
    return True


def is_name(name: str) -> bool:
    """Whether a query can be made of it."""
    if not 0 < len(name) <= NAME_BYTES:
        return False
    for label in name.split("."):
        if not 0 < len(label) <= LABEL_BYTES:
            return False
        for letter in label:
            if not ("a" <= letter <= "z" or "A" <= letter <= "Z" or "0" <= letter <= "9" or letter in "-_"):
                return False
    return True


def query_of(name: str, number: bytes) -> bytes:
    """The query for a name's address; number: its two bytes."""
    query = number + b"\x01\x00\x00\x01\x00\x00\x00\x00\x00\x00"
    for label in name.lower().split("."):
        query += bytes([len(label)]) + label.encode()
    return query + b"\x00" + ASKED


def answer_of(data: bytes, query: bytes) -> str:
    """The first address in an answer to this query; "" where it is none, or has none."""
    end = len(query)
    if len(data) < end or data[:2] != query[:2] or not data[2] & 0x80 or data[3] & 0x0F:
        return ""
    if data[4:6] != b"\x00\x01" or data[HEAD_BYTES:end].lower() != query[HEAD_BYTES:]:
        return ""
    at = end
    for _ in range(data[6] << 8 | data[7]):
        at = _after_name(data, at)
        if at + 10 > len(data):
            return ""
        size = data[at + 8] << 8 | data[at + 9]
        is_address = data[at : at + 2] == b"\x00\x01" and data[at + 2] & 0x7F == 0 and data[at + 3] == 1
        at += 10
        if is_address and size == 4 and at + 4 <= len(data):
            return "%d.%d.%d.%d" % tuple(data[at : at + 4])
        at += size
    return ""


def _after_name(data: bytes, at: int) -> int:
    """Where a name in an answer ends; beyond the data where it does not."""
    while at < len(data) and data[at]:
        if data[at] & 0xC0:  # the rest of it stands elsewhere: two bytes, and they are the last
            return at + 2
        at += 1 + data[at]
    return at + 1


async def resolve(name: str, server: str, port: int = PORT) -> str:
    """The name's address, "" for none; takes six seconds at most, and no socket outlasts it."""
    if is_numeric(name):
        return name
    is_local = name.lower().endswith(".local")
    if not is_name(name) or not (is_local or is_numeric(server)):
        return ""
    asked = LINK if is_local else (server, port)
    query = query_of(name, os.urandom(2))
    channel = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        channel.setblocking(False)
        address = socket.getaddrinfo(asked[0], asked[1])[0][-1]  # numeric: asks nobody
        if not is_local:
            channel.connect(address)  # then nobody else's answer is taken
        for _ in range(TRIES):
            channel.sendto(query, address) if is_local else channel.send(query)
            for _ in range(TRY_MS // LOOK_MS):
                await asyncio.sleep(LOOK_MS / 1000)
                found = answer_of(_received(channel), query)
                if found:
                    return found
        return ""
    except OSError:
        return ""  # no route, or the server refuses: the same as no answer
    finally:
        channel.close()


def _received(channel: "socket.socket") -> bytes:
    """What came, b"" for nothing."""
    try:
        return channel.recv(MOST_BYTES)
    except OSError as problem:
        if problem.args and problem.args[0] == 11:  # EAGAIN
            return b""
        raise
