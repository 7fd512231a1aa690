"""The coating record as a JSON document for other programs."""

from collections.abc import Iterable
from datetime import datetime
from typing import Literal

from pydantic import Field

from dryspell.answers.coat_document import CoatPart, PlannedLay
from dryspell.answers.common import Whole, edition
from dryspell.answers.log_record import Record
from dryspell.answers.part import Instant, Part
from dryspell.outlook.coat_log import FilmBy, Row
from dryspell.outlook.coat_words import deviations
from dryspell.store.coats import Change, Version


class RecordedCoat(CoatPart):
    """A coat that stands in the record, and the film it leaves."""

    id: int = Field(description="what it is known by; a correction is another one")
    full_coat: int | None = Field(description="its number among the full coats; null where it is none")
    film_um: float = Field(description="the wet film")
    film_by: FilmBy = Field(description="how that is known: by a comb in it, from the litres used, or only as planned")
    dry_film_um: float | None = Field(description="what it leaves; null where it is not told how it was thinned")
    planned: PlannedLay = Field(description="how the build-up has it")
    deviations: list[str] = Field(description="what is another way than planned, in words")

    @classmethod
    def of(cls, row: Row) -> "RecordedCoat":
        """Return a coat of the record."""
        return cls.model_validate(
            {
                **dict(row.coat),
                "coating": row.coating.key,
                "full_coat": row.full_number,
                "film_um": round(row.wet_film_um, 1),
                "film_by": row.film_by,
                "dry_film_um": None if row.dry_film_um is None else round(row.dry_film_um, 1),
                "planned": PlannedLay.of(row.lay),
                "deviations": deviations(row, "metric"),
            }
        )


class CoatChangePart(Part):
    """What was done to a coat after it was recorded."""

    what: Change = Field(description="what was done")
    at: Instant = Field(description="when")
    detail: str = Field(description="what spoilt it, or a note")
    who: str = Field(description="who did it, where that was told")
    successor: int | None = Field(description="the id of the coat that a correction put in its place")


class CoatVersion(CoatPart):
    """A coat as it was once recorded."""

    id: int = Field(description="what it is known by")
    stands: bool = Field(description="it is what the record says now")
    changes: list[CoatChangePart] = Field(description="what was done to it since")

    @classmethod
    def of(cls, version: Version) -> "CoatVersion":
        """Return a coat as it was once recorded."""
        return cls.model_validate({**dict(version.coat), "stands": version.stands, "changes": version.changes})


class PieceRecord(Part):
    """What was put on one piece."""

    piece: str = Field(description="the key of the piece", examples=["toe_rail"])
    name: str = Field(description="what it is called")
    site: str = Field(description="the key of its site")
    site_name: str = Field(description="what the site is called")
    timezone: str = Field(description="the zone of the site's clocks")
    state: str = Field(description="how far the piece is, in a word of the trade; an estimate")
    coats: int = Field(description="of the whole build-up")
    coats_on: int = Field(description="how many are on")
    before_record: int = Field(description="of them from before the record")
    full_coats: int = Field(description="of the recorded ones: little thinner, and a full film")
    untold: int = Field(description="of the recorded ones is not told how they were thinned")
    dry_film_um: float = Field(description="of the coats whose film is known, before what sanding took")
    sanded_least_um: float = Field(description="what sanding between them took, at the least")
    sanded_most_um: float = Field(description="and at the most")
    record: list[RecordedCoat] = Field(description="every coat that stands, in the order of their strokes")
    history: list[CoatVersion] | None = Field(
        default=None, exclude_if=lambda found: found is None, description="every coat that was ever recorded, if asked"
    )

    @classmethod
    def of(cls, record: Record, *, history: bool) -> "PieceRecord":
        """Return the record of a piece, if asked with every coat that was ever recorded."""
        log, (least, most) = record.log, record.log.sanded_um
        return cls(
            piece=record.piece.key,
            name=record.piece.name,
            site=record.site.key,
            site_name=record.site.name,
            timezone=record.zone.key,
            state=record.state,
            coats=record.coats,
            coats_on=log.on,
            before_record=log.before,
            full_coats=log.full,
            untold=log.untold,
            dry_film_um=round(log.dry_film_um, 1),
            sanded_least_um=least,
            sanded_most_um=most,
            record=[RecordedCoat.of(row) for row in log.rows],
            history=[CoatVersion.of(version) for version in record.versions] if history else None,
        )


class LogDocument(Whole):
    """What was put on, when, in what weather, and the film it makes."""

    schema_: Literal["dryspell.log/1"] = edition("dryspell.log/1")
    pieces: list[PieceRecord] = Field(description="in the order of the configuration")


def log_document(records: Iterable[Record], now: datetime, *, history: bool) -> LogDocument:
    """Return the document of `dryspell log --json`.

    Parameters
    ----------
    history
        With every coat that was ever recorded, and what was done to it.
    """
    return LogDocument(generated_at=now, pieces=[PieceRecord.of(record, history=history) for record in records])
