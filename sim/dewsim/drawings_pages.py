"""The Markdown pages of hw_docs: what stands between two markers is filled in from the tables, the rest is prose.

A value within a line is `<!--=relay.pin-->GP2<!--/-->`, a table `<!--table nets--> ... <!--/table-->`.
"""

import re

from dewboard.lamp import RHYTHMS
from dewcore import board, permit, timed_run, valve, words
from dewcore.settings import TABLE as SETTINGS
from dewcore.words import decimal
from dewsim.circuit import FUSE_LOAD
from dewsim.drawings_list import example, parts
from dewsim.drawings_states import matrix
from dewsim.drawings_table import Firmware
from dewsim.errors import InputError

INLINE = re.compile(r"<!--=([\w.]+)-->(.*?)<!--/-->", re.DOTALL)
BLOCK = re.compile(r"<!--table (\w+)-->(.*?)<!--/table-->", re.DOTALL)
ANY = re.compile(r"<!--.*?-->", re.DOTALL)
LAMPS = (
    (board.LAMP_OPEN, "the valve is open: water runs"),
    (board.LAMP_WAITING, "dry enough to humidify, but heat, fan, line or a timer is awaited"),
    (board.LAMP_HUMID, "as humid as it may be"),
    (board.LAMP_OFF, "switched off by owner, selector, absence or season"),
    (board.LAMP_FAULT, "fault: a reading or a wire cannot be trusted"),
    (board.LAMP_ALARM, "alarm: somebody has to come"),
)


def sentences() -> dict:
    """Every status sentence by its code, most important first."""
    return dict(words.REFUSALS) | {words.OPEN_NAME: words.OPEN_SENTENCE} | dict(words.NOTICES)


def values(fw: Firmware) -> dict:
    """What an inline marker may ask for."""
    found = {
        "live": fw.live(),
        "dead": fw.dead(),
        "sense_ma": fw.sense_ma() + " mA",
        "leak_ma": fw.leak_ma() + " mA",
        "contact": fw.contact(),
        "must_off": fw.amount("MUST_OFF_VAC") + " VAC",
        "must_on": fw.amount("MUST_ON_VAC") + " VAC",
        "closed": f"below {fw.amount('CLOSED_VAC')} VAC",
        "lead_fuse": fw.amount("LEAD_FUSE_A") + " A",
        "gap": fw.amount("GAP_MM") + " mm",
        "fuse_load": f"{FUSE_LOAD:g}",
        "example.branch": f"{example(fw)[0]} mA",
        "example.fuse": f"{example(fw)[1]} mA",
    }
    for net, row in fw.rows.items():
        found[net + ".pin"] = fw.pin(net)
        found[net + ".terminal"] = row["terminal"]
        found[net + ".expected"] = row["expected"]
    for name in vars(fw.table):
        if name.endswith("_OHM"):
            found[name] = fw.ohms(name)
    for n, (address, _, _) in enumerate(fw.addresses()):
        found[f"address.{n}"] = address
    return found | {"says." + name: text for name, text in sentences().items()} | _times() | _defaults()


def _times() -> dict:
    """Waiting times of the decision, as minutes or seconds."""
    return {
        "weld_test": f"{valve.WELD_TEST_S} s",
        "feedback": f"{valve.FEEDBACK_S} s",
        "weld": f"{valve.WELD_S} s",
        "fan_steady": f"{permit.FAN_STEADY_S} s",
        "supply_rise": f"{decimal(permit.SUPPLY_RISE_K, 0)} K ({decimal(permit.SUPPLY_RISE_K * 1.8, 0)} °F)",
        "supply_rise_time": f"{permit.SUPPLY_RISE_S // 60} minutes",
        "drain_dry": f"{permit.DRAIN_DRY_S // 60} minutes",
        "drain_runs": f"{permit.DRAIN_RUNS_S // 60} minutes",
        "run_most": f"{timed_run.LONGEST_S // 60} minutes",
    }


def _defaults() -> dict:
    """Defaults of the settings."""
    return {"default." + row[0]: str(row[2]) for row in SETTINGS}


def tables(fw: Firmware) -> dict:
    """What a block marker may ask for: rows of cells, the heading first."""
    return {
        "volts_default": matrix(fw, True),
        "volts_no_terminal": matrix(fw, False),
        "volts_board": _expected(fw),
        "nets": _nets(fw),
        "parts": [("ref", "part", "rating", "why")] + parts(fw),
        "addresses": [("address", "chip", "what it fills")] + fw.addresses(),
        "lamp": _lamp(),
    }


def _expected(fw: Firmware) -> list:
    rows = [("net", "terminal", "pin", "what to expect")]
    return rows + [(net, row["terminal"], fw.pin(net), row["expected"]) for net, row in fw.rows.items()]


def _nets(fw: Firmware) -> list:
    columns = ("net", "domain", "pin", "at_reset", "pull", "active", "must_off", "must_on", "survives")
    columns += ("pulses_per_s", "resistor_w", "isolation", "fuse", "terminal")
    rows = [tuple(name.replace("_", " ") for name in columns)]
    return rows + [tuple(fw.pin(net) if c == "pin" else row[c] for c in columns) for net, row in fw.rows.items()]


def _lamp() -> list:
    rows = [("seconds lit / dark", "what it says")]
    for number, text in LAMPS:
        steps = [decimal(ms / 1000.0, 2) for ms in RHYTHMS[number]]
        pairs = [f"{lit} / {dark}" for lit, dark in zip(steps[::2], steps[1::2], strict=True)]
        rows.append((", ".join(pairs), text))
    return rows


def as_markdown(rows: list) -> str:
    """Rows of cells as a Markdown table."""
    lines = ["| " + " | ".join(cell.replace("|", "/") for cell in row) + " |" for row in rows]
    return "\n".join([lines[0], "|" + "---|" * len(rows[0]), *lines[1:]]) + "\n"


def fill(text: str, fw: Firmware, place: str) -> str:
    """A page with everything between markers put in anew; InputError for a marker that nothing fills."""
    known, blocks = values(fw), tables(fw)
    counted = len(INLINE.findall(text)) * 2 + len(BLOCK.findall(text)) * 2
    markers = ANY.findall(text)
    if counted != len(markers):
        raise InputError(f"{place}: {len(markers)} markers of which {counted} make pairs; give each its end")

    def value(match: re.Match) -> str:
        if match[1] not in known:
            raise InputError(f"{place}: marker {match[1]}: nothing has that name; see values() in drawings_pages.py")
        return f"<!--={match[1]}-->{known[match[1]]}<!--/-->"

    def block(match: re.Match) -> str:
        if match[1] not in blocks:
            raise InputError(f"{place}: table {match[1]}: allowed {', '.join(blocks)}; correct the marker")
        return f"<!--table {match[1]}-->\n{as_markdown(blocks[match[1]])}<!--/table-->"

    return BLOCK.sub(block, INLINE.sub(value, text))
