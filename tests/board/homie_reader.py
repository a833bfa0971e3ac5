"""A strict reader of one device by the Homie convention 5.0, written from its text: what is not allowed is a problem.

It sees every message as the device published it, retain flag and all.  `problems`: what is wrong; `description`: the
document; `values`, `targets`, `alerts`: what stands on the broker now; `logs`: (level, text); `states`: in order.
Of the datatypes only those are known that this device may use: integer, float, boolean, string, enum.
"""

import json
import sys

STATES = ("init", "ready", "disconnected", "sleeping", "lost")
LEVELS = ("debug", "info", "warn", "error", "fatal")
DATATYPES = ("integer", "float", "boolean", "string", "enum")
IDS = "abcdefghijklmnopqrstuvwxyz0123456789-"
DEVICE_FIELDS = {"homie": str, "version": int, "nodes": dict, "name": str, "type": str}
DEVICE_FIELDS.update({"children": list, "extensions": list})
NODE_FIELDS = {"name": str, "type": str, "properties": dict}
PROPERTY_FIELDS = {"name": str, "datatype": str, "format": str, "settable": bool, "retained": bool, "unit": str}
# the convention's own, byte for byte; others are allowed, but nobody need know them
UNITS = (
    b"\xc2\xb0C \xc2\xb0F \xc2\xb0 L gal V W kW kWh A Hz rpm % m m\xc2\xb3 ft m/s kn Pa psi ppm s min h lx K "
    b"MK\xe2\x81\xbb\xc2\xb9 #"
).split(b" ")


def is_id(text):
    return len(text) > 0 and all([letter in IDS for letter in text])


def is_integer(text):
    digits = text[1:] if text[:1] == "-" else text
    return digits.isdigit() and all(["0" <= d <= "9" for d in digits]) and -(1 << 63) <= int(text) < 1 << 63


def is_float(text):
    """Digits, one point, minus, e or E; no plus, no space, no word."""
    if not text or any([letter not in "0123456789-.eE" for letter in text]) or text.count(".") > 1:
        return False
    try:
        value = float(text)
    except ValueError:
        return False
    return value - value == 0


def limits_of(form, is_right):
    """(lowest, highest, step) of a number's format, None where open; ValueError where it is none."""
    parts = form.split(":")
    if not 2 <= len(parts) <= 3 or any([part and not is_right(part) for part in parts]):
        raise ValueError("format " + form)
    found = [float(part) if part else None for part in parts] + [None]
    if found[0] is not None and found[1] is not None and found[0] > found[1] or found[2] is not None and found[2] <= 0:
        raise ValueError("format " + form)
    return found[:3]


def value_problem(field, payload):
    """Why a payload is no value of a property; "" where it is one."""
    kind = field["datatype"]
    text = payload.decode()
    form = field.get("format", "")
    if kind == "string":
        return ""
    if kind == "boolean":
        return "" if text in ("true", "false") else "no boolean"
    if kind == "enum":
        return "" if text in form.split(",") else "not one of " + form
    is_right = is_integer if kind == "integer" else is_float
    if not is_right(text):
        return "no " + kind
    low, high, step = limits_of(form, is_right) if form else (None, None, None)
    if low is not None and float(text) < low or high is not None and float(text) > high:
        return "outside " + form
    return ""


def no_duplicates(pairs):
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a key stands twice")
    return found


def parsed(payload):
    """Strict JSON as far as the interpreter can be."""
    if sys.implementation.name == "micropython":
        return json.loads(payload.decode())
    return json.loads(payload.decode(), object_pairs_hook=no_duplicates, parse_constant=no_constant)


def no_constant(name):
    raise ValueError(name)


