"""Password, proof, sessions and waits, against published vectors and with the clock as an argument."""

import unittest
from hashlib import sha256

from page_app import App
from page_client import CLIENT_KEY, PASSWORD_SALT, STORED

from dewboard import login as g


def proof(nonce, client_key=CLIENT_KEY, stored=STORED):
    return g.to_hex(g.xor(client_key, g.hmac_sha256(stored, nonce.encode())))


class Board:
    """A Login with a password, and shorthand for trying to log in."""

    def __init__(self):
        self.app = App()
        self.login = g.Login(self.app)
        self.app.pressed_s = self.app.now_s
        self.first = self.login.set_first(PASSWORD_SALT, STORED)
        self.app.pressed_s = -1
        self.tries = 0  # that were looked at

    def enter(self, address, right=True):
        """A Session, a refusal, or None where it had to wait."""
        if self.login.wait_s(address):
            return None
        self.tries += 1
        nonce = self.login.ask(address)["nonce"]
        return self.login.enter(address, nonce, proof(nonce) if right else "00" * 32)

    def gets_in(self, address):
        return isinstance(self.enter(address), g.Session)


JEFE = "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"


class Vectors(unittest.TestCase):
    def test_hmac_is_rfc_4231s(self):
        cases = (  # RFC 4231, cases 1, 2 and 3
            (b"\x0b" * 20, b"Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"),
            (b"Jefe", b"what do ya want for nothing?", JEFE),
            (b"\xaa" * 20, b"\xdd" * 50, "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"),
        )
        for key, message, wanted in cases:
            self.assertEqual(g.to_hex(g.hmac_sha256(key, message)), wanted)

    def test_proof_is_rfc_7677s(self):
        # RFC 7677 section 3: password "pencil"; its salted password from PBKDF2 with 4096 rounds
        salted = g.unhexlify("c4a49510323ab4f952cac1fa99441939e78ea74d6be81ddf7096e87513dc615d")
        message = b"n=user,r=rOprNGfwEbeRWgbNEkqO,r=rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0,"
        message += b"s=W22ZaJ0SNY7soEsUEjb6gQ==,i=4096,c=biws,r=rOprNGfwEbeRWgbNEkqO%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0"
        client = g.hmac_sha256(salted, b"Client Key")
        made = g.xor(client, g.hmac_sha256(sha256(client).digest(), message))
        # p= of the example, as hexadecimal digits
        self.assertEqual(g.to_hex(made), "747cdb65aa56224e2352137e52d7bdcad6a0f738df30782caa69a2cfb0277554")

    def test_same_tells_difference_and_length(self):
        self.assertTrue(g.same(b"abc", b"abc"))
        self.assertTrue(g.same(b"", b""))
        for other in (b"abd", b"bbc", b"ab", b"abcd", b""):
            self.assertFalse(g.same(b"abc", other))

    def test_hex_of_the_right_length_only(self):
        self.assertEqual(g.from_hex("00ff", 2), b"\x00\xff")
        for text in ("00f", "00fg", "00FF", "0x00", "00ff00", 12, None, b"00ff", ["0"] * 4, " 0ff"):
            self.assertEqual(g.from_hex(text, 2), b"")


