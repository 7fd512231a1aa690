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
