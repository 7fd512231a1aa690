"""The document of `dryspell material --json`: every number with its unit in its key; prices are in any currency."""

from collections.abc import Mapping
from typing import Any

from dryspell.answers.material_found import Found, cautions
from dryspell.answers.material_parts import MaterialDocument
from dryspell.answers.shopping_list import groups
from dryspell.trade.cans import Choice, Pour
from dryspell.trade.material import CoatNeed, one_more
from dryspell.trade.shopping import PieceNeeds, Purchase
from dryspell.trade.sizes import Can


def material_document(found: Found) -> MaterialDocument:
    """Return the document."""
    used = found.shopping.consumables
    return MaterialDocument.model_validate(
        {
            "generated_at": found.now,
            "pieces": [_piece(found, piece) for piece in found.shopping.pieces],
            "stock": [
                {
                    "coating": coating.key,
                    "at_hand_l": _round(found.at_hand_l[coating.key]),
                    "stood_open_too_long": [stock.key for stock in found.at_hand.old if stock.coating == coating.key],
                }
                for coating in found.shopping.coatings
            ],
            "consumables": {
                "thinner": [
                    {"coating": each.coating.key, "mix_l": _round(each.mix_l), "cleaning_l": _round(each.cleaning_l)}
                    for each in used.thinners
                ],
                "degreaser_l": _round(used.degreaser_l),
                "discs": _counts(used.discs, "abrasive"),
                "quarter_sheets": _counts(used.quarter_sheets, "abrasive"),
                "brushes": _counts(used.brushes, "coating"),
                "tape_m": _round(used.tape_m),
            },
            "list": [
                {
                    "label": group.label,
                    "items": [
                        {
                            "count": item.count,
                            "size": item.size,
                            "for": item.text,
                            "needed_on": item.needed_on,
                        }
                        for item in group.items
                    ],
                }
                for group in groups(found)
            ],
            "cautions": list(cautions(found)),
        }
    )


def _piece(found: Found, piece: PieceNeeds) -> dict[str, Any]:
    of, film = piece.work.piece, piece.film
    site = found.config.site_of(of)
    return {
        "piece": of.key,
        "name": of.name,
        "site": of.site,
        "timezone": site.zone.key,
        "area_m2": of.area_m2,
        "loss_pct": of.loss_pct,
        "coats": len(piece.work.lays),
        "coats_on": piece.work.count,
        "mix_c": found.mix_c[of.key],
        "film": {
            "on_um": _round(film.on_um),
            "end_um": _round(film.end_um),
            "full_on": film.on_full,
            "full_end": film.end_full,
            "full_wanted": film.wanted_full,
            "full_short": film.short,
            "one_more_coating_l": _round(one_more(piece.work.lays, of).coating_l) if film.short else None,
            "as_planned": film.as_planned,
        },
        "coatings": [_purchase(found, piece, buy) for buy in piece.purchases],
    }


def _purchase(found: Found, piece: PieceNeeds, buy: Purchase) -> dict[str, Any]:
    pours: list[Pour | None] = [None] * len(buy.needs) if buy.choice is None else [*buy.choice.pours]
    return {
        "coating": buy.coating.key,
        "name": buy.coating.label,
        "coats": [
            _coat(found, piece, need, at_hand_l, pour)
            for need, at_hand_l, pour in zip(buy.needs, buy.at_hand_l, pours, strict=True)
        ],
        "cans": None if buy.choice is None else _cans(buy.choice),
    }


def _coat(found: Found, piece: PieceNeeds, need: CoatNeed, at_hand_l: float, pour: Pour | None) -> dict[str, Any]:
    base, hardener = need.base_and_hardener_l or (None, None)
    batch = found.batch(piece.work.piece, need)
    planned_on = found.planned_on.get((piece.work.piece.key, need.lay.number))
    return {
        "coat": need.lay.number,
        "thinner_parts": need.lay.thinner_parts,
        "wet_film_um": need.lay.wet_film_um,
        "dry_film_um": _round(need.dry_um),
        "full": need.is_full,
        "abrasive": need.lay.abrasive,
        "planned_on": planned_on,
        "mix_l": _round(need.mix_l),
        "coating_l": _round(need.coating_l),
        "base_l": _round(base),
        "hardener_l": _round(hardener),
        "thinner_l": _round(need.thinner_l),
        "at_hand_l": _round(at_hand_l),
        "pour": pour
        and {
            "rest_l": _round(pour.rest_l),
            "opened": [can.label for can in pour.opened],
            "left_l": _round(pour.left_l),
            "kept": pour.kept,
            "decant": pour.decant,
        },
        "batch": batch
        and {
            "pot_life_h": _round(batch.pot_life_h),
            "brushable_h": _round(batch.brushable_h),
            "cups": batch.cups,
            "each_l": _round(batch.each_l),
        },
    }


def _cans(choice: Choice) -> dict[str, Any]:
    return {
        "buy": [_can(can, count, choice.unopened.count(can)) for can, count in choice.counts.items()],
        "needed_l": _round(choice.needed_l),
        "bought_l": _round(choice.bought_l),
        "spare_pct": _round(choice.spare_pct),
        "price": choice.price,
    }


def _can(can: Can, count: int, unopened: int) -> dict[str, Any]:
    return {"size": can.label, "size_l": can.litres, "count": count, "unopened": unopened, "price": can.price}


def _counts(of: Mapping[str, int], name: str) -> list[dict[str, Any]]:
    return [{name: key, "count": count} for key, count in of.items()]


def _round(number: float | None) -> float | None:
    return None if number is None else round(number, 4)