class Passwords(unittest.TestCase):
    def test_there_is_none_at_first(self):
        app = App()
        login = g.Login(app)
        self.assertFalse(login.is_set())
        nonce = login.ask("a")["nonce"]
        self.assertTrue(isinstance(login.enter("a", nonce, "00" * 32), str))
        self.assertEqual(login.sessions, [])

    def test_the_first_needs_a_press_of_a_button(self):
        app = App()
        login = g.Login(app)
        for pressed_s in (-1, app.now_s - g.PRESS_S - 1, app.now_s + 1):
            app.pressed_s = pressed_s
            self.assertIn("Press a button", login.set_first(PASSWORD_SALT, STORED))
            self.assertFalse(login.is_set())
            self.assertTrue(app.image is None)
        app.pressed_s = app.now_s - g.PRESS_S
        self.assertEqual(login.set_first(PASSWORD_SALT, STORED), "")
        self.assertTrue(login.is_set())
        self.assertEqual(app.events.texts(), ["password set"])

    def test_a_second_first_one_is_refused(self):
        board = Board()
        board.app.pressed_s = board.app.now_s
        self.assertIn("already", board.login.set_first(bytes(16), bytes(32)))
        self.assertTrue(board.gets_in("a"))

    def test_a_damaged_one_is_refused(self):
        app = App()
        login = g.Login(app)
        app.pressed_s = app.now_s
        for salt, stored in ((b"", STORED), (PASSWORD_SALT, b""), (bytes(15), STORED), (PASSWORD_SALT, bytes(31))):
            self.assertIn("damaged", login.set_first(salt, stored))
        self.assertFalse(login.is_set())

    def test_a_salt_that_is_old_or_no_draw_is_refused(self):
        board = Board()
        for salt in (PASSWORD_SALT, bytes(16), b"\x07" * 16, bytes([1, 2, 3, 4, 5] * 3 + [1])):
            self.assertIn("new random", board.login._keep(salt, STORED, "password changed"))
        self.assertTrue(board.gets_in("a"))
        self.assertEqual(board.login._keep(bytes([1, 2, 3, 4, 5, 6] * 2 + [1] * 4), STORED, ""), "")

    def test_it_outlasts_a_restart_and_is_stored_nowhere_in_clear(self):
        board = Board()
        self.assertEqual(len(board.app.image), g.IMAGE_BYTES)
        self.assertEqual(board.app.image.find(CLIENT_KEY), -1)
        self.assertEqual(board.app.image.find(b"horse"), -1)
        again = Board()
        again.app.image = board.app.image
        again.login = g.Login(again.app)
        self.assertTrue(again.gets_in("a"))

    def test_a_damaged_image_is_no_password(self):
        for image in (b"", bytes(g.IMAGE_BYTES), b"\x01" + bytes(g.IMAGE_BYTES), b"\x01"):
            app = App()
            app.image = image
            self.assertFalse(g.Login(app).is_set())

    def test_holding_both_buttons_forgets_it_and_ends_sessions(self):
        board = Board()
        session = board.enter("a")
        board.login.forget()
        self.assertFalse(board.login.is_set())
        self.assertEqual(board.app.image, b"")
        self.assertTrue(board.login.session_of(session.cookie) is None)
        self.assertFalse(board.gets_in("a"))

    def test_a_change_ends_every_session_and_the_old_password(self):
        board = Board()
        session = board.enter("a")
        other = board.enter("b")
        client = bytes(range(32))
        stored = sha256(client).digest()
        mask = g.hmac_sha256(session.key, b"password 17")
        self.assertEqual(board.login.change(session, 17, bytes(range(7, 23)), g.xor(stored, mask)), "")
        for old in (session, other):
            self.assertTrue(board.login.session_of(old.cookie) is None)
        self.assertEqual(board.enter("a"), "That is not the password.")
        nonce = board.login.ask("a")["nonce"]
        self.assertTrue(isinstance(board.login.enter("a", nonce, proof(nonce, client, stored)), g.Session))


class Proofs(unittest.TestCase):
    def test_the_right_one_gets_in(self):
        board = Board()
        self.assertTrue(board.gets_in("a"))
        self.assertEqual(board.app.events.texts()[0], "login from a")

    def test_a_nonce_counts_once_and_for_its_address(self):
        board = Board()
        nonce = board.login.ask("a")["nonce"]
        self.assertIn("try again", board.login.enter("b", nonce, proof(nonce)))
        self.assertTrue(isinstance(board.login.enter("a", nonce, proof(nonce)), g.Session))
        self.assertIn("try again", board.login.enter("a", nonce, proof(nonce)))
        self.assertEqual(len(board.login.sessions), 1)

    def test_nonces_that_are_not_ours(self):
        board = Board()
        good = board.login.ask("a")["nonce"]
        number, tag = good.split(".")
        bad = ["", "1", "1.", "." + tag, "2." + tag, number + "." + "0" * 32, good + "0", "0." + tag, "-1." + tag]
        for nonce in bad + [None, 7, [], "9" * 60, "1" * 12 + "." + tag, "\u0661." + tag]:
            found = board.login.enter("a", nonce, proof(str(nonce)))
            self.assertIn("try again", found)
        self.assertTrue(isinstance(board.login.enter("a", good, proof(good)), g.Session))

    def test_proofs_that_prove_nothing(self):
        board = Board()
        for given in ("", "00" * 32, "zz" * 32, None, 5, "ab" * 33):
            board.app.now_s += g.LONGEST_WAIT_S
            nonce = board.login.ask("a")["nonce"]
            self.assertEqual(board.login.enter("a", nonce, given), "That is not the password.")

    def test_what_is_stored_opens_nothing(self):
        board = Board()
        nonce = board.login.ask("a")["nonce"]
        self.assertTrue(isinstance(board.login.enter("a", nonce, proof(nonce, STORED, STORED)), str))


