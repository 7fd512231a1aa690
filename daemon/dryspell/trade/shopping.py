"""What is to be bought for some pieces: the coats still to come, less what is at hand."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dryspell.trade.cans import Choice, choose_cans
from dryspell.trade.coating import Coating
from dryspell.trade.consumables import brushes, cleaning_l, degreaser_l, discs, quarter_sheets, tape_m
from dryspell.trade.material import CoatNeed, CoatOn, Film, film_of, need_of
from dryspell.trade.piece import Piece
from dryspell.trade.sizes import METRIC_CANS, Can
from dryspell.trade.stock import AtHand
from dryspell.trade.system import Lay

_ALMOST_NONE_L = 0.001
"""Nobody opens a can for the last millilitre."""


@dataclass(frozen=True)
class Work:
    """A piece with its build-up and the coats on it.

    Attributes
    ----------
    lays
        The build-up.
    on
        The coats that are recorded and count.
    count
        How many are on, those from before the record included.
    """

    piece: Piece
    lays: tuple[Lay, ...]
    on: tuple[CoatOn, ...]
    count: int


@dataclass(frozen=True)
class Purchase:
    """What the coats to come take of one coating.

    Attributes
    ----------
    needs
        The coats, in their order.
    at_hand_l
        What each of them has at hand. [L]
    choice
        The cans to buy for the rest; None where it is not known what the coats take.
    """

    coating: Coating
    needs: tuple[CoatNeed, ...]
    at_hand_l: tuple[float, ...]
    choice: Choice | None


@dataclass(frozen=True)
class PieceNeeds:
    """What one piece still takes.

    Attributes
    ----------
    needs
        The coats to come.
    purchases
        By coating, in the order of the build-up.
    """

    work: Work
    film: Film
    needs: tuple[CoatNeed, ...]
    purchases: tuple[Purchase, ...]


@dataclass(frozen=True)
class Thinner:
    """Thinner of one coating: in the mix, and for brushes. [L]"""

    coating: Coating
    mix_l: float
    cleaning_l: float


@dataclass(frozen=True)
class Consumables:
    """What is used up beside the coating, for all pieces together.

    Attributes
    ----------
    thinners
        By coating. Of those that water thins and cleans there is none.
    discs, quarter_sheets, brushes
        How many, by grit and by coating.
    """

    thinners: tuple[Thinner, ...]
    degreaser_l: float
    discs: Mapping[str, int]
    quarter_sheets: Mapping[str, int]
    brushes: Mapping[str, int]
    tape_m: float


@dataclass(frozen=True)
class Shopping:
    """Everything to buy."""

    pieces: tuple[PieceNeeds, ...]
    consumables: Consumables

    @property
    def coatings(self) -> tuple[Coating, ...]:
        """The coatings there is something to buy or to put on of."""
        found = {buy.coating.key: buy.coating for piece in self.pieces for buy in piece.purchases}
        return tuple(found.values())

    @property
    def buys_coating(self) -> bool:
        """Whether any coating has to be bought, or may have to be."""
        return any(buy.choice is None or buy.choice.counts for piece in self.pieces for buy in piece.purchases)


def shopping(works: Sequence[Work], at_hand: AtHand, usual: Sequence[Can] = METRIC_CANS) -> Shopping:
    """Return what is to be bought for some pieces.

    Each has cans of its own, chosen by `choose_cans`. What is at hand is poured first, for one piece after the other.

    Parameters
    ----------
    usual
        The sizes of a coating of which none are told.
    """
    pieces = tuple(_piece(work, at_hand, usual) for work in works)
    return Shopping(pieces, _consumables(pieces))


def _piece(work: Work, at_hand: AtHand, usual: Sequence[Can]) -> PieceNeeds:
    needs = tuple(need_of(lay, work.piece) for lay in work.lays[work.count :])
    by_coating: dict[str, list[CoatNeed]] = {}
    for need in needs:
        by_coating.setdefault(need.lay.coating.key, []).append(need)
    last = len(work.lays)
    return PieceNeeds(
        work=work,
        film=film_of(work.lays, work.on, work.count, on_old_film=work.piece.over == "old film"),
        needs=needs,
        purchases=tuple(_purchase(of_it, at_hand, usual, last) for of_it in by_coating.values()),
    )


def _purchase(needs: Sequence[CoatNeed], at_hand: AtHand, usual: Sequence[Can], last: int) -> Purchase:
    coating = needs[0].lay.coating
    litres = [need.coating_l for need in needs if need.coating_l is not None]
    if len(litres) < len(needs):
        return Purchase(coating, tuple(needs), (0.0,) * len(needs), None)
    poured = [
        at_hand.pour(coating.key, taken, fresh=need.lay.number == last)
        for need, taken in zip(needs, litres, strict=True)
    ]
    lacking = [taken - there for taken, there in zip(litres, poured, strict=True)]
    wanted = [short if short > _ALMOST_NONE_L else 0.0 for short in lacking]
    choice = choose_cans(wanted, coating.cans or usual, fresh_last=needs[-1].lay.number == last)
    return Purchase(coating, tuple(needs), tuple(poured), choice)


def _consumables(pieces: Sequence[PieceNeeds]) -> Consumables:
    disc, quarter, brush = Counter[str](), Counter[str](), Counter[str]()
    thinners: dict[str, Thinner] = {}
    for piece in pieces:
        lays, area_m2 = [need.lay for need in piece.needs], piece.work.piece.area_m2
        disc.update(discs(lays, area_m2))
        quarter.update(quarter_sheets(lays, area_m2))
        for buy in piece.purchases:
            key, coats = buy.coating.key, len(buy.needs)
            brush[key] += brushes(buy.coating, coats)
            before = thinners.get(key, Thinner(buy.coating, 0.0, 0.0))
            mix_l = before.mix_l + sum(need.thinner_l or 0.0 for need in buy.needs)
            thinners[key] = Thinner(buy.coating, mix_l, before.cleaning_l + cleaning_l(buy.coating, coats))
    return Consumables(
        thinners=tuple(each for each in thinners.values() if each.coating.cures_by != "coalescence"),
        degreaser_l=sum(degreaser_l([need.lay for need in each.needs], each.work.piece.area_m2) for each in pieces),
        discs=disc,
        quarter_sheets=quarter,
        brushes=brush,
        tape_m=sum(tape_m(each.work.piece.edges_m, len(each.needs)) for each in pieces),
    )
