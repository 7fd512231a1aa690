"""Windows that lie less than an hour apart are one to a person, and a wobble within an hour is none."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.alerts.memory import Promise
from dryspell.alerts.model import Told
from dryspell.outlook.model import Block, Outlook, Window
from dryspell.trade.hours import Span

HOUR = timedelta(hours=1)
GRID = timedelta(minutes=15)
"""Starts are judged on this grid: a verdict "now" is that of the next quarter hour."""


@dataclass(frozen=True)
class Stretch:
    """Windows with gaps of an hour at the most, in order."""

    windows: tuple[Window, ...]

    @property
    def start(self) -> datetime:
        """The first start."""
        return self.windows[0].start

    @property
    def last_start(self) -> datetime:
        """The last start."""
        return self.windows[-1].last_start

    @property
    def told(self) -> Told:
        """The instants a person is given."""
        return Told(start=self.start, last_start=self.last_start, brush_down_by=self.windows[-1].brush_down_by)

    def touches(self, start: datetime, end: datetime) -> bool:
        """Say whether it overlaps a span, or misses it by an hour at the most."""
        return self.start <= end + HOUR and self.last_start >= start - HOUR


def stretches(windows: Iterable[Window]) -> list[Stretch]:
    """Return windows, in order of time, joined across gaps of an hour at the most."""
    joined: list[tuple[Window, ...]] = []
    for window in windows:
        if joined and window.start - joined[-1][-1].last_start <= HOUR + GRID:
            joined[-1] = (*joined[-1], window)
        else:
            joined.append((window,))
    return [Stretch(windows) for windows in joined]


def open_now(outlook: Outlook, ahead: Sequence[Stretch]) -> Stretch | None:
    """Return the stretch that is open: the verdict says so, and its first start is the next on the grid."""
    if outlook.word not in ("coat", "tight") or not ahead or ahead[0].start - outlook.made_at > GRID:
        return None
    return ahead[0]


def kept(promise: Promise, ahead: Sequence[Stretch], zone: ZoneInfo) -> Stretch | None:
    """Return the stretch that stands for a promised window now: one that touches it, else one of the same day."""
    told = promise.told
    for stretch in ahead:
        if stretch.touches(told.start, told.last_start):
            return stretch
    day = told.start.astimezone(zone).date()
    same_day = [stretch for stretch in ahead if stretch.start.astimezone(zone).date() == day]
    return min(same_day, key=lambda stretch: abs(stretch.start - told.start), default=None)


def block_at(outlook: Outlook, at: datetime) -> Block | None:
    """Return what blocks a start at an instant, or the first start after it that is blocked."""
    return next((block for block in outlook.blocks if block.end > at), None)


def last_worked(by: datetime, hours: Iterable[Span], zone: ZoneInfo) -> datetime | None:
    """Return the last instant of work up to another, that day or the day before; None where there is none; UTC."""
    local = by.astimezone(zone)
    ends = []
    for day in (local.date(), local.date() - timedelta(days=1)):
        for days, begins, ends_at in hours:
            first, last = (datetime.combine(day, at, tzinfo=zone) for at in (begins, ends_at))
            if day.weekday() in days and first <= local:
                ends.append(min(last, local))
    return max(ends).astimezone(UTC) if ends else None
