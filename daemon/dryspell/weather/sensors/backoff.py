"""How long to wait before trying again: longer after each failure, and never all at the same moment."""

from collections.abc import Callable
from random import SystemRandom


class Backoff:
    """Waits that double from `first_s` to `most_s`, each shortened by a random part of up to a half [s]."""

    def __init__(
        self,
        first_s: float = 1.0,
        most_s: float = 120.0,
        share: Callable[[], float] = lambda: SystemRandom().uniform(0.5, 1.0),
    ) -> None:
        self._first_s = first_s
        self._most_s = most_s
        self._share = share
        self._failures = 0

    def wait_s(self) -> float:
        """Return the next wait."""
        wait_s = min(self._first_s * 2.0**self._failures, self._most_s)
        self._failures = min(self._failures + 1, 30)
        return wait_s * self._share()

    def reset(self) -> None:
        """Begin anew with the shortest."""
        self._failures = 0
