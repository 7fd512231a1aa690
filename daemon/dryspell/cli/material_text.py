"""What to buy, on a terminal of 80 columns: the list first, then each piece with its coats and its film."""

from collections.abc import Iterator, Sequence
from datetime import timedelta
from itertools import groupby

from dryspell.answers.material_found import Found, cautions
from dryspell.cli.material_list import shopping_lines
from dryspell.cli.material_words import NONE, alike, coats_text, number_word, volume, wrapped
from dryspell.cli.paint import Paint
from dryspell.cli.show import heading
from dryspell.outlook.figures import duration, limit_figure, quantity
from dryspell.outlook.sun_class import upkeep_text, usual_coats, usual_coats_text
from dryspell.trade.cans import Pour
from dryspell.trade.consumables import is_two_part
from dryspell.trade.material import SANDING_UM, CoatNeed, one_more
from dryspell.trade.piece import Piece
from dryspell.trade.shopping import PieceNeeds, Purchase

RECKONED = "Reckoned from area, wet film and loss, and from what is usual in the trade. Hold the first coat against it."


def material_text(found: Found, paint: Paint, *, details: bool = False) -> str:
    """Return everything there is to say; `details` adds how each coat is poured."""
    lines = [*shopping_lines(found, paint)]
    for piece in found.shopping.pieces:
        lines += ["", *_piece(found, piece, paint, details=details)]
    lines += ["", *(paint(line, "aside") for text in (RECKONED, *cautions(found)) for line in wrapped(text, ""))]
    return "\n".join(line.rstrip() for line in lines)


def _piece(found: Found, piece: PieceNeeds, paint: Paint, *, details: bool) -> Iterator[str]:
    of = piece.work.piece
    total = max(len(piece.work.lays), piece.work.count)
    to_come = f"{coats_text(need.lay.number for need in piece.needs)} of {total}" if piece.needs else "built up"
    yield from heading(f"{of.name}, {found.config.site_of(of).name}", to_come, paint)
    if piece.needs and "area_m2" not in of.model_fields_set:
        yield from wrapped("Its area is not told (area): all of this is for 1 m2.", "  ")
    for buy in piece.purchases:
        yield from wrapped(buy.coating.label, "  ")
        yield from _table(found, buy)
        yield from (line for text in _mixing(found, of, buy) for line in wrapped(text, "    "))
        if details:
            yield from _pours(found, buy)
    yield from (line for text in _film(found, piece) for line in wrapped(text, "  "))


def _table(found: Found, buy: Purchase) -> Iterator[str]:
    parts = ("base", "hardener") if buy.coating.ratio else ("coating",)
    yield _row("coat", "parts", "wet film", ["mix", *parts, "thinner"], "dry")
    for need, numbers in alike(buy.needs):
        films = (need.lay.wet_film_um, need.dry_um)
        wet, dry = (quantity(film_um, "um", found.units) if film_um else NONE for film_um in films)
        volumes = [NONE if amount is None else volume(amount, found.units) for amount in _amounts(need)]
        yield _row(numbers, f"{need.lay.thinner_parts:g}", wet, volumes, dry)
    if len(buy.needs) > 1 and buy.choice is not None:
        columns = zip(*map(_amounts, buy.needs), strict=True)
        yield _row("all", "", "", [volume(sum(each or 0.0 for each in column), found.units) for column in columns], "")


def _row(coat: str, parts: str, wet: str, volumes: Sequence[str], dry: str) -> str:
    return f"    {coat:<8}{parts:>6}{wet:>9}" + "".join(f"{text:>11}" for text in volumes) + f"{dry:>8}"


def _amounts(need: CoatNeed) -> list[float | None]:
    return [need.mix_l, *(need.base_and_hardener_l or (need.coating_l,)), need.thinner_l]


