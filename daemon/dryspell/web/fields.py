"""The fields of the forms in which a coat is told."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import PurePath
from zoneinfo import ZoneInfo

from dryspell.config import Config
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Coat
from dryspell.trade.piece import Piece

GRITS = ("none", "P80", "P120", "P180", "P220", "P240", "P320", "P400", "P600")
"""What is offered for a field; any other grit of the trade may be typed."""

_EXAMPLES: Mapping[Units, Mapping[str, str]] = {
    "metric": {"wet_film": "80 um", "used": "0.4 L", "air": "18 degC", "surface": "19 degC", "wind": "3 m/s"},
    "us": {"wet_film": "3 mil", "used": "0.1 gallon", "air": "65 degF", "surface": "66 degF", "wind": "7 mph"},
}
_LABELS: Mapping[str, tuple[str, str]] = {
    "at": ("Last stroke", "09:40, or 2026-06-03 09:40"),
    "began": ("First stroke", "08:50"),
    "who": ("Who put it on", ""),
    "coating": ("With what", ""),
    "thinner": ("Thinner", "10 parts (to 100 of coating), or neat"),
    "wet_film": ("Wet film, by the comb", ""),
    "used": ("Used of the mix", ""),
    "abrasive": ("Sanded before it with", "P320, or none"),
    "batch": ("Batch, off the can", ""),
    "air": ("Air, measured", ""),
    "surface": ("Surface, measured", ""),
    "humidity": ("Humidity, measured", "55 %"),
    "wind": ("Wind, measured", ""),
    "photo": ("Name of a photo", ""),
    "note": ("Note", ""),
}
MAY_BE_UNKNOWN = frozenset({"began", "thinner", "wet_film", "used", "air", "surface", "humidity", "wind"})
"""What is taken back by emptying its field in a correction."""


@dataclass(frozen=True)
class Field:
    """A field of a form.

    Attributes
    ----------
    value, problem
        What was typed into it, and what is wrong with that.
    offers
        Values with their labels: of a field with nothing else, or as a help to type.
    """

    name: str
    label: str
    hint: str
    value: str = ""
    problem: str = ""
    offers: Sequence[tuple[str, str]] = ()
    closed: bool = False


def coat_fields(
    config: Config, piece: Piece, units: Units, typed: Mapping[str, str], problems: Mapping[str, str]
) -> Iterator[Field]:
    """Yield the fields that tell of a coat."""
    offers: Mapping[str, list[tuple[str, str]]] = {
        "who": [(person.name, person.name) for person in config.person.values()],
        "coating": [
            ("", "as the build-up has it"),
            *((key, config.coating[key].label) for key in config.coatings_of(piece)),
        ],
        "abrasive": [(grit, grit) for grit in GRITS],
    }
    for name, (label, hint) in _LABELS.items():
        example = _EXAMPLES[units].get(name, "")
        yield Field(
            name=name,
            label=label,
            hint=f"such as {example}" if example else hint,
            value=typed.get(name, ""),
            problem=problems.get(name, ""),
            offers=offers.get(name, ()),
            closed=name == "coating",
        )


def texts_of(coat: Coat, zone: ZoneInfo) -> dict[str, str]:
    """Return what a coat's fields show when it is to be corrected; what is not known is not there."""
    hand = coat.met.by_hand if coat.met else None

    def measured(name: str, unit: str) -> str:
        figure = getattr(hand, name, None)
        return f"{figure.value:g} {unit}" if figure is not None and figure.known == "hand" else ""

    texts = {
        "at": f"{coat.finished_at.astimezone(zone):%Y-%m-%d %H:%M}",
        "began": f"{coat.began_at.astimezone(zone):%Y-%m-%d %H:%M}" if coat.began_at else "",
        "who": coat.who,
        "coating": coat.coating,
        "thinner": ""
        if coat.thinner_parts is None
        else f"{coat.thinner_parts:g} parts"
        if coat.thinner_parts
        else "neat",
        "wet_film": "" if coat.wet_film_um is None else f"{coat.wet_film_um:g} um",
        "used": "" if coat.litres is None else f"{coat.litres:g} L",
        "abrasive": coat.abrasive,
        "batch": coat.batch,
        "air": measured("air_c", "degC"),
        "surface": measured("surface_c", "degC"),
        "humidity": measured("humidity_pct", "%"),
        "wind": measured("wind_m_s", "m/s"),
        "photo": PurePath(coat.photo).name,
        "note": coat.note,
    }
    return {name: text for name, text in texts.items() if text}


def changed(fields: Mapping[str, str], before: Mapping[str, str]) -> dict[str, str]:
    """Return what a form of a correction tells that is another way than before; what was emptied is taken back."""
    told = {name: text for name, text in fields.items() if name in _LABELS and text != before.get(name, "")}
    for name in before.keys() - fields.keys():
        told[name] = "unknown" if name in MAY_BE_UNKNOWN else ""
    return told


def _thinner(parts: float | None) -> str:
    if parts is None:
        return ""
    return f"{parts:g} parts" if parts else "neat"
