"""When a source of weather has failed, and when it is back: each is said once. Pure, as `dryspell.alerts.decide` is.

A source that has given nothing for three hours has failed; less is nobody's business. `dryspell.alerts.outages` has the
rest.
"""

from collections.abc import Collection, Iterable, Mapping
from datetime import datetime, timedelta

from pydantic import Field

from dryspell.alerts.kinds import Level, OutageKind
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

SOURCE_MEMORY_KEY = "source/"
"""What the key of a source has before it among the memories of the pieces."""

FAILING_FOR = timedelta(hours=3)
"""No source."""


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


class SourceMemory(OutageMemory):
    """What was said of one source at one site."""

    level: Level = Level.LOG


class SourceNotice(OutageNotice):
    """One thing to say about one source."""

    kind: OutageKind
    health: SourceHealth
    since: datetime


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
    said, kept, settled = decide_each(
        memory,
        ((health.key, health) for health in seen),
        lambda before, health: _failing(before, health, now, live),
        lambda before, health: _back(before, health, now),
        SourceMemory(),
    )
    # Of a source that was always well there is nothing to remember.
    return said, {key: each for key, each in kept.items() if key in memory or each != SourceMemory()}, settled


def _failing(
    before: SourceMemory, health: SourceHealth, now: datetime, live: Collection[str]
) -> tuple[SourceNotice | None, SourceMemory]:
    since = health.failing_since
    if since is None or now - since < FAILING_FOR or before.rests(now):
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
    is_back, before = seen_well(before, now, well=health.failing_since is None)
    if not is_back:
        return None, before
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
