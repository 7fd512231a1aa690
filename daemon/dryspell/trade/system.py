"""A build-up as an ordered list of coats: which coating, how it is thinned, what is sanded before it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from dryspell.trade.coating import MOST_THINNER, Coating
from dryspell.trade.stages import OptionalStagePoints, Points
from dryspell.units import Micrometres

MOST_COATS = 40
NO_SANDING = "none"
# Common practice, no source.
BARE_WOOD, OLD_FILM, BETWEEN_COATS = "P180", "P240", "P400"

_GRIT = re.compile(r"P\d{2,4}", re.ASCII)


def _read_parts(value: Any) -> Any:
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    if value is not None and not (is_number and 0 <= value <= MOST_THINNER):
        raise ValueError(f"is no amount; wanted a number of 0 to {MOST_THINNER}, parts to a hundred of coating")
    return value


def _read_abrasive(value: Any) -> Any:
    if value is None or value == NO_SANDING or (isinstance(value, str) and _GRIT.fullmatch(value)):
        return value
    raise ValueError(f'is no abrasive; wanted a grit such as "{BETWEEN_COATS}", or "{NO_SANDING}"')


class Step(BaseModel):
    """One coat of a system, or several alike."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    coating: str = Field(
        examples=["epoxy_sealer_2k"], description="the key of a coating of yours or of a built-in family"
    )
    times: int = Field(default=1, strict=True, ge=1, le=MOST_COATS, description="so many coats of it, one on the other")
    thinner_parts: Annotated[float | None, BeforeValidator(_read_parts)] = Field(
        default=None,
        alias="thinner",
        examples=[25],
        description="parts of thinner to a hundred of coating; left out, as that coating has it",
    )
    wet_film_um: Micrometres | None = Field(
        default=None, alias="wet_film", examples=["80 um"], description="left out, that of the coating"
    )
    abrasive: Annotated[str | None, BeforeValidator(_read_abrasive)] = Field(
        default=None,
        examples=["P400"],
        description="sanded with before it, or none; left out, P180 on bare wood, P240 on an old film, then P400",
    )
    hot: bool = Field(
        default=False, strict=True, description="it may go on the soft coat below, where that coating allows it"
    )
    after: OptionalStagePoints = Field(
        default=None,
        examples=[{"18 degC": "6 d"}],
        description="least time of the coat below, by the temperature of its film, in place of its own sandable",
    )


class System(BaseModel):
    """A build-up from the first coat to the last."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str
    label: str = Field(default="", alias="name", description="what to call it in messages")
    coats: tuple[Step, ...] = Field(min_length=1, description="its coats, the first one first")

    @property
    def name(self) -> str:
        """What to call the system in messages."""
        return self.label or self.key.replace("_", " ")

    @property
    def count(self) -> int:
        """How many coats it has in all."""
        return sum(step.times for step in self.coats)


@dataclass(frozen=True)
class Lay:
    """One coat of a build-up as it is to be laid.

    Attributes
    ----------
    number
        Counted from 1 over the whole build-up.
    coating
        With what.
    thinner_parts, wet_film_um
        How: parts of thinner to a hundred of coating, and the wet film. [um]
    abrasive
        What is sanded with before it; "none" for nothing.
    hot
        Whether it may go on the soft coat below.
    after
        The least time of the coat below, as points of a data sheet; None for that coat's own.
    changes
        Whether the coat below is of another coating: then sanding is compulsory.
    """

    number: int
    coating: Coating
    thinner_parts: float
    wet_film_um: float
    abrasive: str
    hot: bool = False
    after: Points | None = None
    changes: bool = False


def lays_of(steps: Sequence[Step], coatings: Mapping[str, Coating], *, on_old_film: bool = False) -> tuple[Lay, ...]:
    """Return a build-up coat by coat.

    Parameters
    ----------
    steps
        Of a system, or the one of a piece without.
    coatings
        By key, each with every coating of the steps in it.
    on_old_film
        Whether the first coat goes on an old film and not on bare wood.
    """
    lays: list[Lay] = []
    for step in [each for each in steps for _ in range(each.times)]:
        number, coating = len(lays) + 1, coatings[step.coating]
        first = OLD_FILM if on_old_film else BARE_WOOD
        lays.append(
            Lay(
                number=number,
                coating=coating,
                thinner_parts=coating.thinner_of(number) if step.thinner_parts is None else step.thinner_parts,
                wet_film_um=coating.wet_film_um if step.wet_film_um is None else step.wet_film_um,
                abrasive=step.abrasive or (first if number == 1 else BETWEEN_COATS),
                hot=step.hot,
                after=step.after,
                changes=bool(lays) and lays[-1].coating.key != coating.key,
            )
        )
    return tuple(lays)


def lay_at(lays: Sequence[Lay], number: int) -> Lay:
    """Return the coat of that number; of numbers past the last, as somebody went on coating, that is the last."""
    return lays[min(max(number, 1), len(lays)) - 1]
