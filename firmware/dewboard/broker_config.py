"""What the store "broker" holds, checked once at the start; whoever asked lets go of this module again.

    host, port 1883        a name or address; brokers with TLS use 8883
    user, password         "" for none
    device "dewmargin"     the board's id at the broker: a to z, 0 to 9, hyphens inside
    feed "dewmargin/feed"  under this topic come the outdoor readings and forecasts
    commands 0             1: settings may be changed and looks told through the broker
    logger 0               1: records are kept until a logger has committed them
    tls 0, ca ""           1: encrypted, and the broker's certificate checked against this CA's (PEM text)
    log "warn"             what goes to $log: fatal, error, warn, info or debug
    name_server ""         an address, in place of the network's own
No value of it is ever shown or published, but for what is refused here, and of that no secret.
"""

from dewboard.dns import is_name, is_numeric
from dewboard.homie import LEVELS

DEFAULTS = {
    "host": "",
    "port": 1883,
    "user": "",
    "password": "",
    "device": "dewmargin",
    "feed": "dewmargin/feed",
    "commands": 0,
    "logger": 0,
    "tls": 0,
    "ca": "",
    "log": "warn",
    "name_server": "",
}
SWITCHES = ("commands", "logger", "tls")
TEXT_CHARS = 128
NO_TLS = "tls: this board's firmware has no TLS; set tls to 0 and keep the broker on your own network"
NO_CA = "ca: none; give the certificate of the CA that signed the broker's: unchecked, TLS protects from nobody"


def full(config: dict) -> dict:
    """The configuration with every default."""
    found = dict(DEFAULTS)
    found.update(config)
    return found


def problem_of(config: dict) -> str:
    """What is wrong with a configuration, in one sentence; "" where nothing is."""
    for name in config:
        if name not in DEFAULTS:
            return name + ": no such key; allowed are " + ", ".join(sorted(DEFAULTS))
        value = config[name]
        is_text = isinstance(DEFAULTS[name], str)
        if isinstance(value, bool) or not isinstance(value, str if is_text else int):
            return name + ": another type was found; allowed is a " + ("text" if is_text else "whole number")
        if isinstance(value, str) and name != "ca" and len(value) > TEXT_CHARS:
            return name + ": too long; allowed are " + str(TEXT_CHARS) + " characters"
    found = full(config)
    for name in SWITCHES:
        if found[name] not in (0, 1):
            return name + ": found " + str(found[name]) + "; allowed are 0 and 1"
    if not 1 <= found["port"] <= 65535:
        return "port: found " + str(found["port"]) + "; allowed are 1 to 65535"
    for name, is_right, allowed in (
        ("host", is_host(found["host"]), "a name or an address like 192.0.2.7"),
        ("name_server", found["name_server"] == "" or is_numeric(found["name_server"]), "an address like 192.0.2.1"),
        ("device", is_id(found["device"]), "a to z, 0 to 9 and hyphens inside, at most 32, and not feed"),
        ("feed", is_topic(found["feed"]), "a topic without +, # and $"),
        ("log", found["log"] in LEVELS, ", ".join(LEVELS)),
    ):
        if not is_right:
            return name + ": found " + repr(found[name][:40]) + "; allowed is " + allowed
    return tls_problem(found["ca"]) if found["tls"] else ""


def is_host(text: str) -> bool:
    """Whether it is a name, or an address; nothing else made of numbers."""
    return is_numeric(text) if text.replace(".", "").isdigit() else is_name(text)


def is_id(text: str) -> bool:
    """Whether a device may be called so; `feed` is where the outdoor feed's topics are."""
    if not 0 < len(text) <= 32 or text[0] == "-" or text[-1] == "-" or text == "feed":
        return False
    for letter in text:
        if not ("a" <= letter <= "z" or "0" <= letter <= "9" or letter == "-"):
            return False
    return True


def is_topic(text: str) -> bool:
    """Whether something can be published there, and below it."""
    for letter in text:
        if letter in "+#$" or not " " < letter <= "~":
            return False
    return len(text) > 0 and text[0] != "/" and text[-1] != "/"


def tls_problem(ca: str) -> str:
    """Why there can be no TLS; "" where there can."""
    try:
        import ssl
    except ImportError:
        return NO_TLS
    if not hasattr(ssl, "SSLContext"):
        return NO_TLS
    from dewboard.tls import der_of

    return "" if der_of(ca) else NO_CA