class Reader:
    """Of one device."""

    def __init__(self, device):
        self.base = "homie/5/" + device
        self.problems = []
        self.state = ""
        self.states = []
        self.description = None
        self.documents = []
        self.values = {}
        self.targets = {}
        self.alerts = {}
        self.logs = []
        self.untargeted = set()

    def wrong(self, topic, why):
        self.problems.append(topic + ": " + why)

    def take(self, topic, payload, is_retained):
        """One message of the device."""
        if not topic.startswith(self.base + "/"):
            return
        levels = topic[len(self.base) + 1 :].split("/")
        try:
            text = bytes(payload).decode()
        except UnicodeError:
            return self.wrong(topic, "no UTF-8")
        if text[:1] == "\ufeff":
            self.wrong(topic, "a byte order mark")
        if levels[0] == "$log":
            return self._log(topic, levels, text, is_retained)
        if levels == ["$state"]:
            self._state(topic, text, is_retained)
        elif levels == ["$description"]:
            self._describe(topic, bytes(payload), is_retained)
        elif levels[0] == "$alert":
            self._alert(topic, levels, text, is_retained)
        elif len(levels) in (2, 3) and levels[0][:1] != "$":
            self._property(topic, levels, bytes(payload), is_retained)
        else:
            self.wrong(topic, "no topic of the convention")

    def _log(self, topic, levels, text, is_retained):
        if len(levels) != 2 or levels[1] not in LEVELS or is_retained or not text:
            self.wrong(topic, "no log message")
        self.logs.append((levels[1], text))

    def _state(self, topic, text, is_retained):
        if text not in STATES and text or not is_retained:
            self.wrong(topic, "state " + text)
        if text == "ready" and self.description is None:
            self.wrong(topic, "ready without a description")
        self.state = text
        self.states.append(text)

    def _alert(self, topic, levels, text, is_retained):
        if len(levels) != 2 or not is_id(levels[1]) or not is_retained:
            self.wrong(topic, "no alert")
        if text:
            self.alerts[levels[1]] = text
        else:
            self.alerts.pop(levels[1], None)

    def _describe(self, topic, payload, is_retained):
        if self.state not in ("init", "disconnected", "lost") or not is_retained:
            self.wrong(topic, "a description while " + self.state)
        try:
            document = parsed(payload)
            self._check(document)
        except (ValueError, KeyError, TypeError) as problem:
            return self.wrong(topic, repr(problem))
        for before, old in self.documents:
            if before["version"] == document["version"] and old != payload:
                self.wrong(topic, "another description under an old version")
        self.documents.append((document, payload))
        self.description = document
        self.values = {}

    def _check(self, document):
        """The whole document; ValueError or KeyError where it is none."""
        fields(document, DEVICE_FIELDS)
        if document["homie"] != "5.0" or isinstance(document["version"], bool) or not document["name"]:
            raise ValueError("homie, version or name")
        for node in document.get("nodes", {}):
            if not is_id(node):
                raise ValueError("node " + node)
            fields(document["nodes"][node], NODE_FIELDS)
            for name in document["nodes"][node].get("properties", {}):
                field = document["nodes"][node]["properties"][name]
                fields(field, PROPERTY_FIELDS)
                self._check_property(node + "/" + name, name, field)

    def _check_property(self, path, name, field):
        kind = field["datatype"]
        form = field.get("format")
        if not is_id(name) or kind not in DATATYPES:
            raise ValueError("property " + path)
        if kind == "enum":
            names = form.split(",")
            if "" in names or len(set(names)) != len(names):
                raise ValueError("format of " + path)
        elif kind in ("integer", "float"):
            if form is not None:
                limits_of(form, is_integer if kind == "integer" else is_float)
        elif form is not None:
            raise ValueError("format of " + path)
        if "unit" in field and not field["unit"]:
            raise ValueError("unit of " + path)

    def field(self, path):
        """A property's part of the description, None where it has none."""
        node, _, name = path.partition("/")
        nodes = (self.description or {}).get("nodes", {})
        return nodes.get(node, {}).get("properties", {}).get(name)

    def _property(self, topic, levels, payload, is_retained):
        path = levels[0] + "/" + levels[1]
        field = self.field(path)
        is_target = levels[2:] == ["$target"]
        if len(levels) == 3 and not is_target:
            return self.wrong(topic, "a device publishes no " + levels[2])
        if not payload:
            (self.targets if is_target else self.values).pop(path, None)
            if field is None or is_retained:
                return None  # of a property that is gone, or has no value now
        if field is None:
            return self.wrong(topic, "not described")
        if is_retained != field.get("retained", True):
            self.wrong(topic, "retain flag")
        problem = value_problem(field, payload)
        if problem:
            self.wrong(topic, problem + ": " + repr(payload))
        if is_target:
            if path in self.untargeted:
                self.wrong(topic, "a target now, but none before the first value")
            self.targets[path] = payload
        else:
            if path not in self.targets:
                self.untargeted.add(path)
            self.values[path] = payload
        return None

    def missing(self):
        """Described properties that have no value now."""
        found = []
        for node in self.description["nodes"]:
            properties = self.description["nodes"][node]["properties"]
            for name in properties:
                if properties[name].get("retained", True) and node + "/" + name not in self.values:
                    found.append(node + "/" + name)
        return sorted(found)

    def settable(self):
        """Paths that take a /set."""
        found = []
        for node in self.description["nodes"]:
            properties = self.description["nodes"][node]["properties"]
            found += [node + "/" + name for name in properties if properties[name].get("settable")]
        return sorted(found)

    def units(self):
        """Units in use as bytes."""
        found = set()
        for node in self.description["nodes"].values():
            for field in node["properties"].values():
                if "unit" in field:
                    found.add(field["unit"].encode())
        return found


def fields(found, allowed):
    """Only known fields, each of its type; ValueError."""
    for name in found:
        if name not in allowed or not isinstance(found[name], allowed[name]):
            raise ValueError("field " + name)
