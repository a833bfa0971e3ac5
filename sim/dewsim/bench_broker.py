"""The bench's board at a broker: the firmware's own link beside the page, on the same event loop.

The board's seconds may pass faster than the broker's, so whatever waits for the broker counts those of this computer.
"""

import asyncio
import socket
import time

from dewsim import broker_link
from dewsim.errors import InputError, shown
from dewsim.files import contents

LOOK_S = 0.2
LEAVE_S = 0.2  # for the last word to reach the broker
REFUSED = "refused: "
LONGEST_CA = 100_000


def seconds() -> int:
    """Of this computer, monotonic."""
    return int(time.monotonic())


class Net:
    """A network that is there; names were asked for before."""

    address = "127.0.0.1"
    name_server = ""


class Unhurried:
    """What the outbox asks of the app, but for the time, which is this computer's."""

    def __init__(self, app):
        self.history = app.history
        self.keep = app.keep

    @property
    def now_s(self) -> int:
        """In place of the board's own seconds."""
        return seconds()


class AtBroker:
    """One broker, and the link of whichever app the bench runs now."""

    def __init__(self, broker: broker_link.Broker, device: str):
        from dewboard.broker_config import full, problem_of

        self.broker = broker
        ca = ""
        if broker.is_tls:
            ca = contents(broker.ca, LONGEST_CA, "a certificate").decode("utf-8", "replace") if broker.ca else ""
        config = {
            "host": broker.host, "port": broker.port, "user": broker.user, "password": broker.password,
            "device": device, "logger": 1, "commands": 1, "tls": int(broker.is_tls), "ca": ca,
        }  # fmt: skip
        problem = problem_of(config)
        if problem:
            raise InputError(f"bench: {problem}; correct the option")
        self.config = full(config)
        self.address = _address_of(broker.host)
        self.link = self.task = None
        self.told = ""

    async def stay(self, bench_of) -> None:
        """Until cancelled; bench_of(): the Bench.  InputError where the broker lets no one in."""
        while True:
            bench = bench_of()
            if self.link is None or self.link.app is not bench.app:
                self._begin(bench)
            self._tell()
            await asyncio.sleep(LOOK_S)

    async def leave(self) -> None:
        """The orderly end."""
        if self.link is not None and self.link.leave():
            await asyncio.sleep(LEAVE_S)

    def _begin(self, bench) -> None:
        """A link for the app that runs now; one before it is gone as with the power."""
        from dewboard.link import Link

        is_first = self.link is None
        if not is_first:
            self.task.cancel()
        bench.tell_time(int(time.time()) if is_first else bench.utc_s, time.localtime().tm_gmtoff)
        self.link = Link(bench.app, self.config, Net())
        self.link.address = self.address
        self.link.client.now_s = seconds
        self.link.outbox.app = Unhurried(bench.app)
        self.task = asyncio.get_running_loop().create_task(self.link.stay_connected())

    def _tell(self) -> None:
        """News of the connection, a line each."""
        state = self.link.state
        if state == self.told:
            return
        name = self.broker.name()
        if state.startswith(REFUSED) and not self.told:
            raise InputError(f"{name}: {state}; correct --user and --password-file")
        self.told = state
        if state == "connected":
            broker_link.tell("bench", f"{name}: connected as {self.config['device']}")
        elif state:
            broker_link.tell("bench", f"{name}: {shown(state)}; trying again")


def _address_of(host: str) -> str:
    """In numbers, by this computer's own means: the board's would ask a name server."""
    try:
        return socket.getaddrinfo(host, None, socket.AF_INET, socket.SOCK_STREAM)[0][4][0]
    except OSError as error:
        reason = error.strerror or "no answer"
        raise InputError(f"--broker {shown(host)}: not found ({reason}); give a name that is, or an address") from None
