"""The minute record: one table of fields, and its packing into 16 bytes of scaled integers."""

import struct

# name, unit, struct code, scale (stored = value * scale), SenML name, SenML unit (RFC 8428 section 12.1)
# A look is SAW_FOG or SAW_CLEAR of dewcore.readings in the minute in which somebody told it, else none.
# Fields without a struct code are recomputed from the others, or known to the simulated house only; what only the
# simulated house knows has no SenML name.
FIELDS = (
    ("outdoor_c", "°C", "h", 100, "out/t", "Cel"),
    ("indoor_c", "°C", "h", 100, "in/t", "Cel"),
    ("rh_pct", "%", "H", 100, "in/rh", "%RH"),
    ("humidity_ratio", "kg/kg", "", 1000000, "in/w", "/"),
    ("glass_c", "°C", "h", 100, "glass/t", "Cel"),
    ("dew_point_c", "°C", "", 100, "in/dp", "Cel"),
    ("ceiling_pct", "%", "H", 100, "ceiling/rh", "%RH"),
    ("target_pct", "%", "H", 100, "target/rh", "%RH"),
    ("fan", "1", "B", 200, "fan/duty", "/"),
    ("valve", "1", "B", 200, "valve/duty", "/"),
    ("humidifier_kg_h", "kg/h", "", 1000, "", ""),
    ("reason", "code", "B", 1, "valve/reason", ""),
    ("look", "code", "B", 1, "glass/look", ""),
)
FORMAT = "<" + "".join([row[2] for row in FIELDS])
SIZE = struct.calcsize(FORMAT)
REASON_OPEN = 31  # `reason` while the valve is open; below it the number of the first refusal

_NONE = {"h": -32768, "H": 65535, "B": 255}
_TOP = {"h": 32767, "H": 65534, "B": 254}
_BOTTOM = {"h": -32767, "H": 0, "B": 0}


def scaled(value: "float | None", code: str, scale: int) -> int:
    """A value as a field's integer, halves away from zero, held within the field; NaN and None as 'none'."""
    if value is None or value != value:
        return _NONE[code]
    if not value * scale < _TOP[code]:
        return _TOP[code]
    if not value * scale > _BOTTOM[code]:
        return _BOTTOM[code]
    return int(value * scale + 0.5) if value >= 0 else -int(0.5 - value * scale)


def pack(values: dict) -> bytes:
    """A record's packed fields from {name: value in the table's unit}; a missing name is 'none'."""
    numbers = []
    for name, _, code, scale, _, _ in FIELDS:
        if code:
            numbers.append(scaled(values.get(name), code, scale))
    return struct.pack(FORMAT, *numbers)


def unpack(data: bytes) -> dict:
    """{name: value in the table's unit, None for 'none'} of the packed fields; ValueError at another length."""
    if len(data) != SIZE:
        raise ValueError("record: found " + str(len(data)) + " bytes, allowed " + str(SIZE))
    numbers = struct.unpack(FORMAT, data)
    values: dict = {}
    n = 0
    for name, _, code, scale, _, _ in FIELDS:
        if code:
            number = numbers[n]
            n += 1
            if number == _NONE[code]:
                values[name] = None
            else:
                values[name] = number if scale == 1 else number / scale
    return values
