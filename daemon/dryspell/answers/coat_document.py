"""What is recorded of a coat, as a part of documents."""

from pydantic import Field

from dryspell.answers.common import ReasonPart
from dryspell.answers.part import Instant, Part, TextOrNone, told_by
from dryspell.outlook.met_model import AtPiece, Met
from dryspell.outlook.model import Advice, Coat, Word
from dryspell.trade.system import Lay


@told_by(Met)
class MetPart(Part):
    """The weather a coat was put on in; each figure as its value and how it is known."""

    first_stroke_at: Instant = Field(validation_alias="began_at")
    start: AtPiece = Field(description="at the first stroke")
    end: AtPiece = Field(description="at the last stroke")
    least: AtPiece
    most: AtPiece = Field(description="the greatest of each figure from the first stroke to the last")
    by_hand: AtPiece
    forecast: TextOrNone
    issued_at: Instant | None
    attribution: str
    sensors: list[str]


@told_by(Advice)
class AdvicePart(Part):
    """The verdict a coat was begun under."""

    verdict: Word = Field(validation_alias="word", description="what was said")
    reason: ReasonPart | None = Field(description="why")
    given_at: Instant
    against: bool = Field(validation_alias="is_against", description="it was begun against it")


@told_by(Coat)
class CoatPart(Part):
    """What is recorded of a coat; null is not told."""

    coat: int = Field(validation_alias="number", examples=[4])
    finished_at: Instant
    recorded_at: Instant = Field(description="when it was recorded")
    who: str = Field(description="who put it on", examples=["Ada"])
    batch: str = Field(description="batch numbers off the cans")
    thinner_parts: float | None = Field(examples=[10.0])
    wet_film_um: float | None = Field(description="by the comb", examples=[80.0])
    note: str = Field(description="anything that was kept with it")
    mixed_at: Instant | None
    began_at: Instant | None
    coating: TextOrNone
    used_l: float | None = Field(validation_alias="litres")
    abrasive: TextOrNone = Field(examples=["P400"])
    photo: TextOrNone
    spoilt: TextOrNone
    weather: MetPart | None = Field(validation_alias="met")
    advice: AdvicePart | None


class PlannedLay(Part):
    """How the build-up has a coat."""

    coating: str = Field(description="the key of the coating")
    thinner_parts: float = Field(description="parts to a hundred of coating")
    wet_film_um: float = Field(description="how deep it is to be while wet")
    abrasive: str = Field(description='what is sanded with before it, or "none"')

    @classmethod
    def of(cls, lay: Lay) -> "PlannedLay":
        """Return how a coat is planned."""
        return cls.model_validate(
            {
                "coating": lay.coating.key,
                "thinner_parts": lay.thinner_parts,
                "wet_film_um": lay.wet_film_um,
                "abrasive": lay.abrasive,
            }
        )
