"""When a cover stands over a piece, by the clock on the wall: "17:00-09:00"."""

import re
from datetime import time
from typing import Annotated, Any

from pydantic import BeforeValidator

from dryspell.trade.hours import Span, read_hours

_WANTED = "wanted hours of the day, such as 17:00-09:00"
_HOURS = re.compile(r"(\d{1,2}:\d{2})\s*-\s*(\d{1,2}:\d{2})", re.ASCII)
_MIDNIGHT = ("0:00", "00:00", "24:00")


def _read_cover_hours(value: Any) -> tuple[Span, ...]:
    if isinstance(value, tuple):
        return value
    texts = value if isinstance(value, list) else [value]
    if not texts or not all(isinstance(text, str) for text in texts):
        raise ValueError(f"are no hours of a cover; {_WANTED}, or a list of them")
    parts = [part.strip() for text in texts for part in text.split(",")]
    if any(sign.isalpha() for part in parts for sign in part):
        raise ValueError(f"names days, and the cover is told alike for every day; {_WANTED}")
    spans = tuple(span for part in parts for span in read_hours(_by_day(part)))
    if _all_day(spans):
        raise ValueError('leave no hour without the cover; that is shelter = "cover"')
    return spans


def _by_day(part: str) -> list[str]:
    """Return hours as they lie in one day, cut at midnight where they run over it."""
    match = _HOURS.fullmatch(part)
    if match is None:
        raise ValueError(f"cannot be read at {part!r}; {_WANTED}")
    start, end = ("00:00" if match[1] == "24:00" else match[1]), match[2]
    minutes = [60 * int(clock[:-3]) + int(clock[-2:]) for clock in (start, end)]
    if minutes[0] % 1440 == minutes[1] % 1440 and minutes != [0, 1440]:
        raise ValueError(f"begin and end at one time at {part!r}; {_WANTED}")
    if minutes[1] > minutes[0]:
        return [f"{start}-{end}"]
    return [f"{start}-24:00", *([] if end in _MIDNIGHT else [f"00:00-{end}"])]


def _all_day(spans: tuple[Span, ...]) -> bool:
    reached = time.min
    for _, start, end in sorted(spans, key=lambda span: span[1]):
        if start > reached:
            return False
        reached = max(reached, end)
    return reached == time.max


def hours_text(spans: tuple[Span, ...]) -> str:
    """Return hours of a cover as people write them, those that run over midnight in one piece."""
    hours = sorted((start, end) for _, start, end in spans)
    if len(hours) > 1 and hours[0][0] == time.min and hours[-1][1] == time.max:
        hours = [*hours[1:-1], (hours[-1][0], hours[0][1])]
    return ", ".join(f"{start:%H:%M}-{'24:00' if end == time.max else f'{end:%H:%M}'}" for start, end in hours)


CoverHours = Annotated[tuple[Span, ...], BeforeValidator(_read_cover_hours)]
"""Text or a list of it; read by the clock of the site."""
