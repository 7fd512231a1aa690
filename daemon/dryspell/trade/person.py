"""Who does the work: their hours, their days off, and the pieces that are theirs."""

import re
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from dryspell.trade.hours import WorkingHours

DateSpan = tuple[date, date]
"""The first and the last day, both included."""

_SPAN = re.compile(r"(\d{4}-\d{2}-\d{2})(?:\s+to\s+(\d{4}-\d{2}-\d{2}))?", re.ASCII)
_WANTED = 'wanted days such as ["2026-09-14", "2026-09-21 to 2026-09-25"]'


def _read_days(value: Any) -> Any:
    if isinstance(value, tuple):
        return value
    written = value if isinstance(value, list) else [value]
    return tuple(_read_span(each) for each in written)


def _read_span(value: Any) -> DateSpan:
    if isinstance(value, date) and not isinstance(value, datetime):  # as TOML writes a date without quotes
        return value, value
    match = _SPAN.fullmatch(value.strip()) if isinstance(value, str) else None
    if match is None:
        raise ValueError(f"are no days off; {_WANTED}")
    try:
        first, last = (date.fromisoformat(text) for text in (match[1], match[2] or match[1]))
    except ValueError:
        raise ValueError(f"has no day {value!r} in the calendar; {_WANTED}") from None
    if last < first:
        raise ValueError(f"end before they start at {value!r}")
    return first, last


DaysOff = Annotated[tuple[DateSpan, ...], BeforeValidator(_read_days)]


class Person(BaseModel):
    """Somebody who prepares and brushes; nobody is at two pieces at once."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str
    label: str = Field(default="", alias="name", description="what to call them in a plan")
    hours: WorkingHours | None = Field(
        default=None,
        examples=["Mon-Fri 07:30-16:30"],
        description="when they work, on the clock of the site; left out, in the hours of each piece",
    )
    days_off: DaysOff = Field(
        default=(), examples=["2026-09-21 to 2026-09-25"], description="days on which they do not work"
    )
    pieces: tuple[str, ...] | None = Field(
        default=None, description="keys of the pieces that are theirs to do; left out, all"
    )

    @property
    def name(self) -> str:
        """What to call them in a plan."""
        return self.label or self.key.replace("_", " ")

    def does(self, piece: str) -> bool:
        """Say whether a piece is theirs to do."""
        return self.pieces is None or piece in self.pieces
