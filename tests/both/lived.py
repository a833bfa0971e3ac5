"""A rig that is lived in: a small house with air, furnace and pad around the controller, days in seconds."""

from rig import Rig

from dewcore import readings as r
from dewcore.psychro import sat_water_pa

STEP_S = 300  # the longest that the house learns from
NOON_S = 1700006400 + 43200


class Lived(Rig):
    """20 °C indoors, furnace on for 40 minutes of the hour, drying 0.3 1/h, a gain, a humidifier of 1 g/kg/h.

    water: share of its strength, also with the valve shut where leaks; gain_g_kg_h; reads_low_pct: the RH sensor's
    error; warm: whether the main sensor hangs in the supply air; heats: minutes of each hour.
    """

    def __init__(self, changes=None):
        Rig.__init__(self, changes)
        self.readings.utc_s = NOON_S
        self.ticks = True
        self.w = 5.0
        self.outdoor_g_kg = 0.9
        self.gain_g_kg_h = 0.5
        self.water = 1.0
        self.leaks = False
        self.reads_low_pct = 0.0
        self.room_low_pct = 0.0
        self.warm = False
        self.heats = 40
        self.minute = 0
        self.values["outdoor_c"] = -8.0

    def knows(self, **learned):
        """As if it had learned for 300 hours; learned: attributes of `doubts`; self."""
        self.controller.outlook.house.hours = 300
        for name in learned:
            setattr(self.controller.outlook.doubts, name, learned[name])
        return self

    def live(self, days):
        """So many days; self."""
        for _ in range(int(days * 86400 / STEP_S)):
            self.minute = (self.minute + STEP_S // 60) % 60
            heats = self.minute < self.heats
            for name in ("fan", "heat_call", "line_sense"):
                self.contact(name, r.ON if heats else r.OFF)
            flows = heats and (self.decision.valve or self.leaks)
            added = self.gain_g_kg_h + (self.water if flows else 0.0)
            self.w += STEP_S / 3600.0 * (0.3 * (self.outdoor_g_kg - self.w) + added)
            indoor_c = 20.0 + (min(8.0, 0.55 * self.minute) if self.warm and heats else 0.01 * self.minute)
            rh_pct = 100.0 * 101325.0 * self.w / (622.0 + self.w) / sat_water_pa(indoor_c)
            self.values["indoor_c"] = indoor_c
            self.values["room_rh_pct"] = rh_pct - self.room_low_pct
            self.values["rh_pct"] = rh_pct - self.reads_low_pct
            if self.settings.has_drain_wet:
                self.contact("drain_wet", r.ON if self.decision.valve and heats else r.OFF)
            self.scan(STEP_S)
        return self


