"""The shopping list: how many of what size, for which coats of which piece, and what is to spare."""

import math
from collections.abc import Container, Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from dryspell.answers.amounts import coats_text, volume
from dryspell.answers.material_found import Found
from dryspell.config.wording import listed
from dryspell.outlook.figures import Units, weekday_date
from dryspell.trade.coating import Coating
from dryspell.trade.consumables import is_two_part
from dryspell.trade.shopping import PieceNeeds, Purchase
from dryspell.trade.sizes import Can
from dryspell.trade.system import NO_SANDING

BOTTLE: dict[Units, Can] = {"metric": Can("1 L", 1.0), "us": Can("1 quart", 0.946352946)}
"""What thinner and degreaser are sold in."""
ROLL_M: dict[Units, tuple[str, float]] = {"metric": ("50 m", 50.0), "us": ("60 yd", 54.864)}
DISC: dict[Units, str] = {"metric": "150 mm", "us": "6 in"}


@dataclass(frozen=True)
class Item:
    """So many of a size, and what for.

    Attributes
    ----------
    needed_on
        The day of the plan's coat that first takes it; None for no date yet.
    spare
        No coat takes it.
    """

    count: int
    size: str
    text: str
    needed_on: date | None = None
    spare: bool = False

    @property
    def when(self) -> str:
        """By when it is needed, in words; empty for what is to spare."""
        if self.spare:
            return ""
        return "no date yet" if self.needed_on is None else f"by {weekday_date(self.needed_on)}"


@dataclass(frozen=True)
class Group:
    """What is bought of one coating, or beside the coatings, and what is to be said of it."""

    label: str
    items: Sequence[Item]
    said: Sequence[str] = ()


def groups(found: Found) -> Iterator[Group]:
    """Yield the shopping list; nothing where no coat is left to put on."""
    pieces = found.shopping.pieces
    if not any(piece.needs for piece in pieces):
        return
    for coating in found.shopping.coatings:
        bought = [(piece, buy) for piece in pieces for buy in piece.purchases if buy.coating.key == coating.key]
        yield Group(coating.label, tuple(_cans(found, bought)), tuple(_said(found, coating, bought)))
    yield Group("Beside the coating", tuple(item for item in _beside(found) if item.count))


def _cans(found: Found, bought: list[tuple[PieceNeeds, Purchase]]) -> Iterator[Item]:
    choices = [(piece, buy, buy.choice) for piece, buy in bought if buy.choice is not None]
    for can in sorted({can for _, _, choice in choices for can in choice.counts}, key=lambda can: can.litres):
        count = sum(choice.counts.get(can, 0) for _, _, choice in choices)
        uses = [use for piece, buy, _ in choices if (use := _use(piece, buy, can))]
        cost = "" if can.price is None else f"; {f'{count} at ' * (count > 1)}{can.price:.2f}"
        opened = {
            (piece.work.piece.key, need.lay.number)
            for piece, buy, choice in choices
            for need, pour in zip(buy.needs, choice.pours, strict=True)
            if can in pour.opened
        }
        yield Item(count, can.label, "; ".join(uses) + cost, _first_day(found, opened), spare=not opened)


def _first_day(found: Found, coats: Container[tuple[str, int]]) -> date | None:
    return found.needed_on(lambda piece, need: (piece.work.piece.key, need.lay.number) in coats)


def _use(piece: PieceNeeds, buy: Purchase, can: Can) -> str:
    """Return which coats of a piece cans of a size are opened for; empty for none."""
    if buy.choice is None or can not in buy.choice.counts:
        return ""
    pours = zip(buy.needs, buy.choice.pours, strict=True)
    numbers = [need.lay.number for need, pour in pours if can in pour.opened]
    said = [coats_text(numbers)] if numbers else []
    if can in buy.choice.unopened:
        said.append("to spare")
    return f"{piece.work.piece.name}, {listed(said)}"


def _said(found: Found, coating: Coating, bought: list[tuple[PieceNeeds, Purchase]]) -> Iterator[str]:
    choices = [buy.choice for _, buy in bought if buy.choice is not None]
    if len(choices) < len(bought):
        yield 'how much is not known: it leaves no film to reckon by (set spread, such as "12 m^2/L")'
    needed, litres = sum(choice.needed_l for choice in choices), sum(choice.bought_l for choice in choices)
    kits = "in kits of base and hardener together; " if is_two_part(coating) and litres else ""
    if litres:
        spare = round(100.0 * (litres / needed - 1.0))
        yield f"{kits}{volume(needed, found.units)} are needed, {spare} % to spare"
    prices = [choice.price for choice in choices if choice.counts]
    if sum(len(choice.counts) for choice in choices) > 1 and None not in prices:
        yield f"price {sum(price or 0.0 for price in prices):.2f}"
    if there := found.at_hand_l[coating.key]:
        poured = sum(sum(buy.at_hand_l) for _, buy in bought)
        yield f"at hand {volume(there, found.units)}, of which {volume(poured, found.units)} go into these coats"
    for stock in found.at_hand.old:
        if stock.coating == coating.key and stock.opened is not None:
            days = (found.today - stock.opened).days
            yield f"stock.{stock.key} has stood open for {days} days and is not counted on: look for skin and bits"


def _beside(found: Found) -> Iterator[Item]:
    """Yield what is used up beside the coating."""
    used, units = found.shopping.consumables, found.units

    def by_coating(key: str) -> date | None:
        return found.needed_on(lambda _, need: need.lay.coating.key == key)

    def by_grit(grit: str, *, first: bool) -> date | None:
        return found.needed_on(lambda _, need: need.lay.abrasive == grit and (need.lay.number == 1) is first)

    bottle = BOTTLE[units]
    for thinner in used.thinners:
        both = thinner.mix_l + thinner.cleaning_l
        mixed = f"{volume(thinner.mix_l, units)} in the mix, " if thinner.mix_l else ""
        parts = f"{mixed}{volume(thinner.cleaning_l, units)} for brushes"
        text = f"thinner for {_short(thinner.coating)}: {parts}"
        yield Item(_whole(both / bottle.litres), bottle.label, text, by_coating(thinner.coating.key))
    wiped = found.needed_on(lambda _, need: need.lay.number == 1 or need.lay.abrasive != NO_SANDING)
    degreaser = f"degreaser: {volume(used.degreaser_l, units)}"
    yield Item(_whole(used.degreaser_l / bottle.litres), bottle.label, degreaser, wiped)
    for grit, count in used.discs.items():
        yield Item(count, DISC[units], f"abrasive discs {grit}", by_grit(grit, first=True))
    for grit, quarters in used.quarter_sheets.items():
        text = f"abrasive {grit}, {quarters} quarters"
        yield Item(_whole(quarters / 4), "sheet", text, by_grit(grit, first=False))
    for key, count in used.brushes.items():
        coating = found.config.coating[key]
        why = ", one a coat: a mix sets in it" if is_two_part(coating) else ""
        yield Item(count, "brush", f"for {_short(coating)}{why}", by_coating(key))
    label, roll_m = ROLL_M[units]
    length = f"{used.tape_m:.0f} m" if units == "metric" else f"{used.tape_m / 0.9144:.0f} yd"
    masked = found.needed_on(lambda piece, _: piece.work.piece.edges_m > 0.0)
    yield Item(_whole(used.tape_m / roll_m), label, f"masking tape for outdoors: {length}", masked)


def _short(coating: Coating) -> str:
    return coating.key.replace("_", " ") if coating.key == coating.family else coating.label


def _whole(number: float) -> int:
    return math.ceil(round(number, 6))
