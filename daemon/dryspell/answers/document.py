"""Outlooks as a JSON document for other programs; `dryspell.answers.part` has the rules."""

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Literal

from pydantic import Field

from dryspell.answers.coat_document import CoatPart
from dryspell.answers.common import ReasonPart, StagesPart, WeatherPart, Whole, beside, edition
from dryspell.answers.part import Factors, Instant, Part, told_by
from dryspell.outlook.as_json import Document, instant
from dryspell.outlook.model import (
    BareWood,
    CoatsOn,
    FilmState,
    Limit,
    Mix,
    Outlook,
    Pot,
    Window,
    Word,
)
from dryspell.outlook.states import State, state_of
from dryspell.trade.before import Before

__all__ = ["Document", "PieceWindows", "PotPart", "WindowPart", "WindowsDocument", "instant", "windows_document"]


@told_by(Window)
class WindowPart(Part):
    """A span of starts of the next coat that pass every limit."""

    verdict: Literal["coat", "tight"] = Field(
        validation_alias="word", description="tight where it works only if the forecast is right to the degree"
    )
    start: Instant = Field(description="the first start")
    good_from: Instant | None
    last_start: Instant = Field(description="the last start")
    brush_down_by: Instant
    tight_until: Instant
    hang_shade_by: Instant | None
    cover_on_by: Instant | None
    without_cover: ReasonPart | None
    bare_until: Instant | None
    best_start: Instant = Field(description="the start with the most to spare")
    probability: float | None
    coarse: bool
    binding: ReasonPart
    margin_apply_k: float | None
    margin_hold_k: float | None
    surface_c: float | None
    humidity_pct: float | None = Field(description="relative humidity at the best start")
    stages: StagesPart
    factors: Factors
    mix: Mix | None
    cautions: list[ReasonPart]


@told_by(Pot)
class PotPart(Part):
    """How the pot keeps that is mixed."""

    mixed_at: Instant = Field(description="when it was mixed")
    brush_from: Instant | None
    brush_until: Instant
    goes_off_at: Instant = Field(description="when it has gone off")
    by_weather: bool


class BlockPart(Part):
    """A span of starts that do not pass."""

    start: Instant = Field(description="the first of them")
    end: Instant = Field(description="the first start after them")
    reason: ReasonPart = Field(description="the first limit that blocks it")
    others: list[Limit] = Field(description="the other limits that do")


@told_by(FilmState)
class FilmPart(CoatPart):
    """The coat that lies on the piece, and how far it has come."""

    stain: bool
    sandable_fraction: float | None
    unaccounted_h: float | None
    factors: Factors
    stages: StagesPart


@told_by(BareWood)
class WoodPart(Part):
    """How dry bare wood is and gets, before its first coat."""

    settles_at_pct: float | None
    below_pct: float
    read_pct: float | None
    least_days_d: float | None = Field(description="days until it is there from the reading, at the least")
    most_days_d: float | None = Field(description="at the most; null where the air ahead is too damp")


@told_by(Outlook)
class PieceWindows(Part):
    """Everything there is to say about the next coat of one piece."""

    piece: str = Field(description="the key of the piece", examples=["toe_rail"])
    name: str = Field(validation_alias="piece_name", description="what it is called", examples=["Toe rail"])
    site: str = Field(description="the key of its site", examples=["mooring"])
    site_name: str = Field(description="what the site is called")
    timezone: str = Field(description="the zone of the site's clocks", examples=["Europe/Berlin"])
    made_at: Instant = Field(description="the instant it was worked out for")
    verdict: Word = Field(validation_alias="word", description="on a coat begun at that instant")
    reason: ReasonPart | None
    state: State = Field(description="how far the piece is, in a word of the trade")
    coating: str = Field(description="the key of what the next coat is of")
    next_coat: int
    coats: int = Field(description="of the whole build-up")
    sand_first: bool
    before: list[Before]
    stain: bool
    film: FilmPart | None = Field(description="the coat that lies on it; null where nothing is known of one")
    pot: PotPart | None
    coats_on: CoatsOn | None
    wood: WoodPart | None
    windows: list[WindowPart] = Field(description="the windows ahead, the next one first")
    blocks: list[BlockPart] = Field(description="the spans between them")
    weather: WeatherPart | None = Field(description="whose weather it stands on; null where there is none")
    missing: list[str]

    @classmethod
    def of(cls, outlook: Outlook, site_name: str) -> "PieceWindows":
        """Return one piece's part of the document."""
        film, wood = outlook.film, outlook.wood
        least, most = wood.days if wood and wood.days else (None, None)
        return cls.model_validate(
            beside(
                outlook,
                site_name=site_name,
                state=state_of(outlook, outlook.made_at),
                film=film and {**dict(film.coat), **dict(film)},
                wood=wood and beside(wood, least_days_d=least, most_days_d=most),
            )
        )


class WindowsDocument(Whole):
    """The outlook of every piece: the verdict now, every window ahead, and why the rest is not one."""

    schema_: Literal["dryspell.windows/1"] = edition("dryspell.windows/1")
    pieces: list[PieceWindows] = Field(description="in the order of the configuration")


def windows_document(
    outlooks: Iterable[Outlook], now: datetime, site_names: Mapping[str, str] | None = None
) -> WindowsDocument:
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
    pieces = [PieceWindows.of(outlook, names.get(outlook.site, outlook.site)) for outlook in outlooks]
    return WindowsDocument(generated_at=now, pieces=pieces)
