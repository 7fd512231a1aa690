"""The hours in which a finisher can work, as people write them: "Mon-Fri 16:00-20:00, Sat 08:00-18:00"."""

import re
from datetime import time
from typing import Annotated

from pydantic import BeforeValidator

_DAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_SPAN = re.compile(
    r"^(?:(?P<days>[a-z]{3}(?:\s*-\s*[a-z]{3})?)\s+)?(?P<from>\d{1,2}:\d{2})\s*-\s*(?P<to>\d{1,2}:\d{2})$",
    re.IGNORECASE | re.ASCII,
)

Span = tuple[frozenset[int], time, time]
"""Weekdays (0 is Monday) with the time of day at which work may start and must end."""


def _weekdays(text: str | None) -> frozenset[int]:
    if text is None:
        return frozenset(range(7))
    names = [name.strip().lower() for name in text.split("-")]
    unknown = [name for name in names if name not in _DAYS]
    if unknown:
        raise ValueError(f"has no day {unknown[0]!r}; days are Mon Tue Wed Thu Fri Sat Sun")
    first, last = _DAYS.index(names[0]), _DAYS.index(names[-1])
    return frozenset((first + i) % 7 for i in range((last - first) % 7 + 1))


def _clock(text: str) -> time:
    hour, minute = (int(part) for part in text.split(":"))
    if (hour, minute) == (24, 0):
        return time.max
    if hour > 23 or minute > 59:
        raise ValueError(f"has no time {text!r}; wanted such as 08:00")
    return time(hour, minute)


def read_hours(value: object) -> tuple[Span, ...]:
    """Read working hours from one text or a list of them; ValueError says which part is wrong."""
    if isinstance(value, tuple):
        return value
    written = value if isinstance(value, list) else [value]
    texts = [text for text in written if isinstance(text, str)]
    if not texts or len(texts) < len(written):
        raise ValueError(
            "are no working hours; wanted text such as 08:00-18:00 or Mon-Fri 16:00-20:00, or a list of it"
        )
    spans: list[Span] = []
    for text in (part.strip() for whole in texts for part in whole.split(",")):
        match = _SPAN.match(text)
        if match is None:
            raise ValueError(f"cannot be read at {text!r}; wanted such as 08:00-18:00 or Mon-Fri 16:00-20:00")
        start, end = _clock(match["from"]), _clock(match["to"])
        if end <= start:
            raise ValueError(f"end before they start at {text!r}; split hours past midnight in two")
        spans.append((_weekdays(match["days"]), start, end))
    return tuple(spans)


def working_hours_text(spans: tuple[Span, ...]) -> str:
    """Return working hours as people write them: "Mon-Fri 16:00-20:00, Sat 08:00-18:00"."""
    return ", ".join(_span_text(*span) for span in spans)


def _span_text(days: frozenset[int], start: time, end: time) -> str:
    clock = f"{start:%H:%M}-{'24:00' if end == time.max else f'{end:%H:%M}'}"
    if len(days) == len(_DAYS):
        return clock
    first = next(day for day in sorted(days) if (day - 1) % 7 not in days)
    last = (first + len(days) - 1) % 7
    names = [_DAYS[day].capitalize() for day in dict.fromkeys((first, last))]
    return f"{'-'.join(names)} {clock}"


WorkingHours = Annotated[tuple[Span, ...], BeforeValidator(read_hours)]
