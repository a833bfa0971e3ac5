"""The rows of tests/reference/data/06_sensors.csv that the drivers must reproduce, read without a csv module."""

from bench import __file__ as here

PATH = here.replace("\\", "/").rsplit("/", 2)[0] + "/reference/data/06_sensors.csv"


def cells(line):
    """The cells of one line of CSV."""
    found = [""]
    quoted = False
    for character in line:
        if character == '"':
            quoted = not quoted
        elif character == "," and not quoted:
            found.append("")
        else:
            found[-1] += character
    return found


def rows():
    """A dict for each row; every row has its source."""
    with open(PATH, encoding="utf-8") as file:
        lines = file.read().strip().split("\n")
    names = cells(lines[0])
    table = [dict(zip(names, cells(line))) for line in lines[1:]]
    assert table and all(row["source"] and row["how_known"] for row in table)
    return table


def data_of(text):
    """Bytes as the table writes them: `BE EF`, `0x648C`, or the digits `31..39`."""
    if text == "(empty)":
        return b""
    if text == "31..39":
        return b"123456789"
    if text.startswith("0x"):
        text = text[2:4] + " " + text[4:]
    return bytes([int(part, 16) for part in text.replace("/", " ").split()])


def crc_rows(sensor):
    """(bytes, CRC) of one checksum's rows."""
    found = []
    for row in rows():
        if row["sensor"] == sensor and row["computed_value"].startswith("0x"):
            found.append((data_of(row["input"]), int(row["computed_value"], 16)))
    return found


def of(sensor, quantity):
    """(input, value) of the rows of one quantity, values as the table writes them."""
    wanted = [row for row in rows() if (row["sensor"], row["quantity"]) == (sensor, quantity)]
    found = [(row["input"], row["computed_value"]) for row in wanted]
    assert found, sensor + " " + quantity
    return found


def number(text):
    """The number in `25.000000 C` or `RH 50.0000 %`."""
    for part in text.split():
        if part.replace("-", "").replace(".", "").isdigit():
            return float(part)
    raise ValueError(text)


def parts(text):
    """The numbers of `25.0 C; 44.0 %; 0x93`, CRCs as integers."""
    return [int(part.split()[-1], 16) if "0x" in part else number(part) for part in text.split(";")]
