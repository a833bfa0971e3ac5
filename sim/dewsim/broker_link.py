"""The way to a broker: its address, user, password and certificates from the command line, and a paho client for it."""

import hashlib
import random
import socket
import ssl
import sys
from typing import NamedTuple
from urllib.parse import urlsplit

from dewsim.errors import InputError, shown
from dewsim.files import contents

PORTS = {"mqtt": 1883, "mqtts": 8883}
LONGEST_PASSWORD = 1000
CONNECT_S = 10.0
KEEP_ALIVE_S = 60
FIRST_WAIT_S = 1.0
LONGEST_WAIT_S = 60.0
REFUSED = {  # MQTT 3.1.1, section 3.2.2.3; paho gives the codes of MQTT 5
    134: "wrong user or password",
    135: "not authorized",
}


class Broker(NamedTuple):
    """Where and as whom; ca: a file of certificates for mqtts, empty for the system's."""

    host: str
    port: int
    is_tls: bool
    user: str
    password: str
    ca: str

    def name(self) -> str:
        """For messages."""
        return f"{self.host}:{self.port}"


def broker_of(address: str, user: str, password_file: str, ca: str) -> Broker:
    """The broker that the options name; InputError."""
    place = f"--broker {shown(address)}"
    try:
        parts = urlsplit(address)
        port = parts.port
    except ValueError:
        raise InputError(f"{place}: found no usable address; write it so: mqtt://HOST:PORT") from None
    if parts.scheme not in PORTS or not parts.hostname or parts.path not in ("", "/") or parts.query or parts.fragment:
        raise InputError(f"{place}: allowed is mqtt://HOST[:PORT] or mqtts://HOST[:PORT]; write it so")
    if parts.username is not None or parts.password is not None:
        raise InputError(
            f"--broker mqtt://…@{shown(parts.hostname)}: a password there can be read by all users of this machine; "
            "give --user and --password-file"
        )
    if (user == "") != (password_file == ""):
        raise InputError("--user: found it without --password-file, or that without it; give both or leave both out")
    if ca and parts.scheme != "mqtts":
        raise InputError("--ca: only with mqtts://; leave it out, or write mqtts:// before the host")
    password = password_of(password_file) if password_file else ""
    return Broker(parts.hostname, port or PORTS[parts.scheme], parts.scheme == "mqtts", user, password, ca)


def password_of(path: str) -> str:
    """The first line of a password file."""
    data = contents(path, LONGEST_PASSWORD, "a file with a password in its first line")
    try:
        lines = data.decode("utf-8").splitlines()
    except UnicodeDecodeError:
        lines = []
    if not lines or not lines[0] or len(data) > LONGEST_PASSWORD:
        raise InputError(f"--password-file {shown(path)}: found no password in its first line; correct it")
    return lines[0]


def client_for(broker: Broker, name: str, place: str, is_clean: bool, has_manual_ack: bool = False):
    """A paho client that is not connected yet; its id is `name` and a digest of this machine and `place`."""
    try:
        from paho.mqtt import client as paho
    except ImportError:
        raise InputError(
            "paho-mqtt: is not installed; get it with: python -m pip install 'paho-mqtt>=2.1,<3'"
        ) from None
    digest = hashlib.sha256(f"{socket.gethostname()} {place}".encode()).hexdigest()[:8]
    client = paho.Client(
        paho.CallbackAPIVersion.VERSION2,
        client_id=f"dewmargin-{name}-{digest}",
        clean_session=is_clean,
        protocol=paho.MQTTv311,
        manual_ack=has_manual_ack,
    )
    client.connect_timeout = CONNECT_S
    if broker.user:
        client.username_pw_set(broker.user, broker.password)
    if broker.is_tls:
        try:
            client.tls_set(ca_certs=broker.ca or None)
        except (OSError, ssl.SSLError) as error:
            raise InputError(f"--ca {shown(broker.ca)}: not usable ({error}); give a file of certificates") from None
    return client


def refusal(code: object) -> str:
    """Why a broker refused, in words; empty where it did not."""
    if not code.is_failure:
        return ""
    return REFUSED.get(code.value, str(code).lower())


def wait_s(failures: int) -> float:
    """How long to wait before the next attempt, after so many failures in a row: doubling, with jitter."""
    longest = min(LONGEST_WAIT_S, FIRST_WAIT_S * 2.0 ** min(failures - 1, 10))
    return longest * random.uniform(0.5, 1.0)


def tell(command: str, text: str) -> None:
    """One line of news on stderr."""
    print(f"dewmargin {command}: {text}", file=sys.stderr, flush=True)
