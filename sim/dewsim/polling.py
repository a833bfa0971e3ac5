"""Asking a server politely: rarely, with jitter, backing off, heeding what it says, and never more than allowed.

At most one request an interval (10 minutes or more), spread by up to a tenth; after a failure twice the wait each
time, up to six hours; Retry-After is heeded up to a day.  A request names this program, asks only for what has
changed since, takes a minute and a megabyte at most.
"""

import http.client
import random
import time
import urllib.error
import urllib.request
from email.utils import parsedate_to_datetime
from urllib.parse import urlsplit

from dewsim.errors import InputError, shown
from dewsim.feed_sources import Document

JITTER = 0.1
LONGEST_WAIT_S = 6 * 3600.0
LONGEST_HEEDED_S = 24 * 3600.0
SOCKET_S = 20.0
ANSWER_S = 60.0
LARGEST_BYTES = 1_000_000
PIECE = 65536
TEMPORARY = {408, 425, 429, 500, 502, 503, 504}


class Failed(Exception):
    """No document this time.  retry_s: what the server asked for [s], 0 nothing; is_final: it will not get better."""

    def __init__(self, text: str, retry_s: float = 0.0, is_final: bool = False):
        super().__init__(text)
        self.retry_s = retry_s
        self.is_final = is_final


class Address:
    """One address asked again and again; `due_s` is the monotonic time of the next request."""

    def __init__(self, url: str, every_s: float, agent: str):
        check(url)
        self.url = url
        self.host = urlsplit(url).hostname
        self.every_s = every_s
        self.agent = agent
        self.failures = 0
        self.due_s = 0.0
        self.etag = ""
        self.modified = ""

    def get(self) -> Document | None:
        """Ask once; None where nothing has changed, Failed where there is no answer.  Sets due_s either way."""
        try:
            document = self._ask()
        except Failed as failure:
            self.failures += 1
            self._wait(max(min(self.every_s * 2.0**self.failures, LONGEST_WAIT_S), failure.retry_s))
            raise
        self.failures = 0
        self._wait(self.every_s)
        return document

    def _wait(self, seconds: float) -> None:
        self.due_s = time.monotonic() + seconds * (1.0 + JITTER * random.random())

    def _ask(self) -> Document | None:
        headers = {"User-Agent": self.agent, "Accept-Encoding": "identity"}
        if self.etag:
            headers["If-None-Match"] = self.etag
        if self.modified:
            headers["If-Modified-Since"] = self.modified
        request = urllib.request.Request(self.url, headers=headers)
        try:
            with urllib.request.urlopen(request, timeout=SOCKET_S) as answer:
                data = self._body(answer)
                self.etag = answer.headers.get("ETag", "")
                self.modified = answer.headers.get("Last-Modified", "")
        except urllib.error.HTTPError as error:
            with error:
                if error.code == 304:
                    return None
                retry_s = retry_after_s(error.headers.get("Retry-After", ""), time.time())
                final = 400 <= error.code < 500 and error.code not in TEMPORARY
                raise Failed(f"{self.host} answered {error.code}", retry_s, final) from None
        except (OSError, ValueError, http.client.HTTPException) as error:  # no connection, no name, no time, no HTTP
            reason = getattr(error, "reason", None) or error
            raise Failed(f"{self.host}: {shown(str(reason))}") from None
        return Document(self.host, data.decode("utf-8", "replace"), made_s(self.modified, time.time()))

    def _body(self, answer) -> bytes:
        end_s = time.monotonic() + ANSWER_S
        data = b""
        while piece := answer.read1(PIECE):
            data += piece
            if len(data) > LARGEST_BYTES:
                raise Failed(f"{self.host} sent more than {LARGEST_BYTES} bytes")
            if time.monotonic() > end_s:
                raise Failed(f"{self.host} took more than {ANSWER_S:.0f} s")
        return data


def check(url: str) -> None:
    """http or https with a host; InputError."""
    try:
        parts = urlsplit(url)
        is_good = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
    except ValueError:
        is_good = False
    if not is_good or not url.isascii() or not url.isprintable() or " " in url:
        raise InputError(f"{shown(url)}: allowed is http://HOST/… or https://HOST/…; correct the address")


def retry_after_s(text: str, now_s: float) -> float:
    """Seconds that a Retry-After header asks for (seconds or a date); 0 for none."""
    seconds = 0.0
    if text.strip().isascii() and text.strip().isdigit():
        seconds = float(text.strip()[:9])
    elif text:
        seconds = (_date_s(text) or now_s) - now_s
    return min(max(seconds, 0.0), LONGEST_HEEDED_S)


def made_s(modified: str, now_s: float) -> int:
    """When the document was made: Last-Modified, else now."""
    return int(min(_date_s(modified) or now_s, now_s))


def _date_s(text: str) -> float | None:
    try:
        return parsedate_to_datetime(text).timestamp()
    except (TypeError, ValueError, OverflowError):
        return None
