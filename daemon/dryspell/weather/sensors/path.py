"""Where a value stands in a payload.

A path is made of keys, with dots between them, and of [n] for the item of a list, counted from 0 or, below it, from the
end: `state.climate.temperature`, `sensors[0].t`, `[-1].value`. A key may hold anything but dots and square brackets. An
empty path is the whole payload. What stands in an object under the whole text of the path goes first, so that flat
names with dots in them, the columns of a CSV file and the fields of a query are written as they are.
"""

import re
from collections.abc import Mapping
from typing import Any, Final

Steps = tuple[str | int, ...]

MISSING: Final = object()
"""What is found where there is nothing."""

_STEP = re.compile(r"\[(-?\d{1,6})\]|(?:^|\.)([^.\[\]]+)")


def parse_path(text: str) -> Steps:
    """Return the steps of a path.

    Raises
    ------
    ValueError
        It is none; the text says what one looks like.
    """
    steps: list[str | int] = []
    at = 0
    while at < len(text):
        match = _STEP.match(text, at)
        if match is None or text.startswith("."):
            raise ValueError("is no path; wanted keys with dots between, and [n] for items, such as state.probes[0].t")
        steps.append(match[2] if match[1] is None else int(match[1]))
        at = match.end()
    return tuple(steps)


def find(payload: Any, text: str, steps: Steps) -> Any:
    """Return what stands at a path, or MISSING."""
    if not text:
        return payload
    if isinstance(payload, Mapping) and text in payload:
        return payload[text]
    for step in steps:
        if isinstance(step, str):
            if not isinstance(payload, Mapping) or step not in payload:
                return MISSING
        elif not isinstance(payload, list) or not -len(payload) <= step < len(payload):
            return MISSING
        payload = payload[step]
    return payload if steps else MISSING
