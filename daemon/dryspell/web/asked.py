"""Ticks that are asked for: whoever has changed the record wants to see at once what has become of the window."""

import logging
import threading
from collections.abc import Callable

log = logging.getLogger(__name__)


class AskedTicks:
    """Runs a tick when it is asked for one, in a thread of its own; those who ask while one runs share the next.

    Parameters
    ----------
    tick
        Looks once at everything; what it raises is logged.
    """

    def __init__(self, tick: Callable[[], object]) -> None:
        self._tick = tick
        self._turn = threading.Condition()
        self._asked = 0
        self._done = 0
        self._left = False
        self._thread = threading.Thread(target=self._run, name="asked ticks", daemon=True)
        self._thread.start()

    def ask(self, wait_s: float) -> bool:
        """Ask for a tick that begins from now on, wait for its end or for `wait_s`, and say whether it has ended."""
        with self._turn:
            self._asked += 1
            mine = self._asked
            self._turn.notify_all()
            self._turn.wait_for(lambda: self._done >= mine or self._left, wait_s)
            return self._done >= mine

    def leave(self) -> None:
        """Begin no other tick."""
        with self._turn:
            self._left = True
            self._turn.notify_all()

    def wait(self, timeout_s: float) -> bool:
        """Wait after `leave` until none runs, or for `timeout_s`; say which."""
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while True:
            with self._turn:
                self._turn.wait_for(lambda: self._asked > self._done or self._left)
                if self._left:
                    return
                upto = self._asked
            try:
                self._tick()
            except Exception:
                log.exception("a tick that was asked for failed; the next one tries again")
            with self._turn:
                self._done = upto
                self._turn.notify_all()
