"""Sends through Apprise, which knows the address forms of some hundred services."""

import logging
import re
import threading
from collections.abc import Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from dryspell.alerts.deliver import Draw, SendError

if TYPE_CHECKING:
    from apprise import Apprise

log = logging.getLogger(__name__)

PICTURE_NAME = "next-36-hours.png"
READ_S, CONNECT_S, WHOLE_S = 15, 5, 30
"""How long a service may take to answer, to connect, and in all [s]. Relays that answer late would get repeats."""

_STATUS = re.compile(r"error=(\d{3})\b")
_loading = threading.Lock()


class AppriseSender:
    """Sends to targets by their Apprise addresses.

    Parameters
    ----------
    urls
        Address by target. They hold secrets and are never logged.
    """

    def __init__(self, urls: Mapping[str, str]) -> None:
        self._urls = urls

    def check(self, target: str) -> None:
        """Send nothing; SendError says that the address of a target is not one to send to."""
        _service(self._urls[target])

    def takes_pictures(self, target: str) -> bool:
        """Say whether a target's service takes attachments; SendError as for `check`."""
        return any(plugin.attachment_support for plugin in _service(self._urls[target]))

    def send(self, target: str, title: str, body: str, draw: Draw | None = None) -> None:
        """Send a message; SendError says why a target did not take it.

        Parameters
        ----------
        draw
            Draws the picture that goes with it, and is called where the service takes attachments. Without a picture
            the message goes all the same.
        """
        service = _service(_with_timeouts(self._urls[target]))
        png = draw() if draw is not None and any(plugin.attachment_support for plugin in service) else None
        with _attached(png) as attach:
            result = service.notify(body=body, title=title, body_format="text", attach=attach, timeout=WHOLE_S)
        if result:
            return
        logged = " ".join(entry.message for service_result in result for entry in service_result.logs())
        status = _STATUS.search(logged)
        raise SendError(f"its service answers {status[1]}" if status else "its service cannot be reached")


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


def _service(url: str) -> "Apprise":
    # Imported late and under a lock: it takes half a second to look through its services, which is for once only.
    with _loading:
        from apprise import Apprise, AppriseAsset, PersistentStoreMode  # noqa: PLC0415

        # Its log lines may hold addresses; results carry them all the same.
        _silence(logging.getLogger("apprise"))
        service = Apprise(asset=AppriseAsset(storage_mode=PersistentStoreMode.MEMORY))
        if not service.add(url):
            raise SendError("its address is not one that Apprise knows")
    return service


def _silence(logger: logging.Logger) -> None:
    logger.propagate = False
    if not any(isinstance(handler, logging.NullHandler) for handler in logger.handlers):
        logger.addHandler(logging.NullHandler())


def _with_timeouts(url: str) -> str:
    for key, value in (("rto", READ_S), ("cto", CONNECT_S)):
        if not re.search(rf"[?&]{key}=", url):
            url += f"{'&' if '?' in url else '?'}{key}={value}"
    return url
