"""What outlasts a power cut, and when it is written: settings, learned state, counters, login, boots, minute records.

One write a beat at most, after the contact was driven and the watchdog fed.  Latched alarms go first: an alarm has
to outlast the reset that may follow it.
"""

import json
import struct

from dewboard.history import History
from dewboard.store import FOUND_NAMES, Store, load_settings, make_folder, next_boot, save_settings
from dewcore import learned

TYPE_CHECKING = False
if TYPE_CHECKING:
    from dewboard.app import App
    from dewcore.settings import Settings

LEARNED_S = 3600  # so that what a cut loses is an hour; 8,760 writes a year
RETRY_S = 60  # after one that failed
CALM_S = 600  # a boot that lasts so long ends a row of quick ones
QUICK_BOOTS = 5  # the last of so many in a row goes into safe mode
STOOD_DOWN = 255  # stored in place of their number: safe mode, until a person clears it


class Keep:
    """The stores of one board's folder.  Made before anything else reads the settings, which it brings up to date.

    boot: this boot's number; quick: quick boots in a row, this one included; was_safe: whether the board stood down
    before this boot, and nobody has cleared that; problems: what was found damaged.
    """

    __slots__ = (
        "settings",
        "learned",
        "counters",
        "login",
        "quick_store",
        "boots",
        "history",
        "boot",
        "quick",
        "was_safe",
        "problems",
        "codes",
        "wifi",
        "broker",
        "settings_changed",
        "login_image",
        "raised",
        "row",
        "calm_due",
        "urgent",
        "learned_s",
        "retry_s",
        "before",
        "is_settled",
        "once_more",
        "gave_way",
    )

    def __init__(self, folder: str, settings: "Settings") -> None:
        make_folder(folder)
        self.settings = Store(folder, "settings")
        self.learned = Store(folder, "learned")
        self.counters = Store(folder, "counters")
        self.login = Store(folder, "login")
        self.quick_store = Store(folder, "quick")
        self.problems: "list[str]" = []
        load_settings(self.settings, settings)
        self._note(self.settings)
        self.boots = Store(folder, "boots")
        self.boot: int = next_boot(self.boots)
        self.was_safe: bool = False
        self.quick: int = self._one_more_boot()
        self.history = History(folder, self.boot)
        self.boot = self.history.boot
        self.codes: dict = self._object(Store(folder, "probes"))  # {place: code} as `dewboard.thermometers` takes it
        self.wifi: dict = self._object(Store(folder, "wifi"))  # as `dewboard.wifi` takes it
        self.broker: dict = self._object(Store(folder, "broker"))  # as `dewboard.link` takes it
        self.settings_changed: bool = False
        self.login_image: "bytes | None" = None
        self.raised: int = 0  # a boot number to be stored
        self.row: int = -1  # what is to be stored of quick boots, -1 for nothing
        self.calm_due: bool = not self.was_safe
        self.urgent: int = 0  # as last stored
        self.learned_s: int = 0
        self.retry_s: int = 0
        self.before: "bytes | None" = None  # head of what was learned before this boot, until its age is known
        self.is_settled: bool = False
        self.once_more: bool = False
        self.gave_way: bool = False

    def _note(self, store: "Store") -> None:
        if store.refused:
            self.problems.append(store.refused + " (" + FOUND_NAMES[store.found] + ")")

    def _one_more_boot(self) -> int:
        payload = self.quick_store.load()
        before = payload[0] if payload else 0
        if before == STOOD_DOWN:
            self.was_safe = True
            return 1
        self.quick_store.save(bytes([min(before + 1, STOOD_DOWN - 1)]))
        return before + 1

    def _object(self, store: "Store") -> dict:
        """A JSON object that installing stored; {} for none."""
        payload = store.load()
        self._note(store)
        try:
            found = json.loads(payload) if payload else {}
            if not isinstance(found, dict):
                raise ValueError("no object")
        except ValueError as problem:
            self.problems.append(store.name + ": " + str(problem))
            found = {}
        return found

    def restore(self, app: "App") -> None:
        """Learned state, alarms and counters into a new app."""
        payload = self.counters.load()
        if payload is not None and not app.counters.unpack(payload):
            self.problems.append("counters: of an unknown size, they begin anew")
        image = self.learned.load()
        self._note(self.learned)
        if image is not None:
            if learned.unpack(app.controller, image, app.now_s):
                self.before = image[: learned.GLASS_AT]
            else:
                app.controller.permit.latched |= learned.alarms(image)
                self.problems.append("learned: not of this firmware; learning starts afresh, alarms stand")
        self.urgent = learned.urgent(app.controller)
        app.counters.boots += 1

    def beat(self, app: "App") -> None:
        """At most one write."""
        now_s = app.now_s
        if not self.is_settled and app.utc_s():
            self.is_settled = True
            if self.before is not None:
                learned.settle(app.controller, learned.gap_s(self.before, app.utc_s() - now_s))
                self.before = None
        if now_s < self.retry_s:
            return
        is_urgent = learned.urgent(app.controller) != self.urgent
        gave_way, self.gave_way = self.gave_way, False  # what cannot be stored holds up nothing else
        if not gave_way and (is_urgent or self.once_more or now_s - self.learned_s >= LEARNED_S):
            self.gave_way = not self._write(app, self._save_learned(app))
        elif self.settings_changed:
            self.settings_changed = not self._write(app, save_settings(self.settings, app.settings))
        elif self.login_image is not None:
            if self._write(app, self.login.save(self.login_image)):
                self.login_image = None
        elif self.raised:
            if self._write(app, self.boots.save(struct.pack("<I", self.raised))):
                self.raised = 0
        elif self.row >= 0:
            if self._write(app, self.quick_store.save(bytes([self.row]))):
                self.row = -1
        elif self.calm_due and now_s >= CALM_S:
            self.calm_due = False
            self.row = 0
        elif self.history.due(now_s):
            self.history.flush()

    def _save_learned(self, app: "App") -> bool:
        """Learned state, and the counters with it: two small files."""
        urgent = learned.urgent(app.controller)
        if not self.learned.save(learned.Image(app.controller, app.utc_s())):
            return False
        self.once_more = urgent != self.urgent  # both slots shall know of an alarm, whatever becomes of the counters
        self.urgent = urgent
        self.learned_s = app.now_s
        return self.counters.save(app.counters.pack())

    def _write(self, app: "App", done: bool) -> bool:
        """Whether a write was done; one that failed is told once and tried again in a minute."""
        if done:
            return True
        self.retry_s = app.now_s + RETRY_S
        app.events.add("not stored: " + self.why())
        return False

    def why(self) -> str:
        """The last refusal of any store."""
        for store in (self.learned, self.counters, self.settings, self.login, self.boots, self.quick_store):
            if store.refused:
                return store.refused
        return ""

    def finish(self, app: "App") -> None:
        """Before a restart that was asked for: everything, with the contact open."""
        self._save_learned(app)
        if self.settings_changed:
            self.settings_changed = not save_settings(self.settings, app.settings)
        if self.login_image is not None and self.login.save(self.login_image):
            self.login_image = None
        if self.row >= 0 and self.quick_store.save(bytes([self.row])):
            self.row = -1
        if self.raised and self.boots.save(struct.pack("<I", self.raised)):
            self.raised = 0
        while self.history.flush():
            pass

    def raise_boot(self, boot: int) -> None:
        """Records go on under this boot number: lower ones were in use before the flash was erased."""
        self.boot = self.history.boot = self.raised = boot

    def calm(self) -> None:
        """A person vouches for the board: the row of quick boots ends."""
        self.row = 0
        self.quick = 0

    def stood_down(self) -> None:
        """The board took itself out of service: so it begins the next time, too."""
        self.row = STOOD_DOWN
        self.calm_due = False

    def load_login(self) -> "bytes | None":
        """As last given, whether or not it is stored yet."""
        return self.login_image if self.login_image is not None else self.login.load()

    def store_login(self, image: bytes) -> None:
        """By a later beat."""
        self.login_image = image
