"""The only place where the time of day is read."""

from datetime import UTC, datetime
from typing import Protocol


class Clock(Protocol):
    """Tells what time it is, as an aware instant in UTC."""

    def now(self) -> datetime:
        """Return the present instant, aware and in UTC."""
        ...


class SystemClock:
    """The computer's own clock."""

    def now(self) -> datetime:
        """Return the present instant."""
        return datetime.now(UTC)


class FixedClock:
    """A clock that stands still, for `--now` and for tests."""

    def __init__(self, at: datetime) -> None:
        if at.tzinfo is None:
            raise ValueError(f"an instant needs its offset from UTC, got {at.isoformat()}")
        self.at = at.astimezone(UTC)

    def now(self) -> datetime:
        """Return the instant the clock was set to."""
        return self.at


class FastClock:
    """A clock that runs at a multiple of real time, to watch days go by in a minute.

    Told at `anchor` (a real instant) is `start`. A process that is started again with the same three figures goes on in
    the same imagined time.
    """

    def __init__(self, start: datetime, speed: float, anchor: datetime) -> None:
        if start.tzinfo is None or anchor.tzinfo is None:
            raise ValueError("start and anchor need their offset from UTC")
        self._start, self._anchor, self._speed = start.astimezone(UTC), anchor.astimezone(UTC), speed

    def now(self) -> datetime:
        """Return the imagined instant."""
        return self._start + (datetime.now(UTC) - self._anchor) * self._speed
