"""When a sensor has failed, and when it is back: each is said once. Pure, as `dryspell.alerts.decide` is.

A sensor that is silent, stuck or mostly flagged has failed, and that is said at once. `dryspell.alerts.outages` has the
rest.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime
from enum import StrEnum

from pydantic import Field

from dryspell.alerts.kinds import Level, SensorKind
from dryspell.alerts.outages import (
    BACK_IS_NEWS_FOR,
    FAILED_IS_NEWS_FOR,
    QUIET_FOR,
    OutageMemory,
    OutageNotice,
    decide_each,
    seen_well,
)
from dryspell.outlook.model import Plain
from dryspell.weather.flags import Flag

MEMORY_KEY = "sensor/"
"""What the key of a sensor has before it among the memories of the pieces."""

# No source.
MOSTLY = 0.5
"""From this share of flagged readings on a sensor has failed."""
HARDLY = 0.2
"""Below this share it is well again."""
FEWEST = 6
"""Of fewer readings a share says nothing."""


class Trouble(StrEnum):
    """What is wrong with a sensor."""

    SILENT = "silent"
    STUCK = "stuck"
    FLAGGED = "flagged"


class SensorHealth(Plain):
    """How a sensor does."""

    sensor: str
    name: str
    site: str
    piece: str | None = None
    silent_after_s: float
    silent: bool
    fresh: bool = Field(description="a good reading is no older than it may be silent: more than not being silent")
    last_heard_at: datetime | None = Field(default=None, description="the stamp of its last reading, good or not")
    last_good_at: datetime | None = None
    stuck: tuple[str, ...] = Field(default=(), description="variables whose last reading is stuck")
    worst: str = Field(default="", description="the variable of which most are not used; the next three are of it")
    readings: int = Field(default=0, description="how many came in the last hours")
    flagged_share: float = Field(default=0.0, description="share of them that are not used, 0 to 1")
    main_flag: Flag = Field(default=Flag.GOOD, description="why most of those are not used")

    @property
    def trouble(self) -> Trouble | None:
        """What is wrong with it, if anything."""
        if self.silent:
            return Trouble.SILENT
        if self.stuck:
            return Trouble.STUCK
        return Trouble.FLAGGED if self.readings >= FEWEST and self.flagged_share >= MOSTLY else None

    @property
    def well(self) -> bool:
        """Whether nothing is wrong with it, by some margin."""
        return self.fresh and self.trouble is None and self.flagged_share < HARDLY


class SensorMemory(OutageMemory):
    """What was said of a sensor and still matters."""

    failed: Trouble | None = Field(default=None, description="what it was said to have failed with")


class SensorNotice(OutageNotice):
    """One thing to say about one sensor."""

    kind: SensorKind
    level: Level = Level.NOW
    trouble: Trouble
    health: SensorHealth
    since: datetime | None = Field(description="from when on it could not be used; None where it never was heard")


def decide_sensors(
    memory: Mapping[str, SensorMemory], seen: Iterable[SensorHealth], now: datetime, live: Collection[str] = ()
) -> tuple[list[SensorNotice], dict[str, SensorMemory], set[str]]:
    """Return what to say now, the memory to keep, and the keys of the notices that hold no more.

    Parameters
    ----------
    memory
        By sensor, as returned by the decision before; empty at first.
    seen
        One for each sensor.
    live
        The sites where somebody counts on what is read: a window was promised, or a film is wet.
    """
    return decide_each(
        memory,
        ((health.sensor, health) for health in seen),
        lambda before, health: _failing(before, health, now, live),
        lambda before, health: _back(before, health, now),
        SensorMemory(),
    )


def _failing(
    before: SensorMemory, health: SensorHealth, now: datetime, live: Collection[str]
) -> tuple[SensorNotice | None, SensorMemory]:
    trouble = health.trouble
    if trouble is None or before.rests(now):
        return None, before
    key = f"{MEMORY_KEY}{health.sensor}/{SensorKind.FAILED}/{now:%Y-%m-%dT%H:%MZ}"
    level = Level.NOW if health.site in live else Level.PLAN
    since = health.last_heard_at if trouble is Trouble.SILENT else health.last_good_at
    notice = SensorNotice(
        key=key,
        kind=SensorKind.FAILED,
        level=level,
        trouble=trouble,
        health=health,
        since=since,
        created_at=now,
        expires_at=now + FAILED_IS_NEWS_FOR,
    )
    return notice, SensorMemory(failed=trouble, key=key, since=since, level=level)


def _back(before: SensorMemory, health: SensorHealth, now: datetime) -> tuple[SensorNotice | None, SensorMemory]:
    is_back, before = seen_well(before, now, well=health.well)
    if before.failed is None or not is_back:
        return None, before
    notice = SensorNotice(
        key=f"{before.key}/{SensorKind.BACK}",
        kind=SensorKind.BACK,
        level=before.level,
        trouble=before.failed,
        health=health,
        since=before.since,
        created_at=now,
        expires_at=now + BACK_IS_NEWS_FOR,
    )
    return notice, SensorMemory(quiet_until=now + QUIET_FOR)
