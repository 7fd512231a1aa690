"""One value that a sensor read."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True)
class Reading:
    """One value that a sensor read, not yet looked over.

    Attributes
    ----------
    sensor
        The key of the sensor in the configuration.
    variable
        A name of `dryspell.weather.table.VARIABLES`; the value is in its unit.
    at
        When it was read (aware, UTC): the payload's own instant where it has one, else when it arrived.
    value
        The value; finite.

    Raises
    ------
    ValueError
        For an instant without its offset from UTC.
    """

    sensor: str
    variable: str
    at: datetime
    value: float

    def __post_init__(self) -> None:
        if self.at.tzinfo is None:
            raise ValueError("a reading's instant needs its offset from UTC")


Sink = Callable[[Sequence[Reading]], None]
"""Where readings go. It returns once they are kept for good; what cannot be kept raises StoreError, and a way in which
readings arrive then does not say to its sender that they have."""