def _mixing(found: Found, piece: Piece, buy: Purchase) -> Iterator[str]:
    """Yield how a two-part mix is measured out, and in how many cups."""
    coating, mix_c = buy.coating, found.mix_c[piece.key]
    if not is_two_part(coating):
        return
    if coating.ratio is None:
        yield "Two parts: by the ratio on its can (with ratio = [2, 1] in its table this says how much of each)."
    else:
        base, hardener = coating.ratio
        thinned = "; thinner goes in after mixing" if any(need.lay.thinner_parts for need in buy.needs) else ""
        yield f"Base to hardener {base:g} : {hardener:g}, measured by volume{thinned}."
    if coating.pot_life is None:
        return
    if mix_c is None:
        yield 'How long a mix lasts goes by its warmth, and no weather is kept here: try --at "20 degC".'
        return
    at = limit_figure(mix_c, "degC", found.units)
    where = f"At {at}" if found.told_c else f"At {at}, the warmest air in your hours of the next three days,"
    first = found.batch(piece, buy.needs[0])
    if first is None:
        return
    lasts = f"{where} a mix lasts {_time(first.pot_life_h)}"
    if first.cups is None:
        yield f"{lasts}, and its induction takes all the time there is to brush it: mix it cooler."
        return
    yield f"{lasts}, {_time(first.brushable_h)} of that to brush it: {'; '.join(_cups(found, piece, buy))}."


def _cups(found: Found, piece: Piece, buy: Purchase) -> Iterator[str]:
    batches = [(need.lay.number, found.batch(piece, need)) for need in buy.needs]
    for batch, group in groupby(batches, key=lambda pair: pair[1]):
        if batch is not None and batch.cups is not None:
            numbers = [number for number, _ in group]
            cups = "one mix" if batch.cups == 1 else f"{number_word(batch.cups)} cups"
            of = "" if batch.each_l is None else f" of {volume(batch.each_l, found.units)}"
            yield f"{coats_text(numbers)} {'each ' * (len(numbers) > 1)}in {cups}{of}"


def _time(hours: float) -> str:
    return duration(timedelta(hours=hours))


def _pours(found: Found, buy: Purchase) -> Iterator[str]:
    if buy.choice is None:
        return
    for need, there, pour in zip(buy.needs, buy.at_hand_l, buy.choice.pours, strict=True):
        yield from wrapped(_pour(found, there, pour), 13, f"    coat {need.lay.number}".ljust(13))
    if is_two_part(buy.coating) and any(pour.kept for pour in buy.choice.pours):
        yield from wrapped("Shut what is kept of the hardener air-tight, and use it within two weeks.", 4)


def _pour(found: Found, at_hand_l: float, pour: Pour) -> str:
    cans = [can.label for can in pour.opened]
    opened = [
        label if cans.count(label) == 1 else f"{number_word(cans.count(label))} of {label}"
        for label in dict.fromkeys(cans)
    ]
    out_of = [f"{volume(at_hand_l, found.units)} at hand"] if at_hand_l else []
    if pour.rest_l:
        out_of.append(f"{volume(pour.rest_l, found.units)} left from the coat before")
    out_of += ["a fresh " + " and ".join(opened)] if opened else []
    left = volume(pour.left_l, found.units)
    if pour.decant:
        after = f"; {left} are kept, in a jar they fill"
    elif pour.kept:
        after = f"; {left} are kept"
    else:
        after = f"; {left} are over" if pour.opened or pour.rest_l else ""
    return " and ".join(out_of) + after


def _film(found: Found, piece: PieceNeeds) -> Iterator[str]:
    film, units = piece.film, found.units
    on_um, end_um = (quantity(um, "um", units) for um in (film.on_um, film.end_um))
    if film.end_um:
        now = f"about {on_um} now, {end_um} when built up" if piece.work.count else f"about {end_um} when built up"
        yield f"Dry film: {now}, less {quantity(SANDING_UM, 'um', units)} for each sanding between coats."
    if film.wanted_full:
        short = f", {number_word(film.short)} short of {number_word(film.wanted_full)} full coats" if film.short else ""
        now = f"{number_word(film.on_full)} now, " if piece.work.count else ""
        yield f"Full coats: {now}{number_word(film.end_full)} when built up{short}."
    if film.short:
        more = one_more(piece.work.lays, piece.work.piece)
        takes = "" if more.coating_l is None else f": each coat more takes {volume(more.coating_l, units)}"
        yield f"A full coat has at most 10 parts of thinner and four fifths of the film{takes}."
    if film.as_planned:
        one = film.as_planned == 1
        coats, taken = ("coat", "it is") if one else ("coats", "they are")
        untold = f"Of {number_word(film.as_planned)} {coats} on it thinner or film is not recorded"
        yield f"{untold}; {taken} taken as planned."
    usual = usual_coats(piece.work.piece, found.config.site_of(piece.work.piece), piece.work.lays)
    if usual.short:
        finish = piece.work.lays[-1].coating.label
        yield f"Of {finish} {number_word(usual.planned)} are planned; {usual_coats_text(usual)}."
    if kept := upkeep_text(usual):
        yield kept
