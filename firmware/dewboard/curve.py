"""A secret that the board and one browser share and a listener does not, for the first password alone.

    exchange = Exchange()
    point = await exchange.point()                     the board's, told to the browser
    stored = await exchange.opened(point, masked)      what the browser masked with the secret; b"" for nonsense

X25519 of RFC 7748, section 5, with secrets that are drawn for this once.  Loaded when a first password is to be set,
and let go of afterwards.  Each multiplication may take two seconds on a board (a hundred times what it takes on a
desktop, not measured), in which others have their turns; the board's own point is made once.
"""

import asyncio
import os

from dewboard.login import hmac_sha256, xor

FIELD = (1 << 255) - 19
STEPS = 4  # of 255, between two turns of others
MASK = b"password 0"
BASE = b"\x09" + bytes(31)


async def shared(secret: bytes, point: bytes) -> bytes:
    """The x-coordinate of point times secret, both of 32 bytes, little-endian: section 5's ladder."""
    k = int.from_bytes(secret, "little") & (1 << 255) - 8 | 1 << 254
    u = int.from_bytes(point, "little") & (1 << 255) - 1
    x2, z2, x3, z3 = 1, 0, u, 1
    swapped = 0
    for t in range(254, -1, -1):
        bit = k >> t & 1
        if bit != swapped:
            x2, z2, x3, z3 = x3, z3, x2, z2
        swapped = bit
        a, b, c, d = x2 + z2, x2 - z2, x3 + z3, x3 - z3
        aa, bb = a * a % FIELD, b * b % FIELD
        e, da, cb = aa - bb, d * a % FIELD, c * b % FIELD
        x3 = (da + cb) * (da + cb) % FIELD
        z3 = u * ((da - cb) * (da - cb) % FIELD) % FIELD
        x2 = aa * bb % FIELD
        z2 = e * (aa + 121665 * e) % FIELD
        if t % STEPS == 0:
            await asyncio.sleep(0)
    if swapped:
        x2, z2 = x3, z3
    return (x2 * pow(z2, FIELD - 2, FIELD) % FIELD).to_bytes(32, "little")


class Exchange:
    """One press of a button's worth."""

    __slots__ = ("secret", "own")

    def __init__(self) -> None:
        self.secret: bytes = os.urandom(32)
        self.own: bytes = b""

    async def point(self) -> bytes:
        """The board's own."""
        if not self.own:
            self.own = await shared(self.secret, BASE)
        return self.own

    async def opened(self, point: bytes, masked: bytes) -> bytes:
        """32 bytes out of the mask; b"" where either is none, or the point is one that shares nothing."""
        if len(point) != 32 or len(masked) != 32:
            return b""
        key = await shared(self.secret, point)
        return xor(masked, hmac_sha256(key, MASK)) if key != bytes(32) else b""
