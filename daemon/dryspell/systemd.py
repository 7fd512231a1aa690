"""What a service manager is told: ready, still well, leaving.

The protocol is that of sd_notify(3): one datagram of `KEY=value` lines to the socket that NOTIFY_SOCKET names. Without
one, as on a terminal or in a container, nothing is sent.
"""

import socket
from collections.abc import Mapping
from typing import Self

LONGEST_STATUS = 200
TICKS_TO_WAIT = 3.5
"""A daemon that leaves out three ticks is not well."""


class Notifier:
    """Tells the service manager how the daemon does. Nothing is raised: a daemon works as well without being heard.

    Parameters
    ----------
    address
        The path of the socket, or an abstract name that begins with @; empty to tell nobody.
    watchdog_s
        After how long without a word the manager restarts the daemon. None where it does not watch. [s]
    """

    def __init__(self, address: str, watchdog_s: float | None = None) -> None:
        # An abstract name begins with a zero byte on the wire (unix(7)).
        self._address = f"\0{address[1:]}" if address.startswith("@") else address
        self._watchdog_s = watchdog_s

    @classmethod
    def of(cls, env: Mapping[str, str]) -> Self:
        """Return the one that an environment names."""
        allowed = env.get("WATCHDOG_USEC", "")
        return cls(env.get("NOTIFY_SOCKET", ""), int(allowed) / 1e6 if allowed.isdecimal() else None)

    def ready(self, tick_s: float) -> None:
        """Say that the first tick is on its way.

        A watchdog that would not wait for three ticks is given more time, since each tick is what feeds it.
        """
        lines = ["READY=1"]
        if self._watchdog_s is not None and self._watchdog_s < TICKS_TO_WAIT * tick_s:
            lines.append(f"WATCHDOG_USEC={round(TICKS_TO_WAIT * tick_s * 1e6)}")
        self._send(*lines)

    def ticked(self, status: str) -> None:
        """Say that a tick went well, and in a line what it found. Nothing but this feeds the watchdog."""
        line = " ".join(status.split())[:LONGEST_STATUS]
        self._send(*(["WATCHDOG=1"] if self._watchdog_s is not None else []), f"STATUS={line}")

    def unwell(self, status: str) -> None:
        """Say in a line what is wrong, and leave the watchdog hungry."""
        self._send(f"STATUS={' '.join(status.split())[:LONGEST_STATUS]}")

    def stopping(self) -> None:
        """Say that the daemon leaves."""
        self._send("STOPPING=1")

    def _send(self, *lines: str) -> None:
        if not self._address:
            return
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM | socket.SOCK_CLOEXEC) as out:
                out.settimeout(1.0)
                out.sendto("\n".join(lines).encode(), self._address)
        except OSError:
            return
