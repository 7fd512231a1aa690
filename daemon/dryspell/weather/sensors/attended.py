"""A thread that works until it is told to stop, whatever happens in it."""

import logging
import threading
from collections.abc import Callable

from dryspell.weather.sensors.backoff import Backoff

log = logging.getLogger(__name__)


class Attended:
    """Calls `work(stop)` in a thread until `stop` is set, and again after a pause when it raises.

    Parameters
    ----------
    name
        Of the thread.
    work
        Works until `stop` is set. What it knows how to put right it does itself.
    """

    def __init__(self, name: str, work: Callable[[threading.Event], None]) -> None:
        self._work = work
        self._stop = threading.Event()
        self._backoff = Backoff()
        self._thread = threading.Thread(target=self._run, name=name, daemon=True)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """Ask the work to end."""
        self._stop.set()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the work to end, and say whether it has."""
        if self._thread.ident is not None:
            self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                self._work(self._stop)
            except Exception:
                log.exception("%s failed, and is begun again", self._thread.name)
                self._stop.wait(self._backoff.wait_s())
