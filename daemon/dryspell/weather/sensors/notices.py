"""What goes wrong with sensors, said once: when it begins, and when it is over."""

import logging
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass

log = logging.getLogger(__name__)

SAY_AGAIN_S = 3600.0
"""Trouble that comes and goes is logged this often at the most."""


@dataclass(frozen=True)
class _Trouble:
    kind: str
    text: str
    logged: bool


class Notices:
    """Knows the troubles there are, and logs each when it begins and when it is over.

    Parameters
    ----------
    monotonic
        The stopwatch to go by.
    """

    def __init__(self, monotonic: Callable[[], float] = time.monotonic) -> None:
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._now: dict[str, _Trouble] = {}
        self._logged_at: dict[tuple[str, str], float] = {}

    def trouble(self, key: str, text: str, kind: str = "") -> None:
        """Note a trouble.

        Parameters
        ----------
        key
            Whose trouble it is; there is one at a time.
        text
            One sentence with nothing secret in it.
        kind
            What has to change for it to be another trouble; the text, where that has no changing figures in it.
        """
        kind = kind or text
        with self._lock:
            before = self._now.get(key)
            if before is not None and before.kind == kind:
                return
            said_at = self._logged_at.get((key, kind))
            anew = said_at is None or self._monotonic() - said_at >= SAY_AGAIN_S
            self._now[key] = _Trouble(kind, text, logged=anew)
            if anew:
                self._logged_at[key, kind] = self._monotonic()
                log.warning("%s", text)

    def over(self, key: str, text: str) -> None:
        """Note that all is well; the text is logged where there was a trouble that had been."""
        with self._lock:
            before = self._now.pop(key, None)
            if before is not None and before.logged:
                log.info("%s", text)

    def current(self) -> dict[str, str]:
        """Return the troubles there are now, by whose they are."""
        with self._lock:
            return {key: trouble.text for key, trouble in self._now.items()}
