"""The firmware's pin table as the drawings and pages print it: pins, terminals, resistors, ratings, sums over them."""

from dewcore.words import decimal


class Firmware:
    """One pin table: the module dewboard.pin_table, or another shaped like it."""

    def __init__(self, table: object) -> None:
        self.table = table
        self.rows = {row[0]: dict(zip(table.COLUMNS, row, strict=True)) for row in table.TABLE}

    def pin(self, net: str) -> str:
        """GP12, or GP4 and GP5."""
        pins = self.rows[net]["pin"]
        return " and ".join(f"GP{n}" for n in (pins if isinstance(pins, tuple) else (pins,)))

    def ohms(self, name: str) -> str:
        """A named resistance of the table: 4.7 kohm."""
        return self.table.ohms(getattr(self.table, name))

    def amount(self, name: str) -> str:
        """A named value of the table, as short as it goes: 30, 0.5."""
        value = getattr(self.table, name)
        return decimal(value, 0 if value == int(value) else 1)

    def live(self) -> str:
        """The window of a live terminal: 20 to 30 VAC."""
        lowest, _, highest = self.table.LIVE_VAC
        return f"{decimal(lowest, 0)} to {decimal(highest, 0)} VAC"

    def dead(self) -> str:
        """What a dead terminal may still read."""
        return f"below {self.amount('MUST_OFF_VAC')} VAC"

    def contact(self) -> str:
        """What K1's contact is rated for at least: 2 A at 30 VAC."""
        return f"{self.amount('CONTACT_A')} A at {self.amount('SURVIVES_VAC')} VAC"

    def addresses(self) -> list:
        """(address, chip, samples) of each chip on the I2C bus."""
        return [(f"0x{number:02x}", chip, samples) for number, chip, samples in self.table.I2C_ADDRESSES]

    def sense_ma(self) -> str:
        """Current that an AC sense takes at the usual volts [mA]: the series resistor alone, at most."""
        return decimal(1000.0 * self.table.LIVE_VAC[1] / self.table.SERIES_OHM, 1)

    def leak_ma(self) -> str:
        """Leakage that an AC sense may get while it has to be off [mA]: must-off volts over its resistors."""
        return decimal(1000.0 * self.table.MUST_OFF_VAC / (self.table.SERIES_OHM + self.table.SHUNT_OHM), 2)

    def loop_ma(self) -> str:
        """Current through a closed dry contact [mA]."""
        return decimal(1000.0 * 3.3 / (self.table.PULL_UP_OHM + self.table.LOOP_OHM), 2)

    def dry_v(self) -> str:
        """Volts on a dry probe's wire while it is measured [V]."""
        return decimal(3.3 * self.table.END_OHM / (self.table.END_OHM + self.table.PROBE_OHM), 2)


def shipped() -> Firmware:
    """The table as the firmware has it."""
    from dewboard import pin_table

    return Firmware(pin_table)