class Sessions(unittest.TestCase):
    def test_at_most_three_the_oldest_goes(self):
        board = Board()
        made = [board.enter("a") for _ in range(4)]
        self.assertTrue(board.login.session_of(made[0].cookie) is None)
        for session in made[1:]:
            self.assertTrue(board.login.session_of(session.cookie) is session)

    def test_one_ends_after_half_an_hour_without_a_change(self):
        board = Board()
        session = board.enter("a")
        board.app.now_s += g.SESSION_S - 1
        self.assertTrue(board.login.session_of(session.cookie) is session)
        self.assertEqual(board.login.signed(session, sign(session, 5, "/look", b"{}"), "/look", b"{}"), 5)
        board.app.now_s += g.SESSION_S - 1
        self.assertTrue(board.login.session_of(session.cookie) is session)
        board.app.now_s += 1
        self.assertTrue(board.login.session_of(session.cookie) is None)

    def test_cookies_that_name_none(self):
        board = Board()
        session = board.enter("a")
        for cookie in (None, "", "0" * 32, session.cookie[:-1], session.cookie + "0", 7):
            self.assertTrue(board.login.session_of(cookie) is None)

    def test_a_sign_is_good_for_one_change_only(self):
        board = Board()
        session = board.enter("a")
        good = sign(session, 10, "/look", b'{"look":"fog"}')
        accepts = board.login.signed
        self.assertEqual(accepts(session, good, "/run", b'{"look":"fog"}'), 0)
        self.assertEqual(accepts(session, good, "/look", b'{"look":"clear"}'), 0)
        self.assertEqual(accepts(session, "11" + good[2:], "/look", b'{"look":"fog"}'), 0)
        self.assertEqual(accepts(session, good, "/look", b'{"look":"fog"}'), 10)
        self.assertEqual(accepts(session, good, "/look", b'{"look":"fog"}'), 0)
        self.assertEqual(accepts(session, sign(session, 9, "/look", b"{}"), "/look", b"{}"), 0)
        self.assertEqual(accepts(session, sign(session, 1732600000000, "/look", b"{}"), "/look", b"{}"), 1732600000000)

    def test_signs_that_are_none(self):
        board = Board()
        session = board.enter("a")
        tag = sign(session, 1, "/look", b"{}").split(":")[1]
        for bad in ("", ":", "1", "1:", ":" + tag, "x:" + tag, "-1:" + tag, "1:" + tag + "00", "9" * 16 + ":" + tag):
            self.assertEqual(board.login.signed(session, bad, "/look", b"{}"), 0)


def sign(session, number, path, body):
    text = str(number)
    return text + ":" + g.to_hex(g.hmac_sha256(session.key, (text + "\n" + path + "\n").encode() + body))


class Waits(unittest.TestCase):
    def test_five_are_free_then_each_waits_twice_as_long(self):
        wait = g.Wait("a")
        found = []
        now_s = 1000
        for _ in range(14):
            wait.failed(now_s)
            found.append(wait.left_s(now_s))
            now_s += wait.left_s(now_s)
        self.assertEqual(found, [0, 0, 0, 0, 5, 10, 20, 40, 80, 160, 300, 300, 300, 300])

    def test_an_hour_without_a_wrong_try_forgives(self):
        wait = g.Wait("a")
        for _ in range(9):
            wait.failed(1000)
        wait.failed(1000 + g.FORGIVEN_S)
        self.assertTrue(wait.left_s(1000 + g.FORGIVEN_S) > 0)
        wait.failed(1001 + 2 * g.FORGIVEN_S)
        self.assertEqual(wait.failures, 1)

    def test_ten_thousand_guesses(self):
        board = Board()
        self.assertTrue(board.gets_in("owner"))
        began_s = board.app.now_s
        board.tries = 0
        hours = {}
        for n in range(10000):  # one each two seconds, from sixty addresses
            board.app.now_s += 2
            before = board.tries
            self.assertFalse(isinstance(board.enter("10.0.0.%d" % (n % 60), False), g.Session))
            hour = (board.app.now_s - began_s) // 3600
            hours[hour] = hours.get(hour, 0) + board.tries - before
            self.assertTrue(len(board.login.others) <= g.ADDRESSES)
        self.assertTrue(10 < board.tries < 100, board.tries)
        self.assertTrue(max(hours.values()) <= 30, hours)
        self.assertTrue(board.gets_in("owner"))  # his own machine never had to wait
        self.assertEqual(board.enter("new phone"), None)
        board.app.pressed_s = board.app.now_s  # he goes to the board and presses a button
        self.assertTrue(board.gets_in("new phone"))
        self.assertTrue(board.gets_in("new phone"))
        self.assertTrue(len(board.app.events.kept) <= 20)

    def test_even_from_the_owners_own_addresses_no_more_than_a_hundred_an_hour(self):
        board = Board()
        for address in ("owner", "second"):
            self.assertTrue(board.gets_in(address))
        board.tries = 0
        for n in range(3600):
            board.app.now_s += 1
            for address in ("owner", "second", "10.0.0.%d" % (n % 250)):
                board.enter(address, False)
        self.assertTrue(board.tries <= 100, board.tries)

    def test_a_press_lifts_the_strangers_wait_for_some_tries_only(self):
        board = Board()
        for n in range(30):
            board.enter("10.0.0.%d" % n, False)
        self.assertEqual(board.enter("10.0.1.1", False), None)
        board.app.pressed_s = board.app.now_s
        board.tries = 0
        for n in range(100):
            board.enter("10.0.2.%d" % n, False)
        self.assertEqual(board.tries, g.PRESS_TRIES)
        board.app.now_s += 1
        board.app.pressed_s = board.app.now_s  # pressed again
        self.assertTrue(board.gets_in("10.0.3.1"))

    def test_success_forgets_wrong_tries(self):
        board = Board()
        for _ in range(4):
            board.enter("a", False)
        self.assertTrue(board.gets_in("a"))
        for _ in range(4):
            board.enter("a", False)
        self.assertTrue(board.gets_in("a"))

    def test_the_log_tells_of_wrong_passwords_but_not_what_they_were(self):
        board = Board()
        for _ in range(5):
            board.enter("10.0.0.9", False)
        self.assertEqual(board.app.events.texts()[0], "5 wrong passwords from 10.0.0.9")


if __name__ == "__main__":
    unittest.main()
