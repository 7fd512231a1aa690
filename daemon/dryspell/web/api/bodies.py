"""What is sent to change the record. Every number has its unit in its key, every field its bounds."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from dryspell.answers.coat_details import (
    COLDEST_C,
    MOST_LITRES,
    MOST_PARTS,
    MOST_WET_FILM_UM,
    MOST_WIND_M_S,
    WARMEST_C,
    read_plain,
)
from dryspell.answers.coat_told import Told
from dryspell.outlook.model import Spoiler

LONGEST_NAME, LONGEST_NOTE = 100, 2000

_RFC3339 = re.compile(r"(\d{4}-\d{2}-\d{2})T(\d{2}:\d{2}:\d{2})(\.\d+)?(Z|[+-]\d{2}:\d{2})", re.ASCII | re.IGNORECASE)
_HAND = ("air_c", "surface_c", "humidity_pct", "wind_m_s")
_NOT_TOLD: Any = None
_NAMES = {"at": "finished_at", "began": "began_at", "used_l": "litres"}


def _read_instant(value: Any) -> datetime:
    match = _RFC3339.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise ValueError("wanted an instant as RFC 3339 has it, such as 2026-06-03T08:00:00Z")
    day, clock, _, offset = match.groups()
    try:
        return datetime.fromisoformat(f"{day}T{clock}{offset.upper()}").astimezone(UTC)
    except (ValueError, OverflowError):
        raise ValueError("is no instant of the calendar") from None


Instant = Annotated[
    datetime,
    BeforeValidator(_read_instant),
    WithJsonSchema({"type": "string", "format": "date-time", "examples": ["2026-06-03T08:00:00Z"]}),
]
Name = Annotated[str, Field(max_length=LONGEST_NAME)]
Note = Annotated[str, Field(max_length=LONGEST_NOTE)]


class Sent(BaseModel):
    """Something that is sent."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class _Told(Sent):
    who: Name = Field(default="", description="who put it on", examples=["Ada"])
    coating: Name = Field(default="", description="the key of the coating; empty is as the build-up has it")
    batch: Name = Field(default="", description="batch numbers off the cans")
    note: Note = Field(default="", description="anything to keep with it")
    photo: Note = Field(default="", description="the name of a picture of it; no file is looked for")
    abrasive: str = Field(
        default="",
        pattern=r"^(P[0-9]{2,4}|none|)$",
        description='what was sanded with before it, or "none"; empty is not told',
        examples=["P400"],
    )
    began: Instant | None = Field(default=None, description="the first stroke")
    thinner_parts: float | None = Field(
        default=None, ge=0, le=MOST_PARTS, description="parts to a hundred of coating", examples=[10.0]
    )
    wet_film_um: float | None = Field(
        default=None, gt=0, le=MOST_WET_FILM_UM, description="by the comb", examples=[80.0]
    )
    used_l: float | None = Field(default=None, gt=0, le=MOST_LITRES, description="of the mix", examples=[0.4])
    air_c: float | None = Field(default=None, ge=COLDEST_C, le=WARMEST_C, description="measured at the piece")
    surface_c: float | None = Field(default=None, ge=COLDEST_C, le=WARMEST_C, description="measured on the piece")
    humidity_pct: float | None = Field(default=None, ge=1, le=100, description="measured at the piece")
    wind_m_s: float | None = Field(default=None, ge=0, le=MOST_WIND_M_S, description="measured at the piece")

    def told(self) -> Told:
        """Return what was told, as the record takes it."""
        given = {name: getattr(self, name) for name in self.model_fields_set - {"by", "coat"}}
        given = {name: read_plain(value) if isinstance(value, str) else value for name, value in given.items()}
        coat = {_NAMES.get(name, name): value for name, value in given.items() if name not in _HAND}
        return Told(coat, {name: value for name, value in given.items() if name in _HAND})


class NewCoat(_Told):
    """A coat that was put on; what is not sent, or null, is not told."""

    at: Instant | None = Field(default=None, description="the last stroke; null is just now")
    coat: int | None = Field(
        default=None, ge=1, le=1000, description="the number it is to have: where another is next, nothing is recorded"
    )

    def told(self) -> Told:
        """Return what was told; null is not."""
        found = super().told()
        return Told(_known(found.coat), _known(found.by_hand))


class Correction(_Told):
    """What is another way with a coat; what is not sent stays, null takes back what was told."""

    at: Instant = Field(default=_NOT_TOLD, description="the last stroke")
    by: Name = Field(default="", description="who corrects it")


class Spoilt(Sent):
    """What spoilt a coat."""

    by: Spoiler | None = Field(description="what spoilt it; null: it is not spoilt")
    note: Note = Field(default="", description="anything to keep with that")
    who: Name = Field(default="", description="who found it so")


class Since(Sent):
    """When something was, or was first seen."""

    at: Instant | None = Field(default=None, description="when; null is just now")


def _known(given: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in given.items() if value is not None}
