"""What holds for whatever can fail and be well again, a sensor or a source of weather: each is said once.

- it is back when it has been well for half an hour without a break;
- one that fails again within six hours of that is not spoken of before they are over.
"""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta
from typing import TypeVar

from pydantic import Field

from dryspell.alerts.kinds import Level
from dryspell.alerts.memory import Remembered
from dryspell.outlook.model import Plain

# All of these: no source.
WELL_FOR = timedelta(minutes=30)
QUIET_FOR = timedelta(hours=6)
FAILED_IS_NEWS_FOR = timedelta(hours=24)
BACK_IS_NEWS_FOR = timedelta(hours=12)


class OutageMemory(Remembered):
    """What was said of one of them and still matters."""

    key: str = Field(default="", description="of the notice that it has failed; empty when it has not")
    since: datetime | None = Field(default=None, description="from when on it could not be used")
    well_since: datetime | None = None
    quiet_until: datetime | None = None
    level: Level = Level.NOW

    def rests(self, now: datetime) -> bool:
        """Say whether it was spoken of so lately that nothing is said."""
        return self.quiet_until is not None and now < self.quiet_until


class OutageNotice(Plain):
    """One thing to say about one of them."""

    key: str
    level: Level
    created_at: datetime
    expires_at: datetime


M = TypeVar("M", bound=OutageMemory)
N = TypeVar("N", bound=OutageNotice)
H = TypeVar("H")


def decide_each(
    memory: Mapping[str, M],
    seen: Iterable[tuple[str, H]],
    failing: Callable[[M, H], tuple[N | None, M]],
    back: Callable[[M, H], tuple[N | None, M]],
    blank: M,
) -> tuple[list[N], dict[str, M], set[str]]:
    """Return what to say now, the memory to keep, and the keys of the notices that hold no more.

    Parameters
    ----------
    memory
        By key, as returned by the decision before; empty at first.
    seen
        Each of them by its key, and how it does.
    failing, back
        What is said of one that was well, and of one that had failed.
    blank
        The memory of one of which nothing was said.
    """
    said: list[N] = []
    kept, settled = dict(memory), set[str]()
    for key, health in seen:
        before = memory.get(key, blank)
        notice, kept[key] = (back if before.key else failing)(before, health)
        if notice is not None:
            said.append(notice)
            settled |= {before.key} - {""}
    return said, kept, settled


def seen_well(before: M, now: datetime, *, well: bool) -> tuple[bool, M]:
    """Return whether one that had failed is back, and the memory with since when it has been well."""
    if not well:
        return False, before.put(well_since=None)
    well_since = before.well_since or now
    return now - well_since >= WELL_FOR, before.put(well_since=well_since)
