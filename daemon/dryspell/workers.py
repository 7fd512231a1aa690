"""Work that may hang, kept from holding up the rest."""

import logging
import threading
import time
from collections.abc import Callable

from dryspell.errors import DryspellError

log = logging.getLogger(__name__)


class Workers:
    """Runs jobs in threads, one at a time for each name: a job that hangs holds up only later jobs of its own name.

    The threads do not keep the process alive. A job that fails is logged, and again only when it fails otherwise.
    """

    def __init__(self) -> None:
        self._running: dict[str, threading.Thread] = {}
        self._said: dict[str, str] = {}

    def start(self, name: str, job: Callable[[], object]) -> bool:
        """Start a job; return False where one of that name is still running."""
        running = self._running.get(name)
        if running is not None and running.is_alive():
            return False
        self._running[name] = threading.Thread(target=self._run, args=(name, job), name=name, daemon=True)
        self._running[name].start()
        return True

    def wait(self, timeout_s: float) -> bool:
        """Wait until no job runs, or for `timeout_s` at the most; say whether all have ended."""
        until = time.monotonic() + timeout_s
        for thread in list(self._running.values()):
            thread.join(max(0.0, until - time.monotonic()))
        return not any(thread.is_alive() for thread in self._running.values())

    def _run(self, name: str, job: Callable[[], object]) -> None:
        try:
            job()
        except Exception as error:
            said, before = repr(error), self._said.get(name)
            self._said[name] = said
            if said == before:
                return
            if isinstance(error, DryspellError):
                log.warning("%s failed: %s", name, error)
            else:
                log.exception("%s failed", name)
        else:
            self._said.pop(name, None)
