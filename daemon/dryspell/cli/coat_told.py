"""What was told of a coat on the command line, read."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

import click

from dryspell.answers import coat_details as read
from dryspell.config import Config
from dryspell.trade.piece import Piece

UNKNOWN = "unknown"
"""With --correct: what was told is taken back."""

_PLAIN = {"who": "who", "batch": "batch", "note": "note"}
_KNOWN_OR_NOT: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "thinner": ("thinner_parts", read.read_thinner),
    "wet_film": ("wet_film_um", read.read_wet_film),
    "used": ("litres", read.read_litres),
}
_NAMED: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "abrasive": ("abrasive", read.read_grit),
    "photo": ("photo", read.read_photo),
}
_MEASURED: Mapping[str, tuple[str, Callable[[str], float]]] = {
    "air": ("air_c", read.read_temperature),
    "surface": ("surface_c", read.read_temperature),
    "humidity": ("humidity_pct", read.read_humidity),
    "wind": ("wind_m_s", read.read_wind),
}


@dataclass(frozen=True)
class Told:
    """Fields of `Coat` and figures measured by hand, by their names; those that were not told are not there."""

    coat: Mapping[str, Any] = field(default_factory=dict)
    by_hand: Mapping[str, float | None] = field(default_factory=dict)


def told(
    given: Mapping[str, str | None],
    config: Config,
    piece: Piece,
    present: datetime,
    *,
    corrected: datetime | None = None,
) -> Told:
    """Read what was told of a coat.

    Parameters
    ----------
    given
        The texts by the names in `DETAILS`, None where nothing was told.
    corrected
        The last stroke of the coat that is corrected: a time of day is one of that day, and what is not a name may be
        taken back as "unknown".

    Raises
    ------
    click.BadParameter
        For what cannot be read.
    """
    zone = config.site_of(piece).zone
    coat: dict[str, Any] = {}
    if (text := given["at"]) is not None:
        coat["finished_at"] = _read("at", text, lambda text: read.read_past_instant(text, zone, present, corrected))
    day = coat.get("finished_at") or corrected or present
    readers: dict[str, tuple[str, Callable[[str], Any]]] = {
        "began": ("began_at", lambda text: read.read_past_instant(text, zone, present, day)),
        "coating": ("coating", lambda text: read.read_coating(text, config.coating)),
        **{name: (field, read.read_plain) for name, field in _PLAIN.items()},
        **_KNOWN_OR_NOT,
        **_NAMED,
    }
    may_be_unknown = {"began", *_KNOWN_OR_NOT, *_MEASURED} if corrected else set[str]()

    def value(name: str, text: str, reader: Callable[[str], Any]) -> Any:
        if name in may_be_unknown and text.strip().lower() == UNKNOWN:
            return None
        return _read(name, text, reader)

    for name, (key, reader) in readers.items():
        if (text := given[name]) is not None:
            coat[key] = value(name, text, reader)
    hand = {
        key: value(name, text, reader) for name, (key, reader) in _MEASURED.items() if (text := given[name]) is not None
    }
    return Told(coat, hand)


def _read(name: str, text: str, reader: Callable[[str], Any]) -> Any:
    try:
        return reader(text)
    except ValueError as error:
        raise click.BadParameter(str(error), param_hint=f"--{name.replace('_', '-')}") from None
