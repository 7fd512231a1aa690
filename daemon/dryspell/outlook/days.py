"""Calendar days of a place on a grid of instants."""

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.weather.table import TimeArray


def day_begins(grid: TimeArray, zone: ZoneInfo) -> IndexArray:
    """Return the index at which each day of the grid begins, in order; 0 for the day that the grid begins in."""
    first = _day_of(grid[0], zone)
    count = (_day_of(grid[-1], zone) - first).days
    begins = [_midnight(first + timedelta(days=k), zone) for k in range(1, count + 1)]
    return np.concatenate([[0], np.searchsorted(grid, np.array(begins, dtype="datetime64[s]"))]).astype(np.int64)


def on_days(grid: TimeArray, spans: Sequence[tuple[date, date]], zone: ZoneInfo) -> BoolArray:
    """Return where the grid lies in one of some spans of days, the last day of each included."""
    inside = np.zeros(grid.size, dtype=np.bool_)
    for first, last in spans:
        inside |= (grid >= _midnight(first, zone)) & (grid < _midnight(last + timedelta(days=1), zone))
    return inside


def _day_of(instant: np.datetime64, zone: ZoneInfo) -> date:
    return datetime.fromisoformat(f"{instant.astype('datetime64[s]')}+00:00").astimezone(zone).date()


def _midnight(day: date, zone: ZoneInfo) -> np.datetime64:
    return np.datetime64(int(datetime(day.year, day.month, day.day, tzinfo=zone).timestamp()), "s")
