"""Hours on the clock of a place, and daylight, on a grid of instants."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from dryspell.outlook.spans import BoolArray
from dryspell.science import sun
from dryspell.trade.hours import Span
from dryspell.weather.table import FloatArray, TimeArray


def in_hours(grid: TimeArray, spans: tuple[Span, ...], zone: ZoneInfo) -> BoolArray:
    """Return where the grid lies within hours of the site's own days, both ends included."""
    inside = np.zeros(grid.size, dtype=np.bool_)
    day = _local_day(grid[0], zone) - timedelta(days=1)
    last = _local_day(grid[-1], zone)
    while day <= last:  # days, not steps
        for weekdays, start, end in spans:
            if day.weekday() in weekdays:
                inside |= (grid >= _instant(day, start, zone)) & (grid <= _instant(day, end, zone))
        day += timedelta(days=1)
    return inside


def in_daylight(grid: TimeArray, zenith_deg: FloatArray, after_sunrise_h: float) -> BoolArray:
    """Return where the sun is up and has been for `after_sunrise_h`."""
    up = sun.is_daylight(zenith_deg)
    index = np.arange(grid.size)
    last_dark = np.maximum.accumulate(np.where(up, -1, index))
    since_h = (grid - grid[np.maximum(last_dark, 0)]) / np.timedelta64(1, "h")
    return up & ((last_dark < 0) | (since_h > after_sunrise_h))


def _local_day(instant: np.datetime64, zone: ZoneInfo) -> datetime:
    moment = datetime.fromisoformat(f"{instant.astype('datetime64[s]')}+00:00").astimezone(zone)
    return datetime(moment.year, moment.month, moment.day)  # noqa: DTZ001  (a calendar day, not an instant)


def _instant(day: datetime, clock: time, zone: ZoneInfo) -> np.datetime64:
    local = datetime.combine(day.date(), clock, tzinfo=zone)
    return np.datetime64(int(local.timestamp()), "s")
