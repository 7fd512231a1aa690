"""When a sensor has failed, and when it is back: each is said once. Pure, as `dryspell.alerts.decide` is.

- a sensor that is silent, stuck or mostly flagged has failed, and that is said at once;
- it is back when it has been well for half an hour without a break;
- one that fails again within six hours of that is not spoken of before they are over.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime, timedelta
from enum import StrEnum

from pydantic import Field

from dryspell.alerts.memory import Remembered
from dryspell.alerts.model import Level
from dryspell.outlook.model import Plain
from dryspell.weather.flags import Flag

MEMORY_KEY = "sensor/"
"""What the key of a sensor has before it among the memories of the pieces."""

# All of these: no source.
WELL_FOR = timedelta(minutes=30)
QUIET_FOR = timedelta(hours=6)
FAILED_IS_NEWS_FOR = timedelta(hours=24)
BACK_IS_NEWS_FOR = timedelta(hours=12)
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


class SensorKind(StrEnum):
    """The kinds of notices about sensors."""

    FAILED = "sensor_failed"
    BACK = "sensor_back"


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


class SensorMemory(Remembered):
    """What was said of a sensor and still matters."""

    failed: Trouble | None = Field(default=None, description="what it was said to have failed with")
    key: str = Field(default="", description="the key of the notice that said so")
    since: datetime | None = Field(default=None, description="from when on it could not be used")
    well_since: datetime | None = None
    quiet_until: datetime | None = None
    level: Level = Level.NOW


class SensorNotice(Plain):
    """One thing to say about one sensor."""

    key: str
    kind: SensorKind
    level: Level = Level.NOW
    trouble: Trouble
    health: SensorHealth
    since: datetime | None = Field(description="from when on it could not be used; None where it never was heard")
    created_at: datetime
    expires_at: datetime


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
    said: list[SensorNotice] = []
    kept, settled = dict(memory), set[str]()
    for health in seen:
        before = memory.get(health.sensor, SensorMemory())
        notice, kept[health.sensor] = (
            _failing(before, health, now, live) if before.failed is None else _back(before, health, now)
        )
        if notice is not None:
            said.append(notice)
            settled |= {before.key} if notice.kind is SensorKind.BACK else set()
    return said, kept, settled


def _failing(
    before: SensorMemory, health: SensorHealth, now: datetime, live: Collection[str]
) -> tuple[SensorNotice | None, SensorMemory]:
    trouble = health.trouble
    if trouble is None or (before.quiet_until is not None and now < before.quiet_until):
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
    if before.failed is None or not health.well:
        return None, before.model_copy(update={"well_since": None})
    well_since = before.well_since or now
    if now - well_since < WELL_FOR:
        return None, before.model_copy(update={"well_since": well_since})
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
