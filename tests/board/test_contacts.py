"""AC senses by their pulses at every phase and voltage, loops, wires with a resistor, debounce; the buttons."""

import unittest

from bench import Bench

from dewboard import contacts as c
from dewboard.pin_table import MUST_OFF_VAC, MUST_ON_VAC, SURVIVES_VAC, dark_gap_ms
from dewcore import board as b
from dewcore.readings import NOT_FITTED, OFF, ON, UNREADABLE

ALL_ON = (ON, ON, ON, OFF)  # fan, heat_call, line_sense, load_sense of a furnace that runs
HALF_LINE, HALF_LOAD, HALF_FAN, HALF_HEAT = 1, 2, 4, 8


class TestPulses(unittest.TestCase):
    def setUp(self):
        self.bench = Bench()
        self.board = self.bench.board

    def at_every_phase(self, expected, half_wave=0, phases=40):
        """Two beats at each of so many phases of the mains end in the expected states."""
        for n in range(phases):
            self.board.advance_us(20923 // phases)  # no part of 16.7 or 20 ms
            self.bench.beat(2)
            self.assertEqual(self.bench.states(), expected)
            self.assertEqual(self.bench.readings.half_wave, half_wave)

    def test_on_from_16_to_30_volts_at_50_and_60_hertz(self):
        self.bench.furnace()
        for hz in (50, 60):
            self.board.mains_hz = hz
            for vac in (MUST_ON_VAC, 24.0, SURVIVES_VAC):
                for part in (0, 1, 2):
                    self.board.sense_part = part
                    self.board.terminal_vac = vac
                    self.at_every_phase(ALL_ON, 0, 20)

    def test_also_where_every_read_takes_a_tenth_longer(self):
        self.bench.furnace()
        contacts = self.bench.hardware.contacts
        sleep_us = contacts.sleep_us
        contacts.sleep_us = lambda us: sleep_us(us + 100)
        for hz in (50, 60):
            self.board.mains_hz = hz
            for half_wave, bits in ((), 0), (("line", "fan", "heat"), HALF_LINE | HALF_FAN | HALF_HEAT):
                self.board.half_wave = half_wave
                self.at_every_phase(ALL_ON, bits)

    def test_off_at_none_and_at_5_volts(self):
        for hz in (50, 60):
            self.board.mains_hz = hz
            for vac in (0.0, 2.0, MUST_OFF_VAC):
                self.board.stray_vac = vac
                for part in (0, 1, 2):
                    self.board.sense_part = part
                    self.at_every_phase((OFF, OFF, OFF, OFF), 0, 10)
        self.board.terminal_vac = MUST_OFF_VAC
        self.bench.furnace()
        self.at_every_phase((OFF, OFF, OFF, OFF))

    def test_half_a_wave_is_on_and_noticed(self):
        self.bench.furnace()
        names = (("line", HALF_LINE), ("fan", HALF_FAN), ("heat", HALF_HEAT))
        for hz in (50, 60):
            self.board.mains_hz = hz
            for name, bit in names:
                self.board.half_wave = (name,)
                self.at_every_phase(ALL_ON, bit)
        self.board.half_wave = ("line", "fan", "heat", "load")
        self.at_every_phase(ALL_ON, HALF_LINE | HALF_FAN | HALF_HEAT)
        self.board.half_wave = ()
        self.bench.beat()
        self.assertEqual(self.bench.readings.half_wave, 0)

    def test_steady_current_and_broken_pulses_cannot_be_read(self):
        self.bench.furnace()
        self.board.stuck_lit = ("fan", "heat", "line", "load")
        self.at_every_phase((UNREADABLE, UNREADABLE, UNREADABLE, UNREADABLE))
        for n in range(4):
            self.board.stuck_lit = (("fan", "heat", "line", "load")[n],)
            self.bench.beat(3)
            self.assertEqual([state == UNREADABLE for state in self.bench.states()], [m == n for m in range(4)])
        self.board.stuck_lit = ()
        self.board.chatter = ("fan", "heat", "line", "load")
        seen = set()
        for n in range(40):
            self.board.advance_us(523)
            self.bench.beat()
            seen.add(self.bench.readings.fan.state)
        self.assertTrue(UNREADABLE in seen)

    def test_what_each_count_of_changes_means(self):
        contacts = self.bench.hardware.contacts
        expected = [OFF] + [UNREADABLE] * 3 + [ON] * 4 + [UNREADABLE] + [ON] * 6 + [UNREADABLE] * 35
        for count in range(50):
            for n in range(4):
                contacts.half_wave = 0
                contacts.changes[n] = count
                self.assertEqual(contacts._ac(n), expected[count])
                self.assertEqual(contacts.half_wave, 1 << n if 4 <= count <= 7 else 0)
        contacts.changes[0] = -1
        self.assertEqual(contacts._ac(0), UNREADABLE)

    def test_half_a_wave_behind_the_contact(self):
        self.bench.furnace()
        self.board.half_wave = ("load",)
        self.bench.beat(3, True)
        self.assertEqual(self.bench.states(), (ON, ON, ON, ON))
        self.assertEqual(self.bench.readings.half_wave, HALF_LOAD)

    def test_each_sense_is_its_own(self):
        for name, place in (("fan_running", 0), ("heat_call", 1), ("terminal_live", 2)):
            setattr(self.board, name, True)
            self.bench.beat(2)
            self.assertEqual(self.bench.states(), tuple([ON if n == place else OFF for n in range(4)]))
            setattr(self.board, name, False)
        self.board.terminal_live = True
        self.bench.beat(2, True)
        self.bench.beat(2)
        self.assertEqual(self.bench.states(), (OFF, OFF, ON, ON))

    def test_the_relay_is_read_back(self):
        self.bench.furnace()
        self.bench.beat(3, True)
        self.assertEqual(self.bench.readings.load_sense.state, ON)
        self.bench.beat(3, False)
        self.assertEqual(self.bench.readings.load_sense.state, OFF)
        self.board.relay_fault = "welded"
        self.bench.beat(2, False)
        self.assertEqual(self.bench.readings.load_sense.state, ON)
        for fault in ("failed", "driver"):
            self.board.relay_fault = fault
            self.bench.beat(3, True)
            self.assertEqual(self.bench.readings.load_sense.state, OFF)
        self.board.dial_bridges = True
        self.bench.beat(2, False)
        self.assertEqual(self.bench.readings.load_sense.state, ON)

    def test_the_dark_gap_is_wider_than_the_step_of_the_reads(self):
        for part in (0, 1, 2):
            for hz in (50.0, 60.0):
                for vac in (MUST_ON_VAC, 24.0, SURVIVES_VAC):
                    gap_ms = dark_gap_ms(vac, hz, part)
                    self.assertTrue(1.2 < gap_ms < 0.55 * 500.0 / hz + 0.5)

    def test_the_sample_is_bounded(self):
        self.bench.furnace()
        began_us = self.board.us
        self.bench.hardware.contacts.read(self.bench.readings, 0)
        self.assertTrue(49000 <= self.board.us - began_us <= 51000)


class TestDebounce(unittest.TestCase):
    def setUp(self):
        self.bench = Bench()
        self.board = self.bench.board
        self.bench.furnace()
        self.bench.beat(3)
        self.assertEqual(self.bench.states(), ALL_ON)

    def beats_until(self, name, state):
        """How many beats pass until the contact has that state."""
        contact = getattr(self.bench.readings, name)
        for n in range(1, 6):
            self.bench.beat()
            if contact.state == state:
                return n
        return 0

    def test_nothing_is_on_in_the_first_beat_of_a_boot(self):
        bench = Bench()
        bench.furnace()
        bench.beat()
        r = bench.readings
        for contact in (r.fan, r.heat_call, r.line_sense, r.load_sense, r.off_switch, r.leak):
            self.assertTrue(contact.state != ON)
        bench.beat()
        self.assertEqual(bench.states(), ALL_ON)

    def test_fan_and_line_are_off_at_once_and_on_after_two_beats(self):
        for name, setting in (("fan", "fan_running"), ("line_sense", "terminal_live")):
            setattr(self.board, setting, False)
            self.assertEqual(self.beats_until(name, OFF), 1)
            setattr(self.board, setting, True)
            self.assertEqual(self.beats_until(name, ON), 2)
            self.board.stuck_lit = ("fan", "line")
            self.assertEqual(self.beats_until(name, UNREADABLE), 1)
            self.board.stuck_lit = ()
            self.assertEqual(self.beats_until(name, ON), 2)

    def test_heat_call_and_load_take_two_beats_either_way(self):
        self.board.heat_call = False
        self.assertEqual(self.beats_until("heat_call", OFF), 2)
        self.board.heat_call = True
        self.assertEqual(self.beats_until("heat_call", ON), 2)
        self.board.relay_fault = "welded"
        self.assertEqual(self.beats_until("load_sense", ON), 2)
        self.board.relay_fault = ""
        self.assertEqual(self.beats_until("load_sense", OFF), 2)

    def test_a_glitch_of_one_beat_moves_no_slow_contact(self):
        self.board.heat_call = False
        self.bench.beat()
        self.board.heat_call = True
        self.bench.beat(2)
        self.assertEqual(self.bench.readings.heat_call.state, ON)
        self.assertEqual(self.bench.readings.heat_call.since_s, 1)

    def test_since_tells_when_it_changed(self):
        self.board.fan_running = False
        self.bench.beat()
        now_s = self.bench.clock.now_s() - 1
        self.assertEqual(self.bench.readings.fan.since_s, now_s)
        self.bench.beat(4)
        self.assertEqual(self.bench.readings.fan.since_s, now_s)

    def test_a_bouncing_fan_is_never_on_while_it_bounces(self):
        for n in range(20):
            self.board.fan_running = n % 2 == 0
            self.bench.beat()
            self.assertTrue(n == 0 or self.bench.readings.fan.state != ON)

    def test_loops_open_is_the_safe_side(self):
        for name, at_once in (("overflow", 1), ("off_switch", 1), ("absent", 2)):
            contact = getattr(self.bench.readings, name)
            self.assertEqual(contact.state, OFF)
            setattr(self.board, name, True)
            self.assertEqual(self.beats_until(name, ON), at_once)
            self.bench.beat(2)
            r = self.bench.readings
            self.assertEqual([r.overflow.state, r.off_switch.state, r.absent.state].count(ON), 1)
            setattr(self.board, name, False)
            self.assertEqual(self.beats_until(name, OFF), 2)

    def test_a_loop_that_differs_within_the_sample_tells_nothing(self):
        contacts = self.bench.hardware.contacts
        levels = [0, 1] * 4
        contacts.overflow = lambda: levels.pop()
        self.bench.beat(4)
        self.assertEqual(self.bench.readings.overflow.state, OFF)
        contacts.overflow = lambda: 1
        self.assertEqual(self.beats_until("overflow", ON), 1)
        levels = [0, 1] * 4
        contacts.overflow = lambda: levels.pop()
        self.bench.beat(4)
        self.assertEqual(self.bench.readings.overflow.state, ON)

    def test_what_is_not_fitted_says_so_whatever_the_wires_do(self):
        bare = {name: 0 for name in ("has_heat_call", "has_leak", "has_overflow", "has_line_sense", "has_load_sense")}
        bare.update({"has_drain_wet": 0, "has_off_switch": 0, "has_absent": 0})
        self.bench.settings.change(bare)
        self.bench.beat()
        for contact in self.bench.readings.contacts[1:]:
            self.assertEqual(contact.state, NOT_FITTED)
        self.assertEqual(self.bench.readings.fan.state, ON)
        self.bench.settings.change({"has_heat_call": 1})
        self.assertEqual(self.beats_until("heat_call", ON), 2)


class TestWires(unittest.TestCase):
    STATES = (("open", UNREADABLE), ("dry", OFF), ("wet", ON), ("short", UNREADABLE), ("live", UNREADABLE))

    def setUp(self):
        self.bench = Bench()
        self.bench.beat(3)

    def test_leak_counts_at_once_and_dry_after_two_beats(self):
        leak = self.bench.readings.leak
        self.assertEqual(leak.state, OFF)
        for condition, state in self.STATES:
            if condition != "dry":
                self.bench.board.leak = condition
                self.bench.beat()
                self.assertEqual(leak.state, state)
                self.bench.board.leak = "dry"
                self.bench.beat()
                self.assertEqual(leak.state, state)
                self.bench.beat()
                self.assertEqual(leak.state, OFF)

    def test_drain_takes_two_beats(self):
        drain = self.bench.readings.drain_wet
        for condition, state in self.STATES:
            self.bench.board.drain = condition
            self.bench.beat(2)
            self.assertEqual(drain.state, state)
        self.assertEqual(self.bench.readings.leak.state, OFF)

    def test_one_wild_read_of_three_latches_nothing(self):
        for wild in range(3):
            levels = [32768] * 3
            levels[wild] = 3000
            self.assertEqual(c._probe(levels.pop, 0), OFF)
        self.assertEqual(c._probe([3000, 3000, 32768].pop, 0), ON)

    def test_the_limits_between_the_states(self):
        limits = (
            (65535, UNREADABLE),
            (c.BROKEN_ABOVE + 1, UNREADABLE),
            (c.BROKEN_ABOVE, OFF),
            (c.DRY_ABOVE + 1, OFF),
            (c.DRY_ABOVE, ON),
            (c.WET_ABOVE, ON),
            (c.WET_ABOVE - 1, UNREADABLE),
            (0, UNREADABLE),
        )
        for level, state in limits:
            self.assertEqual(c._probe(lambda: level, 0), state)
        self.assertEqual(c._probe(lambda: 32768, c.FOREIGN_ABOVE + 1), UNREADABLE)
        self.assertEqual(c._probe(lambda: 32768, c.FOREIGN_ABOVE), OFF)

    def test_the_wires_carry_current_only_while_they_are_read(self):
        self.assertFalse(self.bench.board.probe_driven)
        driven = []
        contacts = self.bench.hardware.contacts
        sleep_us = contacts.sleep_us

        def watch(us):
            driven.append(self.bench.board.probe_driven)
            sleep_us(us)

        contacts.sleep_us = watch
        self.bench.beat()
        self.assertEqual(driven, [True] * 49)
        self.assertFalse(self.bench.board.probe_driven)


class TestButtons(unittest.TestCase):
    def setUp(self):
        self.bench = Bench()
        self.board = self.bench.board
        self.events(200)

    def events(self, ms, step_ms=50):
        """What the buttons tell within so many milliseconds."""
        found = []
        for _ in range(ms // step_ms):
            self.board.advance_us(1000 * step_ms)
            self.bench.hardware.feed()
            event = self.bench.hardware.buttons()
            if event != b.PRESS_NONE:
                found.append(event)
        return found

    def press(self, ms, look=False, alarm=False):
        """Hold for ms, let go, wait; what it told."""
        self.board.look_pressed = look
        self.board.alarm_pressed = alarm
        found = self.events(ms)
        self.board.look_pressed = False
        self.board.alarm_pressed = False
        return found + self.events(300)

    def test_presses_by_their_length(self):
        self.assertEqual(self.press(150, look=True), [b.PRESS_LOOK_SHORT])
        self.assertEqual(self.press(1400, look=True), [b.PRESS_LOOK_SHORT])
        self.assertEqual(self.press(1600, look=True), [b.PRESS_LOOK_LONG])
        self.assertEqual(self.press(5000, look=True), [b.PRESS_LOOK_LONG])
        self.assertEqual(self.press(2900, alarm=True), [])
        self.assertEqual(self.press(3200, alarm=True), [b.PRESS_ALARM])
        self.assertEqual(self.press(20000, alarm=True), [b.PRESS_ALARM])
        self.assertEqual(self.press(9800, look=True, alarm=True), [])
        self.assertEqual(self.press(10300, look=True, alarm=True), [b.PRESS_BOTH])
        self.assertEqual(self.press(20000, look=True, alarm=True), [b.PRESS_BOTH])

    def test_over_the_wrap_of_the_counter(self):
        self.events(3500)
        self.assertEqual(self.press(3300, alarm=True), [b.PRESS_ALARM])  # from before it to after it
        self.assertEqual(self.board.ticks_ms() < 10000, True)

    def test_both_after_one_another_are_one_press(self):
        self.board.alarm_pressed = True
        self.assertEqual(self.events(1000), [])
        self.board.look_pressed = True
        self.assertEqual(self.events(9500), [])
        self.assertEqual(self.events(1000), [b.PRESS_BOTH])
        self.board.alarm_pressed = False
        self.assertEqual(self.events(2000), [])
        self.board.look_pressed = False
        self.assertEqual(self.events(1000), [])
        self.assertEqual(self.press(150, look=True), [b.PRESS_LOOK_SHORT])

    def test_what_began_as_both_never_ends_as_one(self):
        self.board.alarm_pressed = True
        self.assertEqual(self.events(500), [])
        self.board.look_pressed = True
        self.assertEqual(self.events(500), [])
        self.board.look_pressed = False
        self.assertEqual(self.events(8000), [])
        self.board.alarm_pressed = False
        self.assertEqual(self.events(300), [])
        self.board.look_pressed = True
        self.events(300)
        self.board.alarm_pressed = True
        self.events(300)
        self.board.alarm_pressed = False
        self.events(300)
        self.board.look_pressed = False
        self.assertEqual(self.events(300), [])

    def test_a_bounce_is_no_press(self):
        for n in range(20):
            self.board.look_pressed = n % 2 == 0
            self.assertEqual(self.events(50), [])
        self.board.look_pressed = False
        self.assertEqual(self.events(300), [])

    def test_a_short_circuit_is_no_finger(self):
        self.assertEqual(self.press(31000, look=True), [])
        self.assertEqual(self.press(150, look=True), [b.PRESS_LOOK_SHORT])

    def test_held_at_boot_counts_only_after_it_was_let_go(self):
        for button in ("look_pressed", "alarm_pressed"):
            bench = self.bench = Bench()
            self.board = bench.board
            setattr(self.board, button, True)
            self.assertEqual(self.events(8000), [])
            setattr(self.board, button, False)
            self.assertEqual(self.events(300), [])
            self.assertEqual(self.press(3200, alarm=True), [b.PRESS_ALARM])


if __name__ == "__main__":
    unittest.main()
