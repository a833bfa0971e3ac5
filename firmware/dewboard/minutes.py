"""Each minute's record: what the last beats saw, means of on and off, handed to the history."""

from dewcore.readings import INDOOR, NOT_FITTED, ON, OUTDOOR_READ, RH, SAW_NOTHING
from dewcore.record import REASON_OPEN, pack
from dewcore.words import first_bit

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App

MINUTE_S = 60


class Minutes:
    """Counts beats with fan and open valve; a record ends its minute."""

    __slots__ = ("ends_s", "beats", "fan", "valve", "look", "values")

    def __init__(self, now_s: int) -> None:
        self.ends_s: int = now_s + MINUTE_S
        self.beats: int = 0
        self.fan: int = 0
        self.valve: int = 0
        self.look: int = SAW_NOTHING
        self.values: dict = {}

    def beat(self, app: "App", is_open: bool) -> None:
        """One second more."""
        self.beats += 1
        if app.readings.fan.state == ON:
            self.fan += 1
        if is_open:
            self.valve += 1
        if app.now_s >= self.ends_s:
            app.history.add(self._record(app), app.utc_s(), app.now_s)
            self.beats = self.fan = self.valve = 0
            self.look = SAW_NOTHING
            self.ends_s = app.now_s + MINUTE_S

    def _record(self, app: "App") -> bytes:
        """The record of the minute that ends now; what is not known or not trusted is none."""
        controller = app.controller
        inputs = controller.judge.inputs
        d = controller.decision
        values = self.values
        values["outdoor_c"] = inputs.outdoor_c if inputs.outdoor_basis == OUTDOOR_READ else None
        values["indoor_c"] = inputs.indoor_c if inputs.trusted & (1 << INDOOR) else None
        values["rh_pct"] = inputs.rh_pct if inputs.trusted & (1 << RH) else None
        values["glass_c"] = d.coldest_c
        values["ceiling_pct"] = d.ceiling_pct
        values["target_pct"] = d.target_pct
        values["fan"] = None if app.readings.fan.state == NOT_FITTED else self.fan / self.beats
        values["valve"] = self.valve / self.beats
        values["reason"] = first_bit(d.refusals) if d.refusals else REASON_OPEN
        values["look"] = None if self.look == SAW_NOTHING else self.look
        return pack(values)
