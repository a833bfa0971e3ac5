"""The board at its broker: connected, connected again, told of everything that changes; never waited for.

    Link(app, config, net)     config: `dewboard.broker_config.full`'s; net: .address, "" while there is no network,
                               and .name_server
    await link.stay_connected()
"""

import asyncio
import gc
import os

from dewboard.homie import FAULT_NOTICES, FAULTS, Homie, Log
from dewboard.inbox import Inbox
from dewboard.mqtt import Broken, Client
from dewboard.outbox import Outbox
from dewboard.senml import AHEAD, mark_text
from dewcore.words import NOTICES, REFUSALS

TYPE_CHECKING = False
if TYPE_CHECKING:
    from ssl import SSLContext

    from dewboard.app import App
    from dewboard.shapes import Payload
    from dewboard.wifi import Wifi

FIRST_WAIT_S = 1
LONGEST_WAIT_S = 300
LASTED_S = 60  # a connection that held so long begins the waits anew
LOOK_S = 1
TICK_S = 0.25
MINUTE_S = 60
BAD = ("safe", "beat", "not", "task")  # how events of failures begin: safe mode, beat failed, not stored, task ended


class Link:
    """state: what is to be said of the connection, for people."""

    __slots__ = (
        "app",
        "net",
        "config",
        "client",
        "homie",
        "log",
        "outbox",
        "inbox",
        "state",
        "address",
        "wait_s",
        "is_ready",
        "seen",
        "minute_s",
        "alerted",
        "told",
    )

    def __init__(self, app: "App", config: dict, net: "Wifi") -> None:
        self.app = app
        self.net = net
        self.config: dict = config
        device = config["device"]
        self.log: "Log" = Log(config["log"])
        self.outbox: "Outbox" = Outbox(app, device, config["logger"] == 1)
        self.client: "Client" = Client(app.clock.now_s, None, self.outbox.acked)
        self.homie: "Homie" = Homie(app, self.client, device, config["commands"] == 1)
        self.inbox: "Inbox" = Inbox(app, self.homie, self.outbox, config["feed"], self.say)
        self.client.take = self.inbox.take
        self.state: str = ""
        self.address: str = ""  # of the broker, when last found
        self.wait_s: int = FIRST_WAIT_S
        self.is_ready: bool = False  # everything is told
        self.seen: tuple = ()
        self.minute_s: int = 0
        self.alerted: tuple = (0, 0)
        self.told: int = 0  # how many events went to the log

    def say(self, level: str, text: str) -> None:
        """A line for $log."""
        self.log.add(level, text, self.app.now_s)

    def _tell(self, state: str) -> None:
        """What is to be known of the connection; the same thing is told once."""
        if state != self.state:
            self.state = state
            self.app.events.add("broker: " + state)

    # From one connection to the next

    async def stay_connected(self) -> None:
        """Connect, look every second whether it lasts, connect again; whatever goes wrong is waited out, five minutes
        at most."""
        while True:
            while not self.net.address:
                await asyncio.sleep(LOOK_S)
            began_s = self.app.clock.now_s()
            session = asyncio.create_task(self._session())
            try:
                await self._watch(session)
            finally:
                session.cancel()
            if self.is_ready and self.app.clock.now_s() - began_s >= LASTED_S:
                self.wait_s = FIRST_WAIT_S
            self.is_ready = False
            await asyncio.sleep(self.wait_s * (1 - os.urandom(1)[0] / 1024))  # so that a street does not come at once
            self.wait_s = min(2 * self.wait_s, LONGEST_WAIT_S)

    async def _watch(self, session: "asyncio.Task") -> None:
        """Return when a session has ended, if need be ended by us; no wait in it has another limit than this one."""
        while not session.done():
            late = self.client.overdue()
            if late:
                self._tell(late)
                session.cancel()
                await asyncio.sleep(LOOK_S)
                return
            await asyncio.sleep(LOOK_S)

    async def _session(self) -> None:
        """One connection from its beginning to its end."""
        try:
            await self._connected()
        except Broken as problem:
            self._tell(str(problem))
        except OSError as problem:
            self._tell("the broker cannot be reached (error " + str(problem.args[0]) + ")")
        except Exception as problem:  # noqa: BLE001 - whatever it is, the board goes on without a broker
            self._tell(repr(problem))

    async def _connected(self) -> None:
        config = self.config
        client = self.client
        address = await self._find()
        context = await self._context() if config["tls"] else None
        gc.collect()
        receiver = None
        try:
            await client.open(address, config["port"], context, config["host"])
            will = self.homie.base + "/$state"
            await client.enter(config["device"], config["user"], config["password"], will, b"lost")
            receiver = asyncio.create_task(client.receive())
            self.outbox.begin()
            await client.subscribe(self.inbox.topics())
            if client.refused:
                self.say("error", "the broker refuses " + str(client.refused) + " of the topics to listen to")
            await self._announce()
            self._tell("connected")
            while True:
                await self._round()
                await asyncio.sleep(TICK_S)
        finally:
            if receiver is not None:
                receiver.cancel()
            await client.close()

    async def _find(self) -> str:
        """The broker's address; one that was found before will do where the name is not answered for."""
        host = self.config["host"]
        if host.replace(".", "").isdigit():
            return host
        from dewboard.dns import resolve  # 2.4 kB that most do without

        self.address = await resolve(host, self.config["name_server"] or self.net.name_server) or self.address
        if not self.address:
            raise Broken("nobody knows the address of " + host)
        return self.address

    async def _context(self) -> "SSLContext":
        """For TLS; its first steps block for seconds on a small chip, so they wait until the valve is shut."""
        from dewboard.tls import context_of, memory_problem

        problem = memory_problem()
        if problem:
            raise Broken(problem)
        while self.app.controller.decision.valve:
            await asyncio.sleep(LOOK_S)
        return context_of(self.config["ca"])

    def leave(self) -> bool:
        """The orderly end of this board's program: `disconnected` stays at the broker in place of `lost`."""
        return self.client.leave(self.homie.base + "/$state", b"disconnected")

    # Telling

    async def _told(self, name: str, payload: "Payload") -> None:
        """Publish an attribute of the device."""
        await self.client.publish(self.homie.base + "/$" + name, payload, True)

    async def _announce(self) -> None:
        """Everything anew: description, alerts, values; only then `ready`."""
        homie = self.homie
        await self._told("state", b"init")
        await homie.describe()
        await self._told("description", homie.description)
        for n in range(len(homie.sent)):
            homie.sent[n] = 0
        self.alerted = homie.alerts()
        await self._alerts((FAULTS, FAULT_NOTICES))
        await self._values(True)
        self.minute_s = self.app.now_s + MINUTE_S
        await self._told("state", b"ready")
        self.is_ready = True

    async def _alerts(self, changed: tuple) -> None:
        """Publish these alerts as they stand: their sentence, or nothing, which clears the topic."""
        for which, table in enumerate((REFUSALS, NOTICES)):
            for n in range(len(table)):
                if changed[which] >> n & 1:
                    sentence = table[n][1].encode() if self.alerted[which] >> n & 1 else b""
                    await self._told("alert/" + table[n][0].replace("_", "-"), sentence)

    async def _values(self, everything: bool) -> None:
        """Publish what has changed; numbers only where it is time for everything, but the timer with its reason."""
        homie = self.homie
        self.seen = self._signs()
        rows = homie.rows()
        try:
            for n, row in rows:
                if homie.left_out >> n & 1:
                    if not self.is_ready:  # it may have been fitted once
                        await self.client.publish(homie.topic(row), b"", True)
                elif (everything or not row[3].isdigit() or row[1] == "hold") and homie.changed(n, row):
                    await self._value(row, homie.target(row))
                await asyncio.sleep(0)
        finally:
            rows.close()  # the file

    async def _value(self, row: list, target: bytes) -> None:
        """A value, after what was asked of it."""
        if row[3] != "event":
            topic = self.homie.topic(row)
            if target:
                await self.client.publish(topic + "/$target", target, True)
            await self.client.publish(topic, self.homie.value(row), True)

    def _signs(self) -> tuple:
        """If one of these changes, people want to know at once."""
        d = self.app.controller.decision
        return (d.valve, d.refusals, d.notices, d.binds, self.app.safe)

    async def _round(self) -> None:
        """Whatever is due."""
        client = self.client
        homie = self.homie
        await client.idle()
        while self.inbox.asked:
            row, payload = self.inbox.asked.pop(0)
            await self._value(row, payload)
        self._events()
        while self.log.lines:
            level, text = self.log.lines.pop(0)
            await client.tell(homie.base + "/$log/" + level, text.encode())
        if self.app.now_s >= self.minute_s:
            self.minute_s = self.app.now_s + MINUTE_S
            if homie.fitted() != homie.left_out:
                self.is_ready = False
                await self._announce()
            else:
                await self._values(True)
        elif self._signs() != self.seen:
            await self._values(False)
        before = self.alerted
        self.alerted = homie.alerts()
        await self._alerts((before[0] ^ self.alerted[0], before[1] ^ self.alerted[1]))
        await self._records()

    def _events(self) -> None:
        """What happened lately, for the log: failures as errors."""
        events = self.app.events
        for number in range(max(self.told, events.count - len(events)), events.count):
            text = events.get(number)[1]
            self.say("error" if text.split(" ")[0] in BAD else "info", text)
        self.told = events.count

    async def _records(self) -> None:
        """Some batches, and the board's own mark where it keeps one."""
        outbox = self.outbox
        topic = outbox.batch.base + "records"
        for _ in range(AHEAD):
            if not outbox.fill():
                break
            await self.client.publish(topic, outbox.batch.pieces, False, outbox.note)
        if outbox.telling():
            await self.client.publish(self.inbox.committed, mark_text(outbox.mark), True)
