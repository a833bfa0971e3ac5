"""X25519 against the published examples, and what two sides make of it."""

import asyncio
import unittest
from binascii import unhexlify

from dewboard import curve
from dewboard.login import hmac_sha256, xor

PUBLISHED = (  # RFC 7748 section 5.2: both examples, and the first round of the iterated one
    (
        "a546e36bf0527c9d3b16154b82465edd62144c0ac1fc5a18506a2244ba449ac4",
        "e6db6867583030db3594c1a424b15f7c726624ec26b3353b10a903a6d0ab1c4c",
        "c3da55379de9c6908e94ea4df28d084f32eccf03491c71f754b4075577a28552",
    ),
    (
        "4b66e9d4d1b4673c5ad22691957d6af5c11b6421e0ea01d42ca4169e7918ba0d",
        "e5210f12786811d3f4b7959d0538ae2c31dbe7106fc03c3efc4cd549c715a493",
        "95cbde9476e8907d7aade45cb4b873f88b595a68799fa152e6f8f7647aac7957",
    ),
    (
        "0900000000000000000000000000000000000000000000000000000000000000",
        "0900000000000000000000000000000000000000000000000000000000000000",
        "422c8e7a6227d7bca1350b3e2bb7279f7897b87bb6854b783c60e80311ae3079",
    ),
)
NOTHING_SHARED = (bytes(32), b"\x01" + bytes(31))  # points of low order


class Curve(unittest.TestCase):
    def test_published_examples(self):
        for secret, point, result in PUBLISHED:
            found = asyncio.run(curve.shared(unhexlify(secret), unhexlify(point)))
            self.assertEqual(found, unhexlify(result))

    def test_what_one_side_masks_the_other_opens_and_nobody_else(self):
        stored = bytes(range(32))
        own = bytes(range(7, 39))

        async def talk():
            board, other = curve.Exchange(), curve.Exchange()
            masked = xor(stored, hmac_sha256(await curve.shared(own, await board.point()), curve.MASK))
            point = await curve.shared(own, curve.BASE)
            return await board.opened(point, masked), await other.opened(point, masked)

        ours, theirs = asyncio.run(talk())
        self.assertEqual(ours, stored)
        self.assertNotEqual(theirs, stored)

    def test_nonsense_opens_nothing(self):
        board = curve.Exchange()
        for point, masked in [(point, bytes(32)) for point in NOTHING_SHARED] + [(b"", bytes(32)), (curve.BASE, b"")]:
            self.assertEqual(asyncio.run(board.opened(point, masked)), b"")

    def test_others_have_their_turns_meanwhile(self):
        turns = []

        async def other():
            while True:
                turns.append(1)
                await asyncio.sleep(0)

        async def both():
            task = asyncio.create_task(other())
            await curve.shared(bytes(32), curve.BASE)
            task.cancel()

        asyncio.run(both())
        self.assertTrue(len(turns) >= 255 // curve.STEPS, len(turns))


if __name__ == "__main__":
    unittest.main()
