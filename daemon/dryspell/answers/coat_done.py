"""The documents that answer what was done to a coat or to a pot."""

from typing import Literal

from pydantic import Field

from dryspell.answers.coat_document import CoatPart, PlannedLay
from dryspell.answers.common import StagesPart, Whole, edition
from dryspell.answers.document import PotPart
from dryspell.answers.part import Instant, told_by
from dryspell.outlook.model import Coat

Did = Literal["record", "correct", "undo", "spoilt", "not spoilt"]
PotDid = Literal["mixed", "poured away"]


class _Done(Whole):
    schema_: Literal["dryspell.coat/1"] = edition("dryspell.coat/1")
    did: str = Field(description="what was done")
    piece: str = Field(description="the key of the piece")
    name: str = Field(description="what it is called")
    site: str = Field(description="the key of its site")
    timezone: str = Field(description="the zone of the site's clocks")


class CoatDocument(CoatPart, _Done):
    """What was done to a coat, and what is expected of it."""

    did: Did = Field(description="what was done")
    planned: PlannedLay = Field(description="how the build-up has it")
    coats: int = Field(description="of the whole build-up")
    stages: StagesPart | None = Field(description="of the film on the piece; null where no weather is known")
    unaccounted_h: float | None = Field(description="hours since then with no weather known, taken as none")
    cautions: list[str] = Field(description="the usual cautions; the data sheet decides")


@told_by(Coat)
class SandableDocument(_Done):
    """When a coat was seen to be sandable, and what that teaches."""

    did: Literal["sandable"] = Field(default="sandable", description="what was done")
    coat: int = Field(description="the number of the coat")
    coats: int = Field(description="of the whole build-up")
    finished_at: Instant
    sandable_at: Instant | None
    progress: float | None = Field(description="how far it had come by the estimate, 1 where it was as expected")
    coating: str = Field(description="the key of what it is a coat of")
    pace: float = Field(description="the times of that coating are multiplied by this from now on")
    pace_coats: int = Field(description="so many coats have taught it")
    pace_contradictory: bool = Field(description="they contradict each other, so that nothing is learned")


class PotDocument(_Done):
    """A pot of two-part coating that was mixed, or poured away."""

    did: PotDid = Field(description="what was done")
    coat: int = Field(description="the number of the coat it is for")
    mixed_at: Instant = Field(description="when it was mixed")
    pot: PotPart | None = Field(description="how it keeps; null when it has gone off")
    cautions: list[str] = Field(description="the usual cautions; the data sheet decides")
