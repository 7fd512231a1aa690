"""The sizes a coating is sold in, with or without their prices."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from itertools import pairwise
from typing import Annotated, Any

from pydantic import BeforeValidator

from dryspell.units import read_quantity

MOST_SIZES = 12
_LEAST_L, _MOST_L = 0.001, 1000.0
_WANTED = 'wanted such as ["250 mL", "0.5 L"], or with prices { "250 mL" = 9.5, "0.5 L" = 16 }'


@dataclass(frozen=True)
class Can:
    """One size a coating is sold in; of two-part coatings a kit of base and hardener.

    Attributes
    ----------
    label
        As it was written: "0.5 L".
    litres
        What is in it, of a kit both parts together. [L]
    price
        Of one, in whatever currency; None where it is not told.
    """

    label: str
    litres: float
    price: float | None = None


# What small cans are sold in (common practice, no source); larger ones are for surfaces that empty them in two coats.
METRIC_CANS = tuple(Can(f"{litres:g} L", litres) for litres in (0.25, 0.375, 0.5, 0.75, 1.0, 2.5))
_US_GALLON_L = 3.785411784  # 231 cubic inches
US_CANS = tuple(
    Can(label, round(_US_GALLON_L * share, 9))
    for label, share in {"0.5 pint": 1 / 16, "1 pint": 1 / 8, "1 quart": 1 / 4, "1 gallon": 1.0}.items()
)


def read_cans(value: Any) -> tuple[Can, ...]:
    """Read sizes, smallest first: a list of them, or a table of sizes and prices; ValueError says what is wrong."""
    if isinstance(value, tuple):
        return value
    priced = isinstance(value, Mapping)
    if not isinstance(value, list | Mapping) or not value or len(value) > MOST_SIZES:
        raise ValueError(f"is no list of 1 to {MOST_SIZES} sizes of cans; {_WANTED}")
    cans = sorted((_can(size, value[size] if priced else None, priced=priced) for size in value), key=_litres)
    for small, large in pairwise(cans):
        if math.isclose(small.litres, large.litres, rel_tol=1e-6):
            raise ValueError(f'has one size twice, "{small.label}" and "{large.label}"; keep one')
    return tuple(cans)


def _litres(can: Can) -> float:
    return can.litres


def _can(size: Any, price: Any, *, priced: bool) -> Can:
    try:
        litres = read_quantity(size, "L")
    except ValueError as error:
        shown = f'"{size}"' if isinstance(size, str) else "a size"
        raise ValueError(f"cannot be used: {shown} {error}") from None
    if not _LEAST_L <= litres <= _MOST_L:
        raise ValueError(f'cannot be used: "{size}" is no size of a can, 1 mL to 1000 L')
    if not priced:
        return Can(size, litres)
    number = float(price) if isinstance(price, int | float | Decimal) and not isinstance(price, bool) else math.nan
    if not 0.0 <= number <= 1e6:
        raise ValueError(f'cannot be used: the price of "{size}" is no number of 0 to 1000000; wanted such as 9.5')
    return Can(size, litres, number)


Cans = Annotated[tuple[Can, ...] | None, BeforeValidator(lambda value: None if value is None else read_cans(value))]
