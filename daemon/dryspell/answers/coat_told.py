"""What was told of a coat, in texts by the names of its details, read."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from dryspell.answers import coat_details as read
from dryspell.config import Config
from dryspell.trade.piece import Piece

DETAILS = (
    "at", "began", "who", "coating", "thinner", "wet_film", "used", "abrasive", "batch", "photo", "note",
    "air", "surface", "humidity", "wind",
)  # fmt: skip
"""What may be told of a coat."""
UNKNOWN = "unknown"
"""In a correction: what was told is taken back."""

_PLAIN = {"who": "who", "batch": "batch", "note": "note"}
_KNOWN_OR_NOT: Mapping[str, tuple[str, Callable[[str], Any]]] = {
    "thinner": ("thinner_parts", read.read_thinner),
    "wet_film": ("wet_film_um", read.read_wet_film),
    "used": ("litres", read.read_litres),
}
_MEASURED: Mapping[str, tuple[str, Callable[[str], float]]] = {
    "air": ("air_c", read.read_temperature),
    "surface": ("surface_c", read.read_temperature),
    "humidity": ("humidity_pct", read.read_humidity),
    "wind": ("wind_m_s", read.read_wind),
}


class ToldError(ValueError):
    """Something that was told cannot be read; `problems` says of each detail, by its name, what is wrong with it."""

    def __init__(self, problems: Mapping[str, str]) -> None:
        super().__init__("; ".join(problems.values()))
        self.problems = problems


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
    photo: Callable[[str], str] = read.read_photo,
) -> Told:
    """Read what was told of a coat.

    Parameters
    ----------
    given
        The texts by the names in `DETAILS`; None, or not there, where nothing was told.
    corrected
        The last stroke of the coat that is corrected: a time of day is one of that day, and what is not a name may be
        taken back as "unknown".
    photo
        Reads the name of a photo.

    Raises
    ------
    ToldError
        With all that cannot be read.
    """
    zone = config.site_of(piece).zone
    problems: dict[str, str] = {}
    may_be_unknown = {"began", *_KNOWN_OR_NOT, *_MEASURED} if corrected else set[str]()

    def value(name: str, text: str, reader: Callable[[str], Any]) -> Any:
        if name in may_be_unknown and text.strip().lower() == UNKNOWN:
            return None
        try:
            return reader(text)
        except ValueError as error:
            problems[name] = str(error)
            return None

    coat: dict[str, Any] = {}
    if (text := given.get("at")) is not None:
        coat["finished_at"] = value("at", text, lambda text: read.read_past_instant(text, zone, present, corrected))
    day = coat.get("finished_at") or corrected or present
    readers: dict[str, tuple[str, Callable[[str], Any]]] = {
        "began": ("began_at", lambda text: read.read_past_instant(text, zone, present, day)),
        "coating": ("coating", lambda text: read.read_coating(text, config.coating)),
        **{name: (field, read.read_plain) for name, field in _PLAIN.items()},
        **_KNOWN_OR_NOT,
        "abrasive": ("abrasive", read.read_grit),
        "photo": ("photo", photo),
    }
    for name, (key, reader) in readers.items():
        if (text := given.get(name)) is not None:
            coat[key] = value(name, text, reader)
    hand = {
        key: value(name, text, reader)
        for name, (key, reader) in _MEASURED.items()
        if (text := given.get(name)) is not None
    }
    if problems:
        raise ToldError(problems)
    return Told(coat, hand)
