"""Chromium without a window, driven over its DevTools protocol through a pipe: no driver, no package.

    with Browser(folder) as page:       folder: of its profile, empty
        page.size(1280, 900); page.open(address)
        page.js("document.title")       a value, or what its promise becomes; within: in the frame at that address
        page.key("Tab"); page.type("12.5"); page.holds("expression in the page"); page.shot(path)
        page.errors                     what the page's console complained of
"""

import base64
import fcntl
import json
import os
import select
import shutil
import subprocess
import sys
import time
from pathlib import Path

CHROMIUM = shutil.which("chromium")
OPTIONS = (
    "--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--remote-debugging-pipe", "--lang=en-US",
)  # fmt: skip
# The protocol is spoken at descriptors 3 and 4, which the parent may need for something else.
LAUNCH = "import os, sys; a = sys.argv; os.dup2(int(a[1]), 3); os.dup2(int(a[2]), 4); os.execv(a[3], a[3:])"
ANSWER_S = 30.0
KEYS = {  # name: (Windows key code, text)
    "Tab": (9, ""), "Enter": (13, "\r"), " ": (32, " "), "ArrowDown": (40, ""), "ArrowUp": (38, ""), "Home": (36, ""),
    "End": (35, ""),
}  # fmt: skip


class Browser:
    """One page in a browser of its own."""

    def __init__(self, folder: Path):
        (theirs_in, self.to), (self.of, theirs_out) = [os.pipe() for _ in range(2)]
        ends = [fcntl.fcntl(end, fcntl.F_DUPFD, 10) for end in (theirs_in, theirs_out)]
        command = [sys.executable, "-c", LAUNCH, *map(str, ends), CHROMIUM, *OPTIONS, f"--user-data-dir={folder}"]
        self.process = subprocess.Popen(command, pass_fds=ends, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL)
        for end in (theirs_in, theirs_out, *ends):
            os.close(end)
        self.heard, self.number, self.session = b"", 0, None
        self.errors: list = []
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self.session = self.ask("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log"):
            self.ask(domain + ".enable")

    def __enter__(self) -> "Browser":
        return self

    def __exit__(self, *_: object) -> None:
        self.process.terminate()
        self.process.wait()
        for end in (self.to, self.of):
            os.close(end)

    # the protocol

    def ask(self, method: str, **params) -> dict:
        """One command's result."""
        self.number += 1
        order = {"id": self.number, "method": method, "params": params}
        if self.session:
            order["sessionId"] = self.session
        os.write(self.to, json.dumps(order).encode() + b"\0")
        until_s = time.monotonic() + ANSWER_S
        while True:
            told = self._hear(until_s)
            if told.get("id") == self.number:
                if "error" in told:
                    raise RuntimeError(f"{method}: {told['error']['message']}")
                return told["result"]

    def _hear(self, until_s: float) -> dict:
        """The next message; complaints are kept."""
        while b"\0" not in self.heard:
            if not select.select([self.of], [], [], max(0.0, until_s - time.monotonic()))[0]:
                raise TimeoutError("the browser does not answer")
            piece = os.read(self.of, 1 << 16)
            if not piece:
                raise EOFError("the browser ended")
            self.heard += piece
        line, _, self.heard = self.heard.partition(b"\0")
        told = json.loads(line)
        if told.get("method") == "Runtime.exceptionThrown":
            details = told["params"]["exceptionDetails"]
            self.errors.append(details.get("exception", {}).get("description") or details["text"])
        elif told.get("method") == "Log.entryAdded" and told["params"]["entry"]["level"] == "error":
            entry = told["params"]["entry"]
            self.errors.append(f"{entry.get('url', '')} {entry['text']}")
        return told

    # what a person sees and does

    def open(self, address: str) -> None:
        """Go there, and wait until it is loaded."""
        self.ask("Page.navigate", url=address)
        assert self.holds(f"document.readyState === 'complete' && location.href.startsWith({json.dumps(address)})", 20)

    def size(self, width: int, height: int, is_phone: bool = False) -> None:
        self.ask(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=is_phone
        )

    def js(self, expression: str, within: str = ""):
        """What an expression of the page comes to; within: in the frame whose address begins so."""
        more = {"contextId": self._world(within)} if within else {}
        done = self.ask("Runtime.evaluate", expression=expression, awaitPromise=True, returnByValue=True, **more)
        if "exceptionDetails" in done:
            raise RuntimeError(done["exceptionDetails"]["exception"].get("description", "an exception"))
        return done["result"].get("value")

    def _world(self, address: str) -> int:
        for child in self.ask("Page.getFrameTree")["frameTree"].get("childFrames", ()):
            if child["frame"]["url"].startswith(address):
                return self.ask("Page.createIsolatedWorld", frameId=child["frame"]["id"])["executionContextId"]
        raise RuntimeError("no frame shows " + address)

    def holds(self, expression: str, seconds: float = 5.0) -> bool:
        """Whether an expression becomes true in that time."""
        until_s = time.monotonic() + seconds
        while not self.js(expression):
            if time.monotonic() > until_s:
                return False
            time.sleep(0.02)
        return True

    def key(self, name: str, modifiers: int = 0) -> None:
        """One key down and up; modifiers: 8 for Shift."""
        code, words = KEYS.get(name) or (ord(name.upper()) if name.isalnum() else 0, name)
        told = {"key": name, "windowsVirtualKeyCode": code, "modifiers": modifiers}
        self.ask("Input.dispatchKeyEvent", type="keyDown" if words else "rawKeyDown", text=words, **told)
        self.ask("Input.dispatchKeyEvent", type="keyUp", **told)

    def type(self, words: str) -> None:
        """A key for each letter."""
        for letter in words:
            self.key(letter)

    def shot(self, path: Path, is_whole: bool = False) -> None:
        """A picture of what the window shows, or of the whole page."""
        shot = self.ask("Page.captureScreenshot", captureBeyondViewport=is_whole)
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(base64.b64decode(shot["data"]))
