"""Sends through Apprise, which knows the address forms of some hundred services."""

import logging
import re
import threading
from collections.abc import Mapping
from typing import TYPE_CHECKING

from dryspell.alerts.deliver import SendError

if TYPE_CHECKING:
    from apprise import Apprise

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

    def send(self, target: str, title: str, body: str) -> None:
        """Send a message; SendError says why a target did not take it."""
        service = _service(_with_timeouts(self._urls[target]))
        result = service.notify(body=body, title=title, body_format="text", timeout=WHOLE_S)
        if result:
            return
        logged = " ".join(entry.message for service_result in result for entry in service_result.logs())
        status = _STATUS.search(logged)
        raise SendError(f"its service answers {status[1]}" if status else "its service cannot be reached")


def _service(url: str) -> "Apprise":
    # Imported late and under a lock: it takes half a second to look through its services, which is for once only.
    with _loading:
        from apprise import Apprise, AppriseAsset, PersistentStoreMode  # noqa: PLC0415

        # Its log lines may hold addresses; results carry them all the same.
        logging.getLogger("apprise").addHandler(logging.NullHandler())
        logging.getLogger("apprise").propagate = False
        service = Apprise(asset=AppriseAsset(storage_mode=PersistentStoreMode.MEMORY))
        if not service.add(url):
            raise SendError("its address is not one that Apprise knows")
    return service


def _with_timeouts(url: str) -> str:
    for key, value in (("rto", READ_S), ("cto", CONNECT_S)):
        if not re.search(rf"[?&]{key}=", url):
            url += f"{'&' if '?' in url else '?'}{key}={value}"
    return url
