"""When and where direct sun can reach a piece, as people say it: "12:45-19:30", or how high the skyline stands."""

from collections.abc import Mapping
from typing import Annotated, Any

from pydantic import BeforeValidator

from dryspell.trade.hours import Span, read_hours
from dryspell.units import read_quantity

COMPASS = ("N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW")

Heights = tuple[tuple[float, float], ...]
"""(direction from north clockwise, height over a level line) pairs in degrees, from north on round."""

_EXAMPLE = '{ "S" = "25 deg", "SW" = "40 deg" }'
_WANTED_HOURS = "wanted hours of the day, such as 12:45-19:30"


def read_direction(value: object) -> float:
    """Read a compass point or an angle into degrees from north, clockwise; ValueError says what is wrong."""
    if isinstance(value, str) and value.strip().upper() in COMPASS:
        return COMPASS.index(value.strip().upper()) * 22.5
    if isinstance(value, str) and not any(sign.isdigit() for sign in value):
        raise ValueError(f"is no compass point; wanted one of {' '.join(COMPASS)} or an angle such as 225 deg")
    return read_quantity(value, "degree")


def _read_sun_hours(value: Any) -> tuple[Span, ...]:
    texts = value if isinstance(value, list) else [value]
    if any(isinstance(text, str) and any(sign.isalpha() for sign in text) for text in texts):
        raise ValueError(f"names days, and the sun keeps none; {_WANTED_HOURS}")
    try:
        return read_hours(value)
    except ValueError as error:
        if "no working hours" in str(error):
            raise ValueError(f"are no hours of sun; {_WANTED_HOURS}, or a list of them") from None
        raise


def _read_heights(value: Any) -> Heights:
    if isinstance(value, tuple):
        return value
    if not isinstance(value, Mapping) or not value:
        raise ValueError(f"is no table of heights; wanted the height of the skyline by direction, such as {_EXAMPLE}")
    found: dict[float, float] = {}
    for where, how_high in value.items():
        try:
            direction = read_direction(where) % 360.0
        except ValueError as error:
            raise ValueError(f'cannot be used: the direction "{where}" {error}') from None
        try:
            height = read_quantity(how_high, "degree")
        except ValueError as error:
            shown = f'"{how_high}"' if isinstance(how_high, str) else how_high
            raise ValueError(f'cannot be used: the height {shown} at "{where}" {error}') from None
        if not 0.0 <= height <= 90.0:
            raise ValueError(f'cannot be used: the height "{how_high}" at "{where}" is not within 0 to 90 deg')
        if direction in found:
            raise ValueError(f"has two heights for {direction:g} deg; keep one")
        found[direction] = height
    return tuple(sorted(found.items()))


SunHours = Annotated[tuple[Span, ...], BeforeValidator(_read_sun_hours)]
"""Text or a list of it; read by the clock of the site."""

SkylineHeights = Annotated[Heights, BeforeValidator(_read_heights)]
"""A table from directions to heights."""
