"""What slows a coat beside the weather: how it is laid, on what wood, in what shelter, on how fresh a coat."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import prod

import numpy as np

from dryspell.outlook.model import Coat
from dryspell.science import factors
from dryspell.science.middle import middle
from dryspell.trade.coating import Coating
from dryspell.trade.factors import THINNED_PARTS
from dryspell.trade.piece import Piece
from dryspell.trade.system import Lay
from dryspell.weather.table import FloatArray, TimeArray

CLOSED_SHELTERS = ("cover", "tent", "shed")
"""Where the air is still, whatever the wind."""
AT_MINIMUM_TIMES = 1.2
"""A coat within this many times what the one below took to be sandable follows at the least time (our own choice)."""


@dataclass(frozen=True)
class Slowing:
    """Multipliers on the drying time of films; none of them is one on the longest times.

    Attributes
    ----------
    factors
        By name of the factor; they hold at all times.
    late
        The same, but they count only for what comes after rain-safe, "sandable" and later.
    in_still_air
        The shelter keeps the wind out.
    quick
        A further one for films laid before `quick_until`, datetime64[s] of shape (members,), None for no film.
    """

    factors: Mapping[str, float] = field(default_factory=dict)
    late: Mapping[str, float] = field(default_factory=dict)
    in_still_air: bool = False
    quick: float = 1.0
    quick_until: TimeArray | None = None

    def of_films(self, laid: TimeArray, *, late: bool) -> FloatArray:
        """Return the product of the multipliers for films laid at some instants, shape (members or 1, films)."""
        always = prod(self.factors.values()) * (prod(self.late.values()) if late else 1.0)
        soon = np.zeros((1, 1), bool) if self.quick_until is None else laid[None] <= self.quick_until[:, None]
        return np.broadcast_to(always * np.where(soon, self.quick, 1.0), (len(soon), laid.size))

    def named(self, laid: np.datetime64) -> dict[str, float]:
        """Return the multipliers other than 1 of a film laid at an instant, by name."""
        soon = self.quick_until is not None and bool(middle(np.ravel(laid <= self.quick_until)))
        every = {**self.factors, **self.late, **({"build_up": self.quick} if soon else {})}
        return {name: round(float(value), 4) for name, value in every.items() if value != 1.0}


NOTHING = Slowing()


def slowing_of(
    coating: Coating,
    piece: Piece,
    number: int,
    *,
    thinner_parts: float | None,
    wet_film_um: float | None = None,
    quick_until: TimeArray | None = None,
) -> Slowing:
    """Return what slows the coat of that number, counted from 1 over wood that is bare or stained.

    Parameters
    ----------
    thinner_parts, wet_film_um
        As it is laid; None where nobody told.
    quick_until
        From `quick_until` of the coat below; None where nothing is known of it.
    """
    of = coating.factors
    oxidises = coating.cures_by == "oxidation"
    is_first = number == 1
    found: dict[str, float] = {}
    if wet_film_um and coating.wet_film_um and wet_film_um != coating.wet_film_um:
        found["film_power"] = float(
            factors.film_thickness_factor(wet_film_um, coating.wet_film_um, power=of.film_power)
        )
    if is_first and (thinner_parts or 0.0) >= THINNED_PARTS:
        found["thinned_first"] = of.thinned_first
    if is_first and oxidises and piece.wood == "oily":
        found["oily_wood"] = of.oily_wood
    # A coating found quick was seen to be sandable soon; nobody saw it keep out the dew soon.
    late = {"pace": of.pace} if of.pace < 1.0 else {}
    if of.pace > 1.0:
        found["pace"] = of.pace
    built_up = float(factors.build_up_factor(number, a_coat=of.build_up)) if oxidises else 1.0
    return Slowing(found, late, piece.shelter in CLOSED_SHELTERS, built_up, quick_until)


def next_slowing(lay: Lay, piece: Piece, quick_until: TimeArray | None) -> Slowing:
    """Return what will slow the next coat, laid as the build-up has it."""
    return slowing_of(
        lay.coating,
        piece,
        lay.over_wood,
        thinner_parts=lay.thinner_parts,
        wet_film_um=lay.wet_film_um,
        quick_until=quick_until,
    )


def slowing_of_coat(coating: Coating, piece: Piece, coat: Coat, lay: Lay, quick_until: TimeArray | None) -> Slowing:
    """Return what slows a coat that is on, and that was to be laid as the build-up has it."""
    return slowing_of(
        coating,
        piece,
        coat.number - (lay.number - lay.over_wood),
        thinner_parts=coat.thinner_parts,
        wet_film_um=coat.wet_film_um,
        quick_until=quick_until,
    )


def quick_until(laid: np.datetime64 | TimeArray, sandable: TimeArray) -> TimeArray:
    """Return until when a coat on the one laid then follows at the least time; NaT where that one is never sandable."""
    taken = (sandable - laid) / np.timedelta64(1, "s")
    known = np.isfinite(taken)
    allowed = (np.where(known, taken, 0.0) * AT_MINIMUM_TIMES).astype("timedelta64[s]")
    return np.where(known, laid + allowed, np.datetime64("NaT", "s"))
