"""Sends through Apprise, which knows the address forms of some hundred services."""

import json
import logging
import re
import socket
import subprocess
import sys
import threading
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack, contextmanager, suppress
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, TextIO

from dryspell.alerts.apprise_process import WHOLE_S
from dryspell.alerts.deliver import Draw, SendError

log = logging.getLogger(__name__)

PICTURE_NAME = "next-36-hours.png"
READ_S, CONNECT_S = 15, 5
"""How long a service may take to answer and to connect [s]. Relays that answer late would get repeats."""
COMMAND = (sys.executable, "-m", "dryspell.alerts.apprise_process")
_WITHIN_S = 3.0 * WHOLE_S
"""How long to wait for what sends, which may be loading yet. [s]"""
_ENDS_S = 5.0

Ask = Callable[[Mapping[str, Any]], dict[str, Any]]


class AppriseSender:
    """Sends to targets by their Apprise addresses, in a process that all who send at a time share.

    Parameters
    ----------
    urls
        Address by target. They hold secrets and are never logged.
    """

    def __init__(self, urls: Mapping[str, str]) -> None:
        self._urls = urls
        self._process = _Process()

    def check(self, target: str) -> None:
        """Send nothing; SendError says that the address of a target is not one to send to."""
        self.takes_pictures(target)

    def takes_pictures(self, target: str) -> bool:
        """Say whether a target's service takes attachments; SendError as for `check`."""
        with self._process.talk() as ask:
            return bool(ask({"url": self._urls[target]})["pictures"])

    def send(self, target: str, title: str, body: str, draw: Draw | None = None) -> None:
        """Send a message; SendError says why a target did not take it.

        Parameters
        ----------
        draw
            Draws the picture that goes with it, and is called where the service takes attachments. Without a picture
            the message goes all the same.
        """
        url = _with_timeouts(self._urls[target])
        with self._process.talk() as ask:
            png = draw() if draw is not None and ask({"url": url})["pictures"] else None
            with _attached(png) as attach:
                ask({"url": url, "message": {"title": title, "body": body}, "attach": attach})


class _Process:
    """The process that sends: there as long as somebody talks with it."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._talks = 0
        self._running: tuple[subprocess.Popen[bytes], socket.socket] | None = None

    @contextmanager
    def talk(self) -> Iterator[Ask]:
        """Yield what asks it and returns the answer; SendError says why there is none."""
        ours, theirs = socket.socketpair()
        with ours, ours.makefile("rw", encoding="utf-8") as lines:
            ours.settimeout(_WITHIN_S)
            with theirs, self._lock:
                if self._running is None or self._running[0].poll() is not None:
                    self._end()
                    self._running = _begun()
                self._talks += 1
                with suppress(OSError):  # it has ended, and so has this talk
                    socket.send_fds(self._running[1], [b"!"], [theirs.fileno()])
            try:
                yield partial(_asked, lines)
            finally:
                with self._lock:
                    self._talks -= 1
                    if not self._talks:
                        self._end()

    def _end(self) -> None:
        if self._running is None:
            return
        (process, hand_over), self._running = self._running, None
        hand_over.close()
        try:
            process.wait(_ENDS_S)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _begun() -> tuple[subprocess.Popen[bytes], socket.socket]:
    ours, theirs = socket.socketpair()
    with theirs:
        try:
            # The environment says by which proxy and with which certificates to go.
            process = subprocess.Popen(  # noqa: S603  (our own module)
                COMMAND, stdin=theirs.fileno(), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
            )
        except OSError as error:
            ours.close()
            raise SendError(f"what sends cannot be started: {error.strerror}") from None
    return process, ours


def _asked(lines: TextIO, question: Mapping[str, Any]) -> dict[str, Any]:
    try:
        lines.write(json.dumps(question) + "\n")
        lines.flush()
        line = lines.readline()
    except TimeoutError:
        raise SendError(f"its service is not done after {_WITHIN_S:g} s") from None
    except OSError:
        line = ""
    if not line:
        raise SendError("what sends has ended before it was done")
    answer: dict[str, Any] = json.loads(line)
    if "wrong" in answer:
        raise SendError(answer["wrong"])
    return answer


@contextmanager
def _attached(png: bytes | None) -> Iterator[str | None]:
    """Put a picture into a file for as long as it is sent: not every service's code takes one from memory."""
    with ExitStack() as stack:
        file = None
        if png is not None:
            try:
                file = Path(stack.enter_context(TemporaryDirectory(prefix="dryspell-"))) / PICTURE_NAME
                file.write_bytes(png)
            except OSError as error:
                log.warning("a picture cannot be put into a file (%s); the message goes without", error.strerror)
                file = None
        yield None if file is None else str(file)


def _with_timeouts(url: str) -> str:
    for key, value in (("rto", READ_S), ("cto", CONNECT_S)):
        if not re.search(rf"[?&]{key}=", url):
            url += f"{'&' if '?' in url else '?'}{key}={value}"
    return url
