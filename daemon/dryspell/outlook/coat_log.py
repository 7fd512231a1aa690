"""The coating record of a piece, reckoned up: full coats counted apart, and the film they leave."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from dryspell.outlook.laid import coating_of
from dryspell.outlook.model import Coat
from dryspell.science.film import dry_film_um, is_full_coat
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece
from dryspell.trade.system import NO_SANDING, Lay, lay_at

SANDED_UM = (3.0, 5.0)
"""What each sanding between two coats takes off the film (common practice, no source)."""

FilmBy = Literal["gauge", "litres", "plan"]
"""How a wet film is known: by a comb in it; from the litres used; or only as the build-up has it."""


@dataclass(frozen=True)
class Row:
    """One coat of the record.

    Attributes
    ----------
    coat
        As it was recorded.
    lay
        As the build-up has it.
    coating
        What it was put on with.
    wet_film_um, film_by
        The wet film, and how it is known.
    dry_film_um
        What it leaves; None where it is not told how it was thinned, and of a spoilt coat, which goes.
    full_number
        Its number among the full coats; None where it is none.
    """

    coat: Coat
    lay: Lay
    coating: Coating
    wet_film_um: float
    film_by: FilmBy
    dry_film_um: float | None
    full_number: int | None


@dataclass(frozen=True)
class CoatLog:
    """The coats of a piece.

    Attributes
    ----------
    rows
        All that were put on, spoilt ones as well, in the order of their strokes.
    on
        How many coats are on, those from before the record included.
    before
        How many of them are from before the record: nothing is known of them.
    full
        How many recorded ones are full coats.
    dry_film_um
        Of those together whose film is known, before what sanding took.
    untold
        Recorded coats that count, of which it is not told how they were thinned.
    by_plan
        Coats in `dry_film_um` whose wet film is only that of the build-up.
    """

    rows: tuple[Row, ...]
    on: int
    before: int
    full: int
    dry_film_um: float
    untold: int
    by_plan: int

    @property
    def counting(self) -> list[Row]:
        """The coats that count."""
        return [row for row in self.rows if not row.coat.spoilt]

    @property
    def sanded_um(self) -> tuple[float, float]:
        """How much sanding between these coats may have taken, at least and at most. [um]"""
        times = sum((row.coat.abrasive or row.lay.abrasive) != NO_SANDING for row in self.counting[1:])
        return SANDED_UM[0] * times, SANDED_UM[1] * times


def coat_log(piece: Piece, laid: Sequence[Coat], lays: Sequence[Lay], coatings: Mapping[str, Coating]) -> CoatLog:
    """Reckon up the record of a piece.

    Parameters
    ----------
    laid
        Every coat that was put on, spoilt ones as well.
    lays
        The build-up.
    coatings
        By key.
    """
    rows, full = list[Row](), 0
    for coat in sorted(laid, key=lambda coat: coat.finished_at):
        lay, coating = lay_at(lays, coat.number), coating_of(coat, lays, coatings)
        wet_um, film_by = _wet_film(coat, piece, lay, coating)
        dry_um = None
        is_full = False
        if coat.thinner_parts is not None and not coat.spoilt:
            dry_um = float(dry_film_um(wet_um, coating.solids_pct, coat.thinner_parts))
            is_full = not coating.stain and bool(is_full_coat(coat.thinner_parts, wet_um, coating.wet_film_um))
        full += is_full
        rows.append(Row(coat, lay, coating, wet_um, film_by, dry_um, full if is_full else None))
    counting = [row for row in rows if not row.coat.spoilt]
    known = [row for row in counting if row.dry_film_um is not None]
    on = max([piece.done, *(row.coat.number for row in counting)])
    return CoatLog(
        rows=tuple(rows),
        on=on,
        before=on - len(counting),
        full=full,
        dry_film_um=sum(row.dry_film_um or 0.0 for row in known),
        untold=len(counting) - len(known),
        by_plan=sum(row.film_by == "plan" for row in known),
    )


def _wet_film(coat: Coat, piece: Piece, lay: Lay, coating: Coating) -> tuple[float, FilmBy]:
    """Return the wet film of a coat [um], and how it is known; the mean one of what was used goes after a comb."""
    if coat.wet_film_um is not None:
        return coat.wet_film_um, "gauge"
    # An area that nobody told is a default, and says nothing of this piece.
    if coat.litres is not None and "area_m2" in piece.model_fields_set and coating.wet_film_um:
        return coat.litres / (1.0 + piece.loss_pct / 100.0) / piece.area_m2 * 1000.0, "litres"
    return (lay.wet_film_um if coating.key == lay.coating.key else coating.wet_film_um), "plan"
