"""`dewmargin forget`: what a broker keeps of a board that is gone, cleared; `$state` first, which removes it."""

import time

from dewsim import broker_link
from dewsim.errors import InputError, shown

QUIET_S = 1.0  # without a message: all that is kept has come
LONGEST_S = 30.0
THERE = (b"init", b"ready", b"sleeping")


class Keeper:
    """One connection to a broker; hears what is kept."""

    def __init__(self, broker: broker_link.Broker, device: str):
        self.broker = broker
        self.base = f"homie/5/{device}"
        self.mark = f"dewmargin/{device}/committed"
        self.kept: dict = {}
        self.heard_s = 0.0
        self.code = None
        self.granted: list | None = None
        self.client = broker_link.client_for(broker, "forget", device, is_clean=True)
        self.client.on_connect = self._on_connect
        self.client.on_message = self._on_message
        self.client.on_subscribe = self._on_subscribe

    def _on_connect(self, _client, _data, _flags, code, _properties) -> None:
        self.code = code

    def _on_subscribe(self, _client, _data, _number, codes, _properties) -> None:
        self.granted = codes

    def _on_message(self, _client, _data, message) -> None:
        if message.retain and message.payload:
            self.kept[message.topic] = message.payload
            self.heard_s = time.monotonic()

    def __enter__(self):
        name = self.broker.name()
        try:
            self.client.connect(self.broker.host, self.broker.port, broker_link.KEEP_ALIVE_S)
        except (OSError, ValueError) as error:
            reason = str(error) or type(error).__name__
            raise InputError(
                f"--broker {name}: cannot be reached ({reason}); correct it, or start the broker"
            ) from None
        self.client.loop_start()
        self._until(lambda: self.code is not None, "no answer")
        refused = broker_link.refusal(self.code)
        if refused:
            self.client.loop_stop()
            raise InputError(f"{name}: {refused}; correct --user and --password-file")
        return self

    def __exit__(self, *_) -> None:
        self.client.disconnect()
        self.client.loop_stop()

    def _until(self, happened, problem: str) -> None:
        end_s = time.monotonic() + broker_link.CONNECT_S
        while not happened():
            if time.monotonic() > end_s:
                raise InputError(f"{self.broker.name()}: {problem}; correct --broker")
            time.sleep(0.02)

    def look(self) -> dict:
        """Topic to payload of all that is kept of the device; the log's mark with it."""
        self.kept, self.granted = {}, None
        self.heard_s = began_s = time.monotonic()
        topics = [self.base + "/#", self.mark]
        self.client.unsubscribe(topics)
        self.client.subscribe([(topic, 1) for topic in topics])
        self._until(lambda: self.granted is not None, "no answer")
        if self.granted[0].is_failure:
            raise InputError(f"{self.broker.name()}: this user may not read {self.base}; name another with --user")
        while (now_s := time.monotonic()) - self.heard_s < QUIET_S and now_s - began_s < LONGEST_S:
            time.sleep(0.05)
        return dict(self.kept)

    def clear(self, topics: list) -> None:
        """Each with nothing, which removes it, in this order."""
        sent = [self.client.publish(topic, b"", qos=1, retain=True) for topic in topics]
        self._until(lambda: all(message.is_published() for message in sent), "takes nothing")


def run(device: str, broker: broker_link.Broker, anyway: bool) -> int:
    """0 when nothing is left; InputError where the board is still there, or the broker keeps something."""
    if not device or any(letter in device for letter in "/+#"):
        raise InputError(f"forget: found {shown(repr(device), 60)}, allowed is one board's name; correct it")
    state = f"homie/5/{device}/$state"
    with Keeper(broker, device) as keeper:
        kept = keeper.look()
        if not kept:
            raise InputError(
                f"{shown(device, 60)}: found nothing of it at {broker.name()} that this user may read; correct the "
                "name, or name another user"
            )
        if kept.get(state) in THERE and not anyway:
            raise InputError(
                f"{shown(device, 60)}: its state is {kept[state].decode()}: a board that is connected says all of it "
                "again; take it off its power first, or give --anyway"
            )
        keeper.clear(sorted(kept, key=lambda topic: (topic != state, topic)))
        left = keeper.look()
    if left:
        raise InputError(
            f"{broker.name()}: keeps {len(left)} topics, such as {shown(min(left))}: this user may not write "
            "there; name another with --user"
        )
    print(f"{shown(device, 60)}: {len(kept)} topics cleared at {broker.name()}")
    return 0
