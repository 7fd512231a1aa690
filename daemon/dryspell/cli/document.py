"""Outlooks as a JSON document for other programs.

Every number carries its unit in its key, every instant is UTC with Z, and the site's zone is named beside it. A figure
that is not known is null. Keys may be added under the same schema; what a key means never changes under it.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from math import isfinite
from typing import Any

from dryspell.outlook.model import BareWood, Block, Coat, FilmState, Outlook, Provenance, Reason, Stages, Window

WINDOWS_SCHEMA = "dryspell.windows/1"

_SUFFIX = {"K": "_k", "degC": "_c", "%": "_pct", "m/s": "_m_s", "mm": "_mm", "h": "_h", "": ""}

Document = dict[str, Any]


def instant(at: datetime | None) -> str | None:
    """Return an instant as ISO 8601 in UTC with Z, to the second."""
    return None if at is None else at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


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
        "coating": outlook.coating,
        "next_coat": outlook.next_coat,
        "coats": outlook.coats,
        "sand_first": outlook.sand_first,
        "film": outlook.film and _film(outlook.film),
        "coats_on": outlook.coats_on and outlook.coats_on.model_dump(mode="json"),
        "wood": outlook.wood and _wood(outlook.wood),
        "windows": [_window(window) for window in outlook.windows],
        "blocks": [_block(block) for block in outlook.blocks],
        "weather": outlook.weather and _weather(outlook.weather),
        "missing": list(outlook.missing),
    }


def reason_document(reason: Reason) -> Document:
    """Return a reason; its value and bound are named by their unit, such as value_k and bound_k."""
    document: Document = {"limit": reason.limit.value}
    for name, number in (("value", reason.value), ("bound", reason.bound)):
        if number is not None:
            document[name + _SUFFIX[reason.unit]] = _number(number)
    if reason.what:
        document["variable"] = reason.what
    if reason.dry_at is not None:
        document["dry_at"] = instant(reason.dry_at)
    return {**document, "at": instant(reason.at)}


def _number(value: float) -> float | None:
    return value if isfinite(value) else None


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
        "margin_apply_k": _number(window.margin_apply_k),
        "margin_hold_k": _number(window.margin_hold_k),
        "surface_c": _number(window.surface_c),
        "humidity_pct": _number(window.humidity_pct),
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


def stages_document(stages: Stages) -> Document:
    """Return when a film reaches its stages."""
    return {name: instant(getattr(stages, name)) for name in Stages.model_fields}


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
    }


def _film(film: FilmState) -> Document:
    return coat_document(film.coat) | {
        "sandable_fraction": film.sandable_fraction,
        "unaccounted_h": film.unaccounted_h,
        "factors": _factors(film.factors),
        "stages": stages_document(film.stages),
    }


def _wood(wood: BareWood) -> Document:
    days = wood.days or (None, None)
    return wood.model_dump(mode="json", exclude={"days"}) | {"least_days_d": days[0], "most_days_d": days[1]}


def _weather(weather: Provenance) -> Document:
    return {
        "source": weather.source,
        "attribution": weather.attribution,
        "issued_at": instant(weather.issued_at),
        "age_h": weather.age_h,
        "reaches": instant(weather.reaches),
        "notes": list(weather.notes),
    }
