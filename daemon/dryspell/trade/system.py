"""A build-up as an ordered list of coats: which coating, how it is thinned, what is sanded before it."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from dryspell.trade.before import COMPULSORY, LAST_COATS, MOST_HOT_UNTOLD, UNSANDED_OVER_STAIN, Before
from dryspell.trade.coating import MOST_THINNER, Coating
from dryspell.trade.stages import OptionalStagePoints, Points
from dryspell.units import Micrometres

MOST_COATS = 40
NO_SANDING = "none"
# Common practice, no source.
BARE_WOOD, OLD_FILM, BETWEEN_COATS = "P180", "P240", "P400"

_GRIT = re.compile(r"P\d{2,4}", re.ASCII)


def _read_parts(value: Any) -> Any:
    is_number = isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)
    if value is not None and not (is_number and 0 <= float(value) <= MOST_THINNER):
        raise ValueError(f"is no amount; wanted a number of 0 to {MOST_THINNER}, parts to a hundred of coating")
    return value


def read_abrasive(value: Any) -> Any:
    """Return a grit, "none" or None as it is; ValueError for anything else."""
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
    abrasive: Annotated[str | None, BeforeValidator(read_abrasive)] = Field(
        default=None,
        examples=["P400"],
        description="sanded with before it, or none; left out, P180 on bare wood, P240 on an old film, then P400, and "
        "none on a stain and on two coats over it",
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
    coats: tuple[Step, ...] = Field(
        min_length=1,
        examples=[[{"coating": "epoxy_sealer_2k"}, {"coating": "urethane_alkyd_1k", "times": 3}]],
        description="its coats, the first one first",
    )

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
        Whether the coat below is of another coating.
    before
        What is to be done, or left, before it.
    over_wood
        Its number, the stains below it not counted.
    is_abrasive_told
        Whether the build-up itself says what it is sanded with.
    """

    number: int
    coating: Coating
    thinner_parts: float
    wet_film_um: float
    abrasive: str
    hot: bool = False
    after: Points | None = None
    changes: bool = False
    before: tuple[Before, ...] = ()
    over_wood: int = 1
    is_abrasive_told: bool = False

    @property
    def must_be_sanded(self) -> bool:
        """Whether a hard film below has to be sanded before it, however fresh that is."""
        return not COMPULSORY.isdisjoint(self.before)

    @property
    def may_be_sanded(self) -> bool:
        """Whether what is below it may be sanded: sanding cuts through to a stain."""
        return Before.NO_SANDING not in self.before


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
    stains = 0
    for step in [each for each in steps for _ in range(each.times)]:
        number, coating = len(lays) + 1, coatings[step.coating]
        first = OLD_FILM if on_old_film else BARE_WOOD
        # The first coats are thinned to go into the wood, and a stain leaves that to them.
        usual_parts = coating.thinner_of(number - stains)
        stains += coating.stain
        lays.append(
            Lay(
                number=number,
                coating=coating,
                thinner_parts=usual_parts if step.thinner_parts is None else step.thinner_parts,
                wet_film_um=coating.wet_film_um if step.wet_film_um is None else step.wet_film_um,
                abrasive=step.abrasive or (first if number == 1 else BETWEEN_COATS),
                hot=step.hot,
                after=step.after,
                is_abrasive_told=step.abrasive is not None,
            )
        )
    return ruled(lays)


def ruled(lays: Sequence[Lay]) -> tuple[Lay, ...]:
    """Return a build-up with what its coats are to each other: what changes, what is sanded and what is not.

    A coat before which the film has to be sanded goes on no soft one, except the last: that and the one below it may
    be laid as a pair on the same sanding.
    """
    found: list[Lay] = []
    over_stain, stains = 0, 0  # of the coats over a stain, and how many stains lie below
    for lay in lays:
        below = found[-1] if found else None
        if below is not None:
            over_stain = 1 if below.coating.stain else over_stain + bool(over_stain)
            stains += below.coating.stain
        changes = below is not None and below.coating.key != lay.coating.key
        forbidden = 0 < over_stain <= UNSANDED_OVER_STAIN
        before = _before(lay, below, len(lays), changes=changes, forbidden=forbidden)
        abrasive = lay.abrasive
        if below is not None and not lay.is_abrasive_told:
            abrasive = NO_SANDING if forbidden else BETWEEN_COATS
        goes_soft = lay.number == len(lays) or COMPULSORY.isdisjoint(before)
        found.append(
            replace(
                lay,
                abrasive=abrasive,
                hot=lay.hot and below is not None and goes_soft and not changes,
                changes=changes,
                before=before,
                over_wood=lay.number - stains,
            )
        )
    return tuple(found)


def _before(lay: Lay, below: Lay | None, coats: int, *, changes: bool, forbidden: bool) -> tuple[Before, ...]:
    if below is None:
        return (Before.RAISE_GRAIN,) if lay.coating.stain and lay.coating.cures_by == "coalescence" else ()
    if lay.is_abrasive_told and (lay.abrasive == NO_SANDING or forbidden):
        return ()  # whoever wrote that has it from the sheet
    if forbidden:
        return (Before.NO_SANDING,)
    before = []
    if below.coating.cures_by == "reaction" and below.coating.family.startswith("epoxy"):
        before.append(Before.WASH)
    if changes:
        before.append(Before.SAND_FOR_CHANGE)
    if lay.number > coats - LAST_COATS and lay.wet_film_um > 0.0:
        before.append(Before.SAND_FOR_LAST)
    return tuple(before)


def in_rows(lays: Sequence[Lay], row: int = 0) -> tuple[Lay, ...]:
    """Return coats to come with no more of them in a row on soft ones than their coating allows.

    Where a row is full the next coat waits until the film is hard, and that is sanded.

    Parameters
    ----------
    row
        How many coats lie in a row below the first of them, each on a soft one.
    """
    found = []
    for lay in lays:
        full = lay.hot and row >= hot_most(lay.coating)
        if full:
            lay = after_full_row(lay)  # noqa: PLW2901
        row = row + 1 if lay.hot else 1
        found.append(lay)
    return tuple(found)


def after_full_row(lay: Lay) -> Lay:
    """Return a coat that follows a full row: it waits until the film is hard, and that is sanded."""
    return replace(lay, hot=False, before=(*lay.before, Before.SAND_AFTER_ROW))


def hot_most(coating: Coating) -> int:
    """Return how many coats may lie in a row on soft ones, the lowest counted."""
    return MOST_HOT_UNTOLD if coating.hot_most is None else round(coating.hot_most)


def first_film(lays: Sequence[Lay]) -> Lay:
    """Return the first coat of a build-up that is no stain, or the first one where all are."""
    return next((lay for lay in lays if not lay.coating.stain), lays[0])


def lay_at(lays: Sequence[Lay], number: int) -> Lay:
    """Return the coat of that number; of numbers past the last, as somebody went on coating, that is the last."""
    return lays[min(max(number, 1), len(lays)) - 1]
