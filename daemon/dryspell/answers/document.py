"""Outlooks as a JSON document for other programs.

Every number carries its unit in its key, every instant is UTC with Z, and the site's zone is named beside it. A figure
that is not known is null. Keys may be added under the same schema; what a key means never changes under it.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime

from dryspell.outlook.as_json import Document, instant, number, reason_document, stages_document
from dryspell.outlook.met_model import Met
from dryspell.outlook.model import Advice, BareWood, Block, Coat, FilmState, Outlook, Provenance, Window
from dryspell.outlook.states import state_of

__all__ = [
    "Document",
    "advice_document",
    "coat_document",
    "instant",
    "met_document",
    "piece_document",
    "reason_document",
    "stages_document",
    "weather_document",
    "windows_document",
]

WINDOWS_SCHEMA = "dryspell.windows/1"


def windows_document(
    outlooks: Iterable[Outlook], now: datetime, site_names: Mapping[str, str] | None = None
) -> Document:
    """Return the document of `dryspell windows --json`.

    Parameters
    ----------
    outlooks
        In the order they shall stand in.
    now
        The instant they were made at.
    site_names
        What the sites are called, by key.
    """
    names = site_names or {}
    return {
        "schema": WINDOWS_SCHEMA,
        "generated_at": instant(now),
        "pieces": [piece_document(outlook, names.get(outlook.site, outlook.site)) for outlook in outlooks],
    }


def piece_document(outlook: Outlook, site_name: str) -> Document:
    """Return one piece's part of the document."""
    return {
        "piece": outlook.piece,
        "name": outlook.piece_name,
        "site": outlook.site,
        "site_name": site_name,
        "timezone": outlook.timezone,
        "made_at": instant(outlook.made_at),
        "verdict": outlook.word,
        "reason": outlook.reason and reason_document(outlook.reason),
        "state": state_of(outlook, outlook.made_at).value,
        "coating": outlook.coating,
        "next_coat": outlook.next_coat,
        "coats": outlook.coats,
        "sand_first": outlook.sand_first,
        "before": [thing.value for thing in outlook.before],
        "stain": outlook.stain,
        "film": outlook.film and _film(outlook.film),
        "coats_on": outlook.coats_on and outlook.coats_on.model_dump(mode="json"),
        "wood": outlook.wood and _wood(outlook.wood),
        "windows": [_window(window) for window in outlook.windows],
        "blocks": [_block(block) for block in outlook.blocks],
        "weather": outlook.weather and weather_document(outlook.weather),
        "missing": list(outlook.missing),
    }


def _window(window: Window) -> Document:
    return {
        "verdict": window.word,
        "start": instant(window.start),
        "good_from": instant(window.good_from),
        "last_start": instant(window.last_start),
        "brush_down_by": instant(window.brush_down_by),
        "tight_until": instant(window.tight_until),
        "hang_shade_by": instant(window.hang_shade_by),
        "cover_on_by": instant(window.cover_on_by),
        "without_cover": window.without_cover and reason_document(window.without_cover),
        "bare_until": instant(window.bare_until),
        "best_start": instant(window.best_start),
        "probability": window.probability,
        "coarse": window.coarse,
        "binding": reason_document(window.binding),
        "margin_apply_k": number(window.margin_apply_k),
        "margin_hold_k": number(window.margin_hold_k),
        "surface_c": number(window.surface_c),
        "humidity_pct": number(window.humidity_pct),
        "stages": stages_document(window.stages),
        "factors": _factors(window.factors),
        "mix": window.mix and window.mix.model_dump(mode="json"),
        "cautions": [reason_document(reason) for reason in window.cautions],
    }


def _block(block: Block) -> Document:
    return {
        "start": instant(block.start),
        "end": instant(block.end),
        "reason": reason_document(block.reason),
        "others": [limit.value for limit in block.others],
    }


def _factors(factors: Mapping[str, float]) -> list[Document]:
    return [{"factor": name, "multiplier": value} for name, value in factors.items()]


def coat_document(coat: Coat) -> Document:
    """Return what is recorded of a coat."""
    return {
        "coat": coat.number,
        "finished_at": instant(coat.finished_at),
        "recorded_at": instant(coat.recorded_at),
        "who": coat.who,
        "batch": coat.batch,
        "thinner_parts": coat.thinner_parts,
        "wet_film_um": coat.wet_film_um,
        "note": coat.note,
        "began_at": instant(coat.began_at),
        "coating": coat.coating or None,
        "used_l": coat.litres,
        "abrasive": coat.abrasive or None,
        "photo": coat.photo or None,
        "spoilt": coat.spoilt or None,
        "weather": coat.met and met_document(coat.met),
        "advice": coat.advice and advice_document(coat.advice),
    }


def met_document(met: Met) -> Document:
    """Return the weather a coat was put on in; each figure as its value and how it is known."""
    parts = ("start", "end", "least", "most", "by_hand")
    return {
        "first_stroke_at": instant(met.began_at),
        **{part: getattr(met, part).model_dump(mode="json") for part in parts},
        "forecast": met.forecast or None,
        "issued_at": instant(met.issued_at),
        "attribution": met.attribution,
        "sensors": list(met.sensors),
    }


def advice_document(advice: Advice) -> Document:
    """Return the verdict a coat was begun under."""
    return {
        "verdict": advice.word,
        "reason": advice.reason and reason_document(advice.reason),
        "given_at": instant(advice.given_at),
        "against": advice.is_against,
    }


def _film(film: FilmState) -> Document:
    return coat_document(film.coat) | {
        "stain": film.stain,
        "sandable_fraction": film.sandable_fraction,
        "unaccounted_h": film.unaccounted_h,
        "factors": _factors(film.factors),
        "stages": stages_document(film.stages),
    }


def _wood(wood: BareWood) -> Document:
    days = wood.days or (None, None)
    return wood.model_dump(mode="json", exclude={"days"}) | {"least_days_d": days[0], "most_days_d": days[1]}


def weather_document(weather: Provenance) -> Document:
    """Return whose weather it is."""
    return {
        "source": weather.source,
        "attribution": weather.attribution,
        "issued_at": instant(weather.issued_at),
        "age_h": weather.age_h,
        "reaches": instant(weather.reaches),
        "notes": list(weather.notes),
    }
