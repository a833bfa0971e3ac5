"""Everything that a board decides, shows and tells in some hours, as one digest: python digest_board.py HOURS FOLDER.

For tests/desktop/test_install_lean.py, which compares a program as it is compiled with its source.  The virtual board
runs with all fitted, in weather that changes and with faults; a restart halfway brings back what was learned.
"""

import asyncio
import hashlib
import json
import struct
import sys

from page_client import Browser

from dewboard import start
from dewboard.clock import Clock
from dewboard.guard import Guard
from dewboard.homie import Homie
from dewboard.inbox import Inbox
from dewboard.outbox import Outbox
from dewboard.page import Page
from dewboard.page_parts import json_state
from dewboard.pins import open_pins
from dewboard.store import Store, make_folder, save_settings
from dewcore.readings import SAW_CLEAR
from dewcore.settings import Settings
from dewsim.virtual import VirtualBoard, install

BEAT_US = 1000000
HOUR_S = 3600
UTC_S = 1000000000
MESSAGES = (
    ("dewmargin/attic/committed", b'{"boot":1,"seq":3}'),
    ("dewmargin/attic/committed", b"?"),
    ("dewmargin/feed/now", b'{"schema":1,"source":"x","sent_s":1000003000,"observed_s":1000002990,"outdoor_c":-7.5}'),
    ("homie/5/attic/settings/wish-pct/set", b"30"),
    ("homie/5/attic/settings/has-leak/set", b"false"),
    ("homie/5/attic/control/look/set", b"clear"),
)
FITTED = {"has_overflow": 1, "has_drain_wet": 1, "has_absent": 1, "has_glass": 1, "has_supply": 1, "has_room": 1}


class Digest:
    """One number for all."""

    def __init__(self):
        self.sum = hashlib.sha256()
        self.beats = 0

    def text(self, pieces):
        for piece in pieces:
            self.sum.update(piece if isinstance(piece, bytes) else piece.encode())

    def beat(self, app, world):
        d = app.controller.decision
        self.sum.update(struct.pack("<4d", d.target_pct, d.ceiling_pct, d.coldest_c, d.margin_k))
        self.sum.update(struct.pack("<4q", d.valve, d.refusals, d.notices, world.relay_pin))
        self.beats += 1


def weather(world, now_s):
    """Cold air, a furnace that comes and goes, and now and then something broken."""
    minute = now_s // 60
    heating = minute % 30 < 12
    world.heat_call = world.fan_running = world.terminal_live = heating
    world.supply_c = 48.0 if minute % 30 < 14 else 22.0
    world.drain = "wet" if world.valve_powered else "dry"
    world.outdoor_c = -6.0 + minute % 240 / 24.0
    world.indoor_c = 20.0 + minute % 60 / 80.0
    world.rh_pct = 14.0 + minute % 90 / 20.0 + (1.0 if heating else 0.0)
    world.coldest_c = 13.0
    world.room_c = world.indoor_c - 0.5
    world.room_rh_pct = world.rh_pct
    world.leak = "wet" if minute % 200 == 190 else "dry"
    world.humidity_fault = "crc" if minute % 170 > 160 else ""
    world.thermometer_faults = {"outdoor_c": "nak"} if minute % 220 > 190 else {}


def told(app, browser, digest, client):
    """Page, state, drawing, a login with a change, and all that a broker is told."""
    for path in ("/", "/state", "/chart", "/page.js"):
        digest.text((browser.get(path).body(),))
    digest.text((str(browser.log_in()), str(browser.post("/settings", {"values": {"wish_pct": 31.5}}))))
    digest.text((str(browser.post("/look", {"look": "fog"})), str(browser.post("/clear", {}))))
    homie = Homie(app, client, "attic", True)
    asyncio.run(homie.describe())
    digest.text(homie.description())
    for n, row in homie.rows():
        digest.text((homie.topic(row), homie.value(row), homie.target(row), str(homie.changed(n, row))))
    box = Outbox(app, "attic", True)
    inbox = Inbox(app, homie, box, "dewmargin/feed", lambda level, text: digest.text((level, text)))
    digest.text(inbox.topics())
    for topic, payload in MESSAGES:
        inbox.take(topic, memoryview(payload), False)
    while box.fill():
        box.note(len(box.out))
        digest.text(box.batch.pieces())
    digest.text(json_state(app))


class Client:
    """What the description asks of a client."""

    skipped = 0


def main(hours, folder):
    """So many hours, with a restart halfway."""
    world = VirtualBoard()
    install(world)
    make_folder(folder)
    settings = Settings()
    settings.change(FITTED)
    save_settings(Store(folder, "settings"), settings)
    Store(folder, "probes").save(json.dumps(world.rom_codes()).encode())
    digest = Digest()
    for part in range(2):
        app = start.build(open_pins(), Clock(world), folder)
        guard = Guard(lambda: ["127.0.0.1"])
        Page(app, guard)
        browser = Browser(app=app, guard=guard)
        app.pressed_s = app.now_s
        if part == 0:
            browser.set_password()
        for second in range(hours * HOUR_S // 2):
            if second % 60 == 0:
                weather(world, second + part * hours * HOUR_S // 2)
            if second == 100:
                message = {"schema": 1, "source": "test", "sent_s": UTC_S, "utc_offset_s": 0, "issued_s": UTC_S}
                app.wall.take(message, False, app.clock.now_s())
            if second % HOUR_S == 2000:
                app.look(SAW_CLEAR)
            began_us = world.us
            app.attend()
            app.beat()
            world.advance_us(BEAT_US - (world.us - began_us))
            digest.beat(app, world)
        told(app, browser, digest, Client())
        digest.text(event[1] for event in app.events if "/" not in event[1])
        app.keep.finish(app)
    print(digest.beats, app.counters.items(), len(app.events), digest.sum.hexdigest())


if __name__ == "__main__":
    main(int(sys.argv[1]), sys.argv[2])
