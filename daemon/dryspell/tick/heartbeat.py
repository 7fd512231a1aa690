"""What the daemon leaves in a small file at each tick, for who asks how it does: also when its state cannot be read.

The file is written in place and never grows shorter, so that a disk that has become full takes it still. A reader may
meet it half written, and then reads it again.
"""

import logging
import os
import time
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

from pydantic import Field, ValidationError

from dryspell import __version__
from dryspell.alerts.sensors import SensorHealth
from dryspell.alerts.sources import SourceHealth
from dryspell.clock import Clock
from dryspell.outlook.model import Plain
from dryspell.owner import open_or_make

log = logging.getLogger(__name__)

FILE_NAME = "heartbeat.json"
_BLOCK = 4096
_TRIES = 5
_TRY_AGAIN_S = 0.02


class Heartbeat(Plain):
    """How the daemon was when its last tick ended."""

    process: int
    version: str
    started_at: datetime
    at: datetime = Field(description="the end of the last tick, good or not")
    last_good_at: datetime | None = Field(default=None, description="the end of the last one that did all it should")
    failures: int = Field(default=0, description="ticks that failed since then")
    error: str = Field(default="", description="why the last one failed")
    tick_s: float = Field(description="how often one is due, by the daemon's clock")
    config_problem: str = Field(default="", description="why a changed configuration was not taken")
    unjudged: dict[str, str] = Field(default={}, description="by piece, why it could not be judged at the last tick")
    sources: tuple[SourceHealth, ...] = ()
    sensors: tuple[SensorHealth, ...] = ()


def write_heartbeat(state_dir: Path, beat: Heartbeat) -> None:
    """Leave a heartbeat; OSError where it cannot be left."""
    body = beat.model_dump_json().encode()
    handle = open_or_make(state_dir / FILE_NAME)
    try:
        size = max(os.fstat(handle).st_size, -(-(len(body) + 1) // _BLOCK) * _BLOCK)
        os.pwrite(handle, body.ljust(size - 1) + b"\n", 0)
    finally:
        os.close(handle)


def read_heartbeat(state_dir: Path) -> Heartbeat | None:
    """Return the last heartbeat; None where there is none that can be read."""
    for tries_left in reversed(range(_TRIES)):
        try:
            return Heartbeat.model_validate_json((state_dir / FILE_NAME).read_bytes())
        except OSError:
            return None
        except ValidationError:
            if tries_left:
                time.sleep(_TRY_AGAIN_S)
    return None


class Pulse:
    """Leaves a heartbeat whenever a tick has ended.

    Parameters
    ----------
    tick_s
        How often a tick is due, by the clock.
    sources, sensors
        Return how these do.
    """

    def __init__(
        self,
        state_dir: Path,
        clock: Clock,
        tick_s: float,
        sources: Callable[[], list[SourceHealth]],
        sensors: Callable[[datetime], list[SensorHealth]],
    ) -> None:
        self._state_dir = state_dir
        self._clock = clock
        self._tick_s = tick_s
        self._sources = sources
        self._sensors = sensors
        self._started_at = clock.now()
        self._last_good_at: datetime | None = None
        self._said = ""

    def beat(
        self, *, failures: int, error: str, config_problem: str = "", unjudged: Mapping[str, str] | None = None
    ) -> None:
        """Leave one; where that cannot be, log it once.

        Parameters
        ----------
        failures, error
            How many ticks in a row have failed, and what the last one failed with; 0 where the last one did not.
        config_problem
            Why a changed configuration was not taken.
        unjudged
            By piece, why it could not be judged at the last tick.
        """
        now = self._clock.now()
        if not failures:
            self._last_good_at = now
        beat = Heartbeat(
            process=os.getpid(),
            version=__version__,
            started_at=self._started_at,
            at=now,
            last_good_at=self._last_good_at,
            failures=failures,
            error=error,
            tick_s=self._tick_s,
            config_problem=config_problem,
            unjudged=dict(unjudged or {}),
            sources=tuple(self._sources()),
            sensors=tuple(self._sensors(now)),
        )
        try:
            write_heartbeat(self._state_dir, beat)
        except OSError as problem:
            said = f"{self._state_dir / FILE_NAME} cannot be written: {problem.strerror}"
            if said != self._said:
                log.warning("%s; `dryspell status` knows less", said)
            self._said = said
        else:
            self._said = ""
