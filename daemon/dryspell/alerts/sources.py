"""When a source of weather has failed, and when it is back: each is said once. Pure, as `dryspell.alerts.decide` is.

- a source that has given nothing for three hours has failed; shorter ones are nobody's business;
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

SOURCE_MEMORY_KEY = "source/"
"""What the key of a source has before it among the memories of the pieces."""

# All of these: no source.
FAILING_FOR = timedelta(hours=3)
WELL_FOR = timedelta(minutes=30)
QUIET_FOR = timedelta(hours=6)
FAILED_IS_NEWS_FOR = timedelta(hours=24)
BACK_IS_NEWS_FOR = timedelta(hours=12)


class OutageKind(StrEnum):
    """The kinds of notices about sources of weather."""

    FAILED = "source_failed"
    BACK = "source_back"


class SourceHealth(Plain):
    """How a source of weather does at one site."""

    site: str
    source: str
    failing_since: datetime | None = None
    error: str = Field(default="", description="what it said last")
    instead: str = Field(default="", description="whose weather is used meanwhile; empty is its own last one, or none")
    issued_at: datetime | None = Field(default=None, description="when the weather that is used was issued")

    @property
    def key(self) -> str:
        """Which one it is."""
        return f"{self.site}/{self.source}"


class SourceMemory(Remembered):
    """What was said of one source at one site."""

    key: str = Field(default="", description="of the notice that it has failed; empty when it has not")
    since: datetime | None = None
    well_since: datetime | None = None
    quiet_until: datetime | None = None
    level: Level = Level.LOG


class SourceNotice(Plain):
    """One thing to say about one source."""

    key: str
    kind: OutageKind
    level: Level
    health: SourceHealth
    since: datetime
    created_at: datetime
    expires_at: datetime


def decide_sources(
    memory: Mapping[str, SourceMemory], seen: Iterable[SourceHealth], now: datetime, live: Collection[str]
) -> tuple[list[SourceNotice], dict[str, SourceMemory], set[str]]:
    """Return what to say now, the memory to keep, and the keys of the notices that hold no more.

    Parameters
    ----------
    memory
        By site and source, as returned by the decision before; empty at first.
    seen
        One for each source that was asked.
    live
        The sites where somebody counts on the weather: a window was promised, or a film is wet.
    """
    said: list[SourceNotice] = []
    kept, settled = dict(memory), set[str]()
    for health in seen:
        before = memory.get(health.key, SourceMemory())
        if before.key:
            notice, kept[health.key] = _back(before, health, now)
            settled |= {before.key} if notice else set()
        else:
            notice, kept[health.key] = _failing(before, health, now, live)
        said += [notice] if notice else []
    # Of a source that was always well there is nothing to remember.
    return said, {key: each for key, each in kept.items() if key in memory or each != SourceMemory()}, settled


def _failing(
    before: SourceMemory, health: SourceHealth, now: datetime, live: Collection[str]
) -> tuple[SourceNotice | None, SourceMemory]:
    since = health.failing_since
    rests = before.quiet_until is not None and now < before.quiet_until
    if since is None or now - since < FAILING_FOR or rests:
        return None, before
    key = f"{SOURCE_MEMORY_KEY}{health.key}/{OutageKind.FAILED}/{now:%Y-%m-%dT%H:%MZ}"
    level = Level.LOG if health.instead else Level.NOW if health.site in live else Level.PLAN
    notice = SourceNotice(
        key=key,
        kind=OutageKind.FAILED,
        level=level,
        health=health,
        since=since,
        created_at=now,
        expires_at=now + FAILED_IS_NEWS_FOR,
    )
    return notice, SourceMemory(key=key, since=since, level=level)


def _back(before: SourceMemory, health: SourceHealth, now: datetime) -> tuple[SourceNotice | None, SourceMemory]:
    if health.failing_since is not None:
        return None, before.model_copy(update={"well_since": None})
    well_since = before.well_since or now
    if now - well_since < WELL_FOR:
        return None, before.model_copy(update={"well_since": well_since})
    notice = SourceNotice(
        key=f"{before.key}/{OutageKind.BACK}",
        kind=OutageKind.BACK,
        level=before.level,  # whoever was told that it had failed is told that it is back
        health=health,
        since=before.since or now,
        created_at=now,
        expires_at=now + BACK_IS_NEWS_FOR,
    )
    return notice, SourceMemory(quiet_until=now + QUIET_FOR)
