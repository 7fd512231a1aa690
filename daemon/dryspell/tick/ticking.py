"""Whether ticks go well, and whether the clock jumped between two of them."""

import logging
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime

from apscheduler.events import JobExecutionEvent

from dryspell.clock import Clock
from dryspell.errors import DryspellError
from dryspell.faults import kind_of, told

log = logging.getLogger(__name__)

JUMP_S = 120.0
MOST_KINDS = 20
"""So many kinds of failures are logged until a tick goes well; `status` tells of the last one, whatever it is."""


@dataclass
class Health:
    """Whether ticks go well; a page may show it."""

    last_good_at: datetime | None = None
    failures: int = 0
    last_error: str = ""
    _said: set[str] = field(default_factory=set, init=False, repr=False)

    def note(self, event: JobExecutionEvent) -> None:
        """Take in what the scheduler says of a tick, and log each kind of failure once until one goes well."""
        if event.exception is None:
            if self.failures:
                log.info("ticks go well again after %d that failed", self.failures)
            self.failures, self.last_error, self.last_good_at = 0, "", datetime.now(UTC)
            self._said.clear()
            return
        self.failures += 1
        self.last_error = told(event.exception)
        kind = kind_of(event.exception)
        if kind in self._said or len(self._said) == MOST_KINDS:
            return
        self._said.add(kind)
        log.error("a tick failed, the next one tries again: %s", self.last_error)
        if not isinstance(event.exception, DryspellError | MemoryError):
            log.error("%s", event.traceback)
        if len(self._said) == MOST_KINDS:
            log.error("no further failures are logged until a tick goes well")


@dataclass
class JumpWatch:
    """Notices that the clock was set, or that the machine slept: the day's time and the stopwatch run apart."""

    clock: Clock
    speed: float = 1.0
    stopwatch: Callable[[], float] = time.monotonic
    _before: tuple[datetime, float] | None = field(default=None, init=False)

    def jumped_s(self) -> float:
        """Return by how many seconds the clock has run ahead since the last call; 0 for less than two minutes."""
        now, stopwatch = self.clock.now(), self.stopwatch()
        before, self._before = self._before, (now, stopwatch)
        if before is None:
            return 0.0
        apart = (now - before[0]).total_seconds() - (stopwatch - before[1]) * self.speed
        return apart if abs(apart) > JUMP_S * self.speed else 0.0
