"""Material: what to buy for the coats to come, and what each coat takes."""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from dryspell.answers.amounts import NONE, coats_text, volume
from dryspell.answers.material_found import Found, cautions, find
from dryspell.answers.shopping_list import groups
from dryspell.outlook.figures import quantity
from dryspell.trade.cans import Pour
from dryspell.trade.shopping import PieceNeeds, Purchase
from dryspell.web.shell import Shell, View


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""

    async def material(request: Request) -> Response:
        return await shell.page(request, "material.html", _fill)

    return [("/material", ["GET"], material)]


def _fill(view: View) -> dict[str, Any]:
    alerting = view.config.alerting.model_copy(update={"units": view.units})
    config = replace(view.known.config if view.known else view.config, alerting=alerting)
    laid = {key: view.desk.store.laid(key, bare=True) for key in config.piece}
    tables = {piece.site: view.known.tables.get(piece.site) if view.known else None for piece in config.piece.values()}
    found = find(config, list(config.piece), laid, tables, view.now, None)
    return {
        "groups": list(groups(found)),
        "pieces": [_piece(found, piece) for piece in found.shopping.pieces if piece.needs],
        "cautions": cautions(found),
    }


def _piece(found: Found, piece: PieceNeeds) -> dict[str, Any]:
    of = piece.work.piece
    return {
        "name": of.name,
        "site": found.config.site_of(of).name,
        "is_guessed": "area_m2" not in of.model_fields_set,
        "purchases": [_purchase(found, buy) for buy in piece.purchases],
        "film": quantity(piece.film.end_um, "um", found.units) if piece.film.end_um else "",
    }


def _purchase(found: Found, buy: Purchase) -> dict[str, Any]:
    units = found.units
    parts = ("Base", "Hardener") if buy.coating.ratio else ("Coating",)
    rows = []
    for need in buy.needs:
        amounts = (need.mix_l, *(need.base_and_hardener_l or (need.coating_l,)), need.thinner_l)
        wet = quantity(need.lay.wet_film_um, "um", units) if need.lay.wet_film_um else NONE
        rows.append(
            (str(need.lay.number), wet, *(NONE if litres is None else volume(litres, units) for litres in amounts))
        )
    return {
        "label": buy.coating.label,
        "heads": ("Coat", "Wet film", "Mix", *parts, "Thinner"),
        "rows": rows,
        "pours": list(_pours(found, buy)),
    }


def _pours(found: Found, buy: Purchase) -> Iterator[str]:
    """Yield out of which cans each coat is poured."""
    if buy.choice is None:
        return
    for need, there_l, pour in zip(buy.needs, buy.at_hand_l, buy.choice.pours, strict=True):
        yield f"{coats_text([need.lay.number]).capitalize()}: {_pour(found, there_l, pour)}."


def _pour(found: Found, at_hand_l: float, pour: Pour) -> str:
    sizes = [can.label for can in pour.opened]
    out_of = [f"{volume(at_hand_l, found.units)} at hand"] if at_hand_l else []
    if pour.rest_l:
        out_of.append(f"{volume(pour.rest_l, found.units)} left from the coat before")
    out_of += [f"{sizes.count(size)} fresh {size}" for size in dict.fromkeys(sizes)]
    left = volume(pour.left_l, found.units)
    if pour.decant:
        return f"{' and '.join(out_of)}; {left} are kept, in a jar they fill"
    return " and ".join(out_of) + (f"; {left} are {'kept' if pour.kept else 'over'}" if pour.left_l else "")
