"""The page's cryptography in the browser against published vectors and Python's own, in a small script engine.

    python tests/acceptance/page_script.py

Needs quickjs (`pip install quickjs`).  Exit status 0 all agree, 1 some do not, 2 without quickjs.
"""

import hashlib
import hmac
import random
import sys
from pathlib import Path

SCRIPT = Path(__file__).resolve().parents[2] / "firmware" / "dewboard" / "proof.js"
ROUNDS = 200000
# RFC 7677 section 3: user "user", password "pencil", 4096 rounds
SALT = "5b6d99689d12358eeca04b141236fa81"
MESSAGE = (
    "n=user,r=rOprNGfwEbeRWgbNEkqO,r=rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0,"
    "s=W22ZaJ0SNY7soEsUEjb6gQ==,i=4096,c=biws,r=rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0"
)
PUBLISHED = (
    # FIPS 180-4's examples of SHA-256: "abc", the empty text, two blocks
    ('toHex(sha256(utf8("abc")))', "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
    ('toHex(sha256(utf8("")))', "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"),
    (
        'toHex(sha256(utf8("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq")))',
        "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
    ),
    # RFC 4231, cases 1, 2 and 6 (a key longer than a block)
    (
        'toHex(hmac(new Uint8Array(20).fill(11), utf8("Hi There")))',
        "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7",
    ),
    (
        'toHex(hmac(utf8("Jefe"), utf8("what do ya want for nothing?")))',
        "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843",
    ),
    (
        'toHex(hmac(new Uint8Array(131).fill(170), utf8("Test Using Larger Than Block-Size Key - Hash Key First")))',
        "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54",
    ),
    # RFC 7914 section 11, the first 32 bytes
    (
        'toHex(pbkdf2(utf8("passwd"), utf8("salt"), 1))',
        "55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc",
    ),
    # RFC 7748 section 5.2: both examples, and the first round of the iterated one
    (
        'toHex(shared(fromHex("a546e36bf0527c9d3b16154b82465edd62144c0ac1fc5a18506a2244ba449ac4"), '
        'fromHex("e6db6867583030db3594c1a424b15f7c726624ec26b3353b10a903a6d0ab1c4c")))',
        "c3da55379de9c6908e94ea4df28d084f32eccf03491c71f754b4075577a28552",
    ),
    (
        'toHex(shared(fromHex("4b66e9d4d1b4673c5ad22691957d6af5c11b6421e0ea01d42ca4169e7918ba0d"), '
        'fromHex("e5210f12786811d3f4b7959d0538ae2c31dbe7106fc03c3efc4cd549c715a493")))',
        "95cbde9476e8907d7aade45cb4b873f88b595a68799fa152e6f8f7647aac7957",
    ),
    ("toHex(shared(BASE, BASE))", "422c8e7a6227d7bca1350b3e2bb7279f7897b87bb6854b783c60e80311ae3079"),
    (
        f'proofOf(secrets("pencil", "{SALT}", 4096), "{MESSAGE}")',
        "747cdb65aa56224e2352137e52d7bdcad6a0f738df30782caa69a2cfb0277554",
    ),
)


def drawn(count: int):
    """(expression, what Python makes of it) for drawn keys, messages and passwords of every length about a block."""
    draw = random.Random(1)
    for n in range(count):
        key, text = draw.randbytes(n % 140), draw.randbytes(n % 200)
        yield f'toHex(sha256(fromHex("{text.hex()}")))', hashlib.sha256(text).hexdigest()
        wanted = hmac.digest(key, text, "sha256").hex()
        yield f'toHex(hmac(fromHex("{key.hex()}"), fromHex("{text.hex()}")))', wanted
        wanted = hashlib.pbkdf2_hmac("sha256", key, text[:16], 1 + n % 7).hex()
        yield f'toHex(pbkdf2(fromHex("{key.hex()}"), fromHex("{text[:16].hex()}"), {1 + n % 7}))', wanted
    salt = bytes(range(16))
    salted = hashlib.pbkdf2_hmac("sha256", "Zwölf Zeichen ☔".encode(), salt, ROUNDS)
    stored = hashlib.sha256(hmac.digest(salted, b"Client Key", "sha256")).hexdigest()
    yield f'toHex(secrets("Zwölf Zeichen ☔", "{salt.hex()}", {ROUNDS}).stored)', stored
    sign = hmac.digest(b"\x00\xff", b"17\n/look\n{}", "sha256").hex()
    yield 'signOf("00ff", 17, "/look", "{}")', "17:" + sign


def main() -> int:
    """Evaluate all, print what differs."""
    try:
        import quickjs
    except ImportError:
        print("page_script: quickjs is missing: pip install quickjs", file=sys.stderr)
        return 2
    engine = quickjs.Context()
    engine.eval(SCRIPT.read_text(encoding="utf-8"))
    wrong = 0
    count = 0
    for expression, wanted in [*PUBLISHED, *drawn(300)]:
        count += 1
        if engine.eval(expression) != wanted:
            wrong += 1
            print("differs: " + expression[:100])
    print("page_script: %d of %d agree" % (count - wrong, count))
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
