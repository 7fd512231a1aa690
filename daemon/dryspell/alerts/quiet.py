"""Quiet hours: from an evening to the morning after, by the clock of a place."""

import re
from datetime import UTC, datetime, time, timedelta, tzinfo
from typing import Annotated, Any, NamedTuple

from pydantic import BeforeValidator

_SPAN = re.compile(r"(\d{1,2}):(\d{2})\s*-\s*(\d{1,2}):(\d{2})", re.ASCII)


class Quiet(NamedTuple):
    """Hours of every day, from `start` up to but not at `end`; over midnight where that is the earlier one."""

    start: time
    end: time

    def holds(self, at: time) -> bool:
        """Say whether a time of day is in them."""
        if self.start <= self.end:
            return self.start <= at < self.end
        return at >= self.start or at < self.end


DEFAULT_QUIET = Quiet(time(21, 30), time(6, 30))


def read_quiet(value: Any) -> Quiet | None:
    """Read "21:30-06:30" or "none"; ValueError says what is wrong."""
    if value is None or isinstance(value, Quiet) or value == "none":
        return None if value == "none" else value
    if isinstance(value, tuple):  # as pydantic dumps it
        return Quiet(*value)
    match = _SPAN.fullmatch(value.strip()) if isinstance(value, str) else None
    hour, minute, to_hour, to_minute = (int(number) for number in match.groups()) if match else [24] * 4
    if max(hour, to_hour) > 23 or max(minute, to_minute) > 59 or (hour, minute) == (to_hour, to_minute):
        raise ValueError('are no quiet hours; wanted such as "21:30-06:30", or "none"')
    return Quiet(time(hour, minute), time(to_hour, to_minute))


QuietHours = Annotated[Quiet | None, BeforeValidator(read_quiet)]


def quiet_until(now: datetime, quiet: Quiet | None, zone: tzinfo) -> datetime | None:
    """Return when the quiet hours that it is in end, None where it is in none; UTC."""
    local = now.astimezone(zone)
    if quiet is None or not quiet.holds(local.time()):
        return None
    ends = datetime.combine(local.date(), quiet.end, tzinfo=zone)
    if local.time() >= quiet.end:
        ends += timedelta(days=1)
    return ends.astimezone(UTC)


def quiet_before(at: datetime, quiet: Quiet | None, zone: tzinfo) -> datetime | None:
    """Return when the quiet hours that an instant is in began, None where it is in none; UTC."""
    local = at.astimezone(zone)
    if quiet is None or not quiet.holds(local.time()):
        return None
    began = datetime.combine(local.date(), quiet.start, tzinfo=zone)
    if local.time() < quiet.start:
        began -= timedelta(days=1)
    return began.astimezone(UTC)


def common(hours: list[Quiet | None]) -> Quiet | None:
    """Return hours that are quiet for all, as far as they are one span; None where there are none."""
    if not hours or None in hours:
        return None
    every = [each for each in hours if each is not None]
    if len(set(every)) == 1:
        return every[0]
    minutes = [minute for minute in range(24 * 60) if all(each.holds(_clock(minute)) for each in every)]
    if not minutes or len(minutes) == 24 * 60:
        return None
    # Of several spans the longest; it may run over midnight.
    starts = [minute for minute in minutes if (minute - 1) % (24 * 60) not in minutes]
    spans = [(start, next(k for k in range(1, 24 * 60) if (start + k) % (24 * 60) not in minutes)) for start in starts]
    start, length = max(spans, key=lambda span: span[1])
    return Quiet(_clock(start), _clock((start + length) % (24 * 60)))


def _clock(minute: int) -> time:
    return time(minute // 60, minute % 60)
