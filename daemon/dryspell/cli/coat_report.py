"""What `dryspell coat` answers, in words and as a document."""

import textwrap
from collections.abc import Callable, Iterable, Iterator
from datetime import datetime, timedelta
from typing import Any

from dryspell.cli.document import coat_document, instant, stages_document
from dryspell.config import Config
from dryspell.outlook.figures import duration, quantity, when
from dryspell.outlook.model import Coat, FilmState
from dryspell.trade.piece import Piece
from dryspell.trade.safety import cautions

SCHEMA = "dryspell.coat/1"
WIDTH = 80
STAGES = {
    "touch_dry": "touch-dry",
    "dew_safe": "dew-safe",
    "rain_safe": "rain-safe",
    "recoat": "ready to coat over",
    "sandable": "sandable",
}


def recorded_text(config: Config, piece: Piece, coat: Coat, film: FilmState | None, present: datetime) -> str:
    """Return the answer to a coat that was recorded."""
    zone = config.site_of(piece).zone
    stroke = when(coat.finished_at, zone, present)
    lines = [f"{piece.name}: coat {coat.number} of {piece.coats} recorded, last stroke {stroke}."]
    if coat.number > piece.coats:
        lines.append(
            f"That is more than the {piece.coats} coats of the configuration; raise `coats` if more are to come."
        )
    if details := ", ".join(_details(config, coat)):
        lines.append(f"{details[:1].upper()}{details[1:]}.")
    lines.extend(_expected(film, lambda at: when(at, zone, present)))
    return wrapped((*lines, "", *cautions(config.coating_of(piece))))


def taken_back_text(config: Config, piece: Piece, coat: Coat, present: datetime) -> str:
    """Return the answer to a coat that was taken back."""
    stroke = when(coat.finished_at, config.site_of(piece).zone, present)
    text = f"{piece.name}: coat {coat.number}, last stroke {stroke}, is taken back. It stays in the record as that"
    return wrapped([f"{text}; the next coat is {coat.number} again."])


def document(
    config: Config, piece: Piece, coat: Coat, film: FilmState | None, present: datetime, *, undone: bool
) -> dict[str, Any]:
    """Return the answer as a JSON document."""
    site = config.site_of(piece)
    return {
        "schema": SCHEMA,
        "generated_at": instant(present),
        "did": "undo" if undone else "record",
        "piece": piece.key,
        "name": piece.name,
        "site": site.key,
        "timezone": site.zone.key,
        **coat_document(coat),
        "coats": piece.coats,
        "stages": film and stages_document(film.stages),
        "unaccounted_h": film and film.unaccounted_h,
        "cautions": [] if undone else list(cautions(config.coating_of(piece))),
    }


def _details(config: Config, coat: Coat) -> Iterator[str]:
    if coat.thinner_parts is not None:
        yield f"{coat.thinner_parts:g} parts of thinner to 100" if coat.thinner_parts else "neat"
    if coat.wet_film_um is not None:
        yield f"wet film {quantity(coat.wet_film_um, 'um', config.alerting.units)}"
    if coat.batch:
        yield f"batch {coat.batch}"
    if coat.who:
        yield f"by {coat.who}"
    if coat.note:
        yield f"note: {coat.note}"


def _expected(film: FilmState | None, at: Callable[[datetime], str]) -> Iterator[str]:
    if film is None:
        yield "No weather is known here yet, so its drying is not estimated; `dryspell windows` fetches some."
        return
    known = [f"{name} {at(moment)}" for key, name in STAGES.items() if (moment := getattr(film.stages, key))]
    later = [name for key, name in STAGES.items() if getattr(film.stages, key) is None]
    beyond = [f"{' and '.join(later)} later than the forecast reaches"] if later else []
    yield f"Estimated: {', '.join(known + beyond)}. Check with your thumb."
    if film.unaccounted_h > 0:
        yield (
            f"For {duration(timedelta(hours=film.unaccounted_h))} since then no weather is known; "
            "they count as no drying at all."
        )


def wrapped(lines: Iterable[str]) -> str:
    """Return lines broken to the width of a terminal."""
    return "\n".join("\n".join(textwrap.wrap(line, WIDTH, break_on_hyphens=False)) for line in lines)
