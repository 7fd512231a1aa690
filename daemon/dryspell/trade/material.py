"""What each coat of a build-up takes, and the film all of them leave.

The relations are those of `science.film`. What a brush, a pot and thirsty wood take on top, and what sanding takes off,
are common practice without a source.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryspell.science.film import coating_and_thinner, dry_film_um, is_full_coat, litres
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece
from dryspell.trade.system import NO_SANDING, Lay, lay_at

THIRSTY_M2_PER_L = 9.0
"""How far a litre goes on wood that drinks, whatever the film (common practice, no source: 8 to 10)."""
SANDING_UM = 4.0
"""What a sanding between coats takes off (common practice, no source: 3 to 5)."""


@dataclass(frozen=True)
class CoatNeed:
    """What one coat takes.

    Attributes
    ----------
    lay
        The coat.
    mix_l, coating_l, thinner_l
        The mix, and the two it is made of; None where it leaves no film and no spread is told. [L]
    dry_um
        What it leaves. [um]
    is_full
        Whether it counts as a full coat.
    """

    lay: Lay
    mix_l: float | None
    coating_l: float | None
    thinner_l: float | None
    dry_um: float
    is_full: bool

    @property
    def base_and_hardener_l(self) -> tuple[float, float] | None:
        """How much of the coating is base and how much hardener; None without a ratio. [L]"""
        ratio = self.lay.coating.ratio
        if ratio is None or self.coating_l is None:
            return None
        base, hardener = ratio
        return self.coating_l * base / (base + hardener), self.coating_l * hardener / (base + hardener)


def need_of(lay: Lay, piece: Piece) -> CoatNeed:
    """Return what a coat takes on a piece, brush and pot included."""
    wet, parts = lay.wet_film_um, lay.thinner_parts
    mix = _mix_l(lay, piece)
    coating, thinner = (None, None) if mix is None else map(float, coating_and_thinner(mix, parts))
    return CoatNeed(
        lay=lay,
        mix_l=mix,
        coating_l=coating,
        thinner_l=thinner,
        dry_um=float(dry_film_um(wet, lay.coating.solids_pct, parts)),
        is_full=wet > 0.0 and bool(is_full_coat(parts, wet, lay.coating.wet_film_um)),
    )


def _mix_l(lay: Lay, piece: Piece) -> float | None:
    """Return the mix by the wet film, or by how far a litre goes where there is none or the wood drinks more."""
    lost = 1.0 + piece.loss_pct / 100.0
    spread = lay.coating.spread_m2_per_l
    mixes = []
    if lay.wet_film_um > 0.0:
        mixes.append(float(litres(piece.area_m2, lay.wet_film_um, piece.loss_pct)))
    elif spread is not None:
        mixes.append(piece.area_m2 / spread * lost)
    if lay.number <= piece.thirsty_coats:
        mixes.append(piece.area_m2 / THIRSTY_M2_PER_L * lost)
    return max(mixes, default=None)


@dataclass(frozen=True)
class CoatOn:
    """A coat as it was recorded; None is not told."""

    number: int
    coating: Coating | None = None
    thinner_parts: float | None = None
    wet_film_um: float | None = None


def as_recorded(lay: Lay, coat: CoatOn) -> Lay:
    """Return a coat of the build-up as it was recorded, what is not told as the build-up has it."""
    coating = coat.coating or lay.coating
    planned_um = lay.wet_film_um if coating.key == lay.coating.key else coating.wet_film_um
    return replace(
        lay,
        number=coat.number,
        coating=coating,
        thinner_parts=lay.thinner_parts if coat.thinner_parts is None else coat.thinner_parts,
        wet_film_um=planned_um if coat.wet_film_um is None else coat.wet_film_um,
    )


@dataclass(frozen=True)
class Film:
    """What is built up, and what will be.

    Attributes
    ----------
    on_um, end_um
        Dry film of the coats that are on and of the whole build-up, less what sanding takes. [um]
    on_full, end_full
        How many coats of the coating that finishes it count as full ones: of those on, and in the end.
    wanted_full
        How many there should be; 0 where nothing is said of it.
    as_planned
        Coats that are on of which thinner or film is not told, and taken as the build-up has them.
    """

    on_um: float
    end_um: float
    on_full: int
    end_full: int
    wanted_full: int
    as_planned: int

    @property
    def short(self) -> int:
        """How many full coats it will be short of."""
        return max(0, self.wanted_full - self.end_full)


def film_of(lays: Sequence[Lay], on: Sequence[CoatOn], count: int, *, on_old_film: bool) -> Film:
    """Return the film of a build-up.

    Parameters
    ----------
    lays
        The build-up.
    on
        The coats that are recorded.
    count
        How many are on, those from before the record included.
    on_old_film
        Whether the first one went on an old film: then nobody counts full coats.
    """
    told = {coat.number: coat for coat in on}
    laid = [as_recorded(lay_at(lays, number), told.get(number, CoatOn(number))) for number in range(1, count + 1)]
    all_of_it = [*laid, *lays[count:]]
    finish = lays[-1].coating
    return Film(
        on_um=_dry_um(laid),
        end_um=_dry_um(all_of_it),
        on_full=_full(laid, finish),
        end_full=_full(all_of_it, finish),
        wanted_full=0 if on_old_film else round(finish.full_coats),
        as_planned=sum(
            (coat := told.get(number)) is None or coat.thinner_parts is None or coat.wet_film_um is None
            for number in range(1, count + 1)
        ),
    )


def _dry_um(lays: Sequence[Lay]) -> float:
    wet = np.array([lay.wet_film_um for lay in lays])
    parts = np.array([lay.thinner_parts for lay in lays])
    dry = float(dry_film_um(wet, np.array([lay.coating.solids_pct for lay in lays]), parts).sum())
    sanded = sum(lay.number > 1 and lay.abrasive != NO_SANDING for lay in lays)
    return max(0.0, dry - SANDING_UM * sanded)


def _full(lays: Sequence[Lay], coating: Coating) -> int:
    of_it = [lay for lay in lays if lay.coating.key == coating.key and lay.wet_film_um > 0.0]
    parts, wet = [lay.thinner_parts for lay in of_it], [lay.wet_film_um for lay in of_it]
    return int(is_full_coat(parts, wet, coating.wet_film_um).sum())


def one_more(lays: Sequence[Lay], piece: Piece) -> CoatNeed:
    """Return what one more full coat of the coating that finishes a build-up takes."""
    finish = lays[-1].coating
    wet = max(finish.wet_film_um, *(lay.wet_film_um for lay in lays if lay.coating.key == finish.key))
    return need_of(replace(lays[-1], number=len(lays) + 1, thinner_parts=0.0, wet_film_um=wet), piece)
