"""The stages a drying film goes through, and the times a data sheet prints for them."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator

from dryspell.units import read_quantity

StageName = Literal[
    "touch_dry", "dew_safe", "rain_safe", "recoat", "sandable", "overcoat_max", "hot_open", "hot_close",
    "in_service", "full_cure",
]  # fmt: skip

Points = tuple[tuple[float, float], ...]
"""(film temperature degC, hours) pairs, coldest first."""

_EXAMPLE = '{ "10 degC" = "9 h", "20 degC" = "5 h" }'
_COLDEST_C, _WARMEST_C, _LONGEST_H = -20.0, 60.0, 24.0 * 365.0


def _read_point(temperature: object, time: object) -> tuple[float, float]:
    try:
        at_c = read_quantity(temperature, "degC")
    except ValueError as error:
        raise ValueError(f'cannot be used: the temperature "{temperature}" {error}') from None
    try:
        hours = read_quantity(time, "hour")
    except ValueError as error:
        shown = f'"{time}"' if isinstance(time, str) else time
        raise ValueError(f'cannot be used: the time {shown} at "{temperature}" {error}') from None
    if not _COLDEST_C <= at_c <= _WARMEST_C:
        raise ValueError(f'cannot be used: "{temperature}" is no temperature for a film, {_COLDEST_C:g} to 60 degC')
    if not 0.0 < hours <= _LONGEST_H:
        raise ValueError(
            f'cannot be used: the time {time} at "{temperature}" is not more than nothing and up to a year'
        )
    return at_c, hours


def read_points(value: object) -> Points:
    """Read {"10 degC": "9 h", "18 degC": "5 h"} into ((10.0, 9.0), (18.0, 5.0)); ValueError says what is wrong."""
    if isinstance(value, tuple):
        return value
    if not isinstance(value, Mapping) or not value:
        raise ValueError(f"is no table of times; wanted a time for each temperature printed, such as {_EXAMPLE}")
    points = sorted(_read_point(temperature, time) for temperature, time in value.items())
    for (cold, slow), (warm, fast) in pairwise(points):
        if cold == warm:
            raise ValueError(f"has two times for {cold:g} degC; keep one")
        if fast > slow:
            raise ValueError(
                f"takes longer at {warm:g} degC ({fast:g} h) than at {cold:g} degC ({slow:g} h); "
                "a film dries no slower when it is warmer"
            )
    return tuple(points)


def _read_optional_points(value: Any) -> Points | None:
    return None if value is None or value == "none" else read_points(value)


StagePoints = Annotated[Points, BeforeValidator(read_points)]
"""What a data sheet prints for one stage."""

OptionalStagePoints = Annotated[Points | None, BeforeValidator(_read_optional_points)]
"""The same for a stage that not every coating has: "none" says that this one has not."""
