"""The state of a piece as it is published over MQTT: a JSON document that anything can read."""

from datetime import datetime
from zoneinfo import ZoneInfo

from dryspell.outlook.as_json import Document, instant, reason_document, stages_document
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Outlook, Window
from dryspell.outlook.states import state_of
from dryspell.outlook.words import coat_below, open_window, reason_text, sand_first_text, verdict_line

SCHEMA = "dryspell.piece/1"


def state_document(outlook: Outlook, units: Units = "metric") -> Document:
    """Return the state of a piece.

    Keys may be added under the same schema; what a key means never changes under it. `text` and `reason_text` are for
    people, in their units; everything else is for programs.
    """
    zone = ZoneInfo(outlook.timezone)
    now_open = open_window(outlook)
    ahead = next((window for window in outlook.windows if window is not now_open), None)
    reason = outlook.reason
    text = reason and reason_text(reason, zone, units, on=outlook.made_at, below=coat_below(outlook))
    return {
        "schema": SCHEMA,
        "generated_at": instant(outlook.made_at),
        "piece": outlook.piece,
        "name": outlook.piece_name,
        "site": outlook.site,
        "timezone": outlook.timezone,
        "verdict": outlook.word,
        "until": instant(_until(outlook, now_open, ahead)),
        "text": verdict_line(outlook, units),
        "reason": reason and reason_document(reason),
        "reason_text": text,
        "window": now_open and _window(now_open),
        "next_window": ahead and _window(ahead),
        "state": state_of(outlook, outlook.made_at).value,
        "coating": outlook.coating,
        "next_coat": outlook.next_coat,
        "coats": outlook.coats,
        "sand_first": sand_first_text(outlook) == "sand",
        "before": [thing.value for thing in outlook.before],
        "film": outlook.film
        and {
            "coat": outlook.film.coat.number,
            "finished_at": instant(outlook.film.coat.finished_at),
            "stain": outlook.film.stain,
            "stages": stages_document(outlook.film.stages),
        },
        "pot": outlook.pot
        and {
            "mixed_at": instant(outlook.pot.mixed_at),
            "brush_until": instant(outlook.pot.brush_until),
            "goes_off_at": instant(outlook.pot.goes_off_at),
        },
        "weather": outlook.weather
        and {
            "source": outlook.weather.source,
            "issued_at": instant(outlook.weather.issued_at),
            "attribution": outlook.weather.attribution,
        },
    }


def same_state(one: Document, other: Document) -> bool:
    """Say whether two states differ in nothing but when they were made."""
    return {**one, "generated_at": None} == {**other, "generated_at": None}


def _until(outlook: Outlook, now_open: Window | None, ahead: Window | None) -> datetime | None:
    """Return until when the verdict stands, as far as is known: the last stroke, or when the next window opens."""
    if now_open is not None:
        return now_open.brush_down_by if outlook.word == "coat" else now_open.tight_until
    return ahead.start if ahead is not None and outlook.word == "wait" else None


def _window(window: Window) -> Document:
    return {
        "verdict": window.word,
        "start": instant(window.start),
        "last_start": instant(window.last_start),
        "brush_down_by": instant(window.brush_down_by),
        "tight_until": instant(window.tight_until),
        "probability": window.probability,
    }
