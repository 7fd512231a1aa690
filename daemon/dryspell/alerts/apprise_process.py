"""Sends through Apprise, in a process that ends with the last message: `python -m dryspell.alerts.apprise_process`.

Apprise looks through all of its services to know one address, and what it has loaded for that stays: twenty megabytes,
for a message or two a day. The other end is `dryspell.alerts.apprise_sender`: over standard input, which is a socket,
it hands over a socket for each that wants to send; they speak JSON, a line for a question and one for its answer.
"""

import json
import logging
import os
import re
import signal
import socket
import threading
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from apprise import Apprise

WHOLE_S = 30
"""How long a service may take in all. [s]"""
_LEAVING = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)
_STATUS = re.compile(r"error=(\d{3})\b")
_loading = threading.Lock()


def main() -> None:
    """Talk with all who are handed over until the other process lets go."""
    for number in _LEAVING:  # they are told to both processes, and the other one says when it is over
        signal.signal(number, signal.SIG_IGN)
    with socket.socket(fileno=os.dup(0)) as handed_over:
        while True:
            _, found, _, _ = socket.recv_fds(handed_over, 1, 1)
            if not found:
                break
            threading.Thread(target=_talk, args=(socket.socket(fileno=found[0]),), daemon=True).start()
    os._exit(0)  # a service that hangs must not keep it


def _talk(with_one: socket.socket) -> None:
    with with_one, with_one.makefile("rw", encoding="utf-8") as lines:
        for line in lines:
            lines.write(json.dumps(answer(**json.loads(line))) + "\n")
            lines.flush()


def answer(url: str, message: dict[str, str] | None = None, attach: str | None = None) -> dict[str, Any]:
    """Send a message and return what came of it.

    Parameters
    ----------
    url
        Where to. It holds secrets, and what is returned does not.
    message
        `title` and `body`; without one it is said of the address only whether its service takes `pictures`.
    attach
        A file that goes with it.

    Returns
    -------
    dict
        With `wrong` where it did not go well: why.
    """
    try:
        service = _service(url)
        if service is None:
            return {"wrong": "its address is not one that Apprise knows"}
        if message is None:
            return {"pictures": any(plugin.attachment_support for plugin in service)}
        title, body = message["title"], message["body"]
        result = service.notify(title=title, body=body, body_format="text", attach=attach, timeout=WHOLE_S)
    except Exception as error:  # noqa: BLE001  (whatever a service's code raises; its words may hold the address)
        return {"wrong": f"its code failed with {type(error).__name__}"}
    if result:
        return {}
    logged = " ".join(entry.message for service_result in result for entry in service_result.logs())
    status = _STATUS.search(logged)
    return {"wrong": f"its service answers {status[1]}" if status else "its service cannot be reached"}


def _service(url: str) -> "Apprise | None":
    with _loading:  # once, whoever comes first
        from apprise import Apprise, AppriseAsset, PersistentStoreMode  # noqa: PLC0415

        # Its log lines may hold addresses; results carry them all the same.
        _silence(logging.getLogger("apprise"))
        service = Apprise(asset=AppriseAsset(storage_mode=PersistentStoreMode.MEMORY))
        return service if service.add(url) else None


def _silence(logger: logging.Logger) -> None:
    logger.propagate = False
    if not any(isinstance(handler, logging.NullHandler) for handler in logger.handlers):
        logger.addHandler(logging.NullHandler())


if __name__ == "__main__":
    main()
