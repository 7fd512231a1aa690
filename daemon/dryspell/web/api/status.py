"""How the daemon does, as a document: its last tick, the verdicts, sources, sensors and what waits to be sent."""

from datetime import datetime
from importlib.metadata import version
from typing import Literal

from pydantic import Field

from dryspell.alerts.sensors import SensorHealth
from dryspell.alerts.sources import SourceHealth
from dryspell.answers.common import Whole, edition
from dryspell.answers.part import Instant, Part, TextOrNone, told_by
from dryspell.outlook.model import Outlook, Word
from dryspell.outlook.words import next_window, open_window
from dryspell.store.notices import Queued
from dryspell.weather.flags import Flag
from dryspell.web.board import Known


@told_by(Outlook)
class PieceStatus(Part):
    """The verdict on one piece."""

    piece: str = Field(description="the key of the piece")
    name: str = Field(validation_alias="piece_name", description="what it is called")
    verdict: Word = Field(validation_alias="word", description="on a coat begun at the last tick")
    until: Instant | None = Field(description="when the last stroke has to be done, or when the next window opens")


@told_by(SourceHealth)
class SourceStatus(Part):
    """How a source of weather does at one site."""

    site: str = Field(description="the key of the site")
    source: str = Field(description="which source")
    failing_since: Instant | None = Field(description="since when it has given nothing; null where it does")
    error: TextOrNone
    instead: TextOrNone
    issued_at: Instant | None


@told_by(SensorHealth)
class SensorStatus(Part):
    """How a sensor does."""

    sensor: str = Field(description="the key of the sensor")
    name: str = Field(description="what it is called")
    site: str = Field(description="the key of its site")
    piece: str | None = Field(description="the key of the piece it is at, where it is at one")
    trouble: Literal["silent", "stuck", "flagged"] | None = Field(description="what is wrong with it")
    last_heard_at: Instant | None
    last_good_at: Instant | None = Field(description="the stamp of its last reading that is used")
    flagged_share: float
    main_flag: str = Field(description="why most of those are not used")


class QueueStatus(Part):
    """What waits to be sent to a target."""

    target: str = Field(description="the key of the target")
    count: int = Field(description="how many messages")
    oldest_at: Instant = Field(description="since when the oldest waits")
    next_try_at: Instant = Field(description="when the next of them is tried")


class StatusDocument(Whole):
    """How the daemon does."""

    schema_: Literal["dryspell.status/1"] = edition("dryspell.status/1")
    version: str = Field(description="of dryspell", examples=["0.1.0"])
    ticked_at: Instant = Field(description="the last tick: everything here is as it was then")
    pieces: list[PieceStatus] = Field(description="the verdict on each")
    sources: list[SourceStatus] = Field(description="of weather, as far as they were asked")
    sensors: list[SensorStatus] = Field(description="each of them")
    outbox: list[QueueStatus] = Field(description="the targets for which something waits")


def status_document(known: Known, queued: dict[str, Queued], now: datetime) -> StatusDocument:
    """Return how the daemon does."""
    return StatusDocument(
        generated_at=now,
        version=version("dryspell"),
        ticked_at=known.at,
        pieces=[PieceStatus.model_validate({**dict(outlook), "until": _until(outlook)}) for outlook in known.outlooks],
        sources=[SourceStatus.model_validate(each) for each in known.sources],
        sensors=[
            SensorStatus.model_validate(
                {**dict(each), "trouble": each.trouble, "main_flag": Flag(each.main_flag).name.lower()}
            )
            for each in known.sensors
        ],
        outbox=[
            QueueStatus(target=target, count=of.count, oldest_at=of.oldest_at, next_try_at=of.next_try_at)
            for target, of in queued.items()
        ],
    )


def _until(outlook: Outlook) -> datetime | None:
    window = open_window(outlook)
    if outlook.word in ("coat", "tight") and window is not None:
        return window.brush_down_by if outlook.word == "coat" else window.tight_until
    following = next_window(outlook)
    return following.start if following else None
