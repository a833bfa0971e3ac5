"""The board's own side of a commissioning on a serial line: sent there as text, kept nowhere; MicroPython, CPython.

Nothing here knows the relay: the contact closes by the app's own decision in a test run that was asked for.  The app's
watchdog is armed, so that a line that falls silent opens the contact and brings the installed program back.
"""

LOOK_US = 50000
LOOKS = 18  # at the buttons in a second; the beat takes what is left


class Proving:
    """The installed app, beaten from the line; hold_pct: a wish so low that the house never asks for water."""

    def __init__(self, pins: object, clock: object, folder: str, hold_pct: float) -> None:
        from dewboard.lamp import rhythm_of
        from dewboard.start import build

        self.clock = clock
        self.rhythm_of = rhythm_of
        self.app = build(pins, clock, folder)
        self.own_wish_pct = self.app.settings.wish_pct
        self.app.settings.change({"wish_pct": hold_pct})  # in memory only

    def settings(self) -> dict:
        """The board's own, each as text."""
        from dewcore.settings import TABLE
        from dewcore.words import decimal

        found = {row[0]: decimal(getattr(self.app.settings, row[0]), 4) for row in TABLE}
        found["wish_pct"] = decimal(self.own_wish_pct, 4)
        return found

    def ask(self, seconds: int) -> None:
        """A timed test run of so many seconds; 0 ends it."""
        from dewcore.readings import REQUEST_NONE, REQUEST_TIMED_RUN

        self.app.request(REQUEST_TIMED_RUN if seconds else REQUEST_NONE, seconds)

    def second(self) -> tuple:
        """A second with its beat: `told`, and the presses (PRESS_*) in it."""
        presses = []
        hardware = self.app.hardware
        for _ in range(LOOKS):
            press = hardware.buttons()
            if press:
                presses.append(press)
                self.take(press)
            hardware.lamp(self.rhythm_of(self.app.controller.decision.refusals), self.clock.ticks_ms())
            self.clock.sleep_us(LOOK_US)
        self.app.beat()
        return told(self.app), presses

    def take(self, press: int) -> None:
        """Only the alarm button counts here; a look would teach the glass."""
        from dewcore.board import PRESS_ALARM
        from dewcore.readings import REQUEST_CLEAR

        if press == PRESS_ALARM:
            self.app.leave_safe_mode()
            self.app.request(REQUEST_CLEAR)


def told(app: object) -> tuple:
    """(contacts' states, samples as text or None, refusals, notices, valve, half waves) of the last beat."""
    from dewcore.readings import ERROR_OK
    from dewcore.words import decimal

    readings, decision = app.readings, app.controller.decision
    states = [contact.state for contact in readings.contacts]
    samples = [
        decimal(sample.value, 2) if sample.error == ERROR_OK and sample.at_s >= 0 else None
        for sample in readings.samples
    ]
    half = readings.half_wave
    return states, samples, decision.refusals, decision.notices, bool(decision.valve), half
