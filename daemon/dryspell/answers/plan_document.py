"""Plans as a JSON document for other programs; `dryspell.answers.part` has the rules."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Literal

from pydantic import Field

from dryspell.answers.common import ReasonPart, StagesPart, WeatherPart, Whole, edition
from dryspell.answers.part import Instant, Part, TextOrNone, told_by
from dryspell.outlook.plan_model import Beyond, Moved, Plan, PlannedCoat, Plans, Share, WhyMoved
from dryspell.trade.before import Before


@told_by(Moved)
class MovedPart(Part):
    """A coat that is not where it was planned before."""

    planned_at: Instant
    why: WhyMoved = Field(description="what moved it")
    reason: ReasonPart | None


@told_by(PlannedCoat)
class PlannedCoatPart(Part):
    """One coat to come."""

    coat: int = Field(validation_alias="number", description="its number", examples=[5])
    coating: str = Field(description="the key of what it is of")
    prepare_at: Instant
    start: Instant = Field(description="the first stroke")
    last_stroke: Instant = Field(description="the last one")
    probability: float | None
    coarse: bool
    thinner_parts: float
    wet_film_um: float = Field(description="how deep it is to be while wet")
    abrasive: str
    hot: bool
    sand_first: bool
    before: list[Before]
    stages: StagesPart
    person: TextOrNone = Field(validation_alias="who")
    person_name: str | None = Field(description="what that person is called")
    moved: MovedPart | None = Field(description="where it was planned before, if it was elsewhere")


@told_by(Beyond)
class BeyondPart(Part):
    """What past years say of the coats that find no hours within the forecast."""

    built_up_50_at: Instant | None
    built_up_90_at: Instant | None
    years: int
    until: Instant | None
    source: TextOrNone
    attribution: TextOrNone = Field(description="the credit to show beside it")
    unknown: TextOrNone


@told_by(Plan)
class PiecePlan(Part):
    """Every coat of one piece that is still to come, as far as the forecast reaches."""

    piece: str = Field(description="the key of the piece", examples=["toe_rail"])
    name: str = Field(validation_alias="piece_name", description="what it is called")
    site: str = Field(description="the key of its site")
    site_name: str = Field(description="what the site is called")
    timezone: str = Field(description="the zone of the site's clocks")
    made_at: Instant = Field(description="when it was planned")
    coats: int
    coats_left: int = Field(validation_alias="left")
    coats_unplanned: int = Field(description="of them find no hours within the forecast")
    odds_pct: float | None
    planned: list[PlannedCoatPart]
    built_up_at: Instant | None
    in_service_at: Instant | None
    reason: ReasonPart | None
    by_people: bool
    beyond: BeyondPart | None
    weather: WeatherPart | None = Field(description="whose weather it stands on; null where there is none")
    missing: list[str]

    @classmethod
    def of(cls, plan: Plan, site_name: str, people: Mapping[str, str]) -> "PiecePlan":
        """Return one piece's part of the document."""
        planned = [{**dict(coat), "person_name": people.get(coat.who) or None} for coat in plan.planned]
        more = {"site_name": site_name, "coats_unplanned": plan.unplanned, "planned": planned}
        return cls.model_validate({**dict(plan), **more})


@told_by(Share)
class SharePart(Part):
    """How good the plan is for people who cannot be at two pieces at once."""

    coats: int
    coats_at_most: int = Field(description="how many there could be in any plan")
    finish_h: float
    bound_h: float
    gap_pct: float
    is_best: bool
    is_thinned: bool


class PlanDocument(Whole):
    """Every coat to come of every piece: the day, the hours, who, and when each piece is done."""

    schema_: Literal["dryspell.plan/1"] = edition("dryspell.plan/1")
    pieces: list[PiecePlan] = Field(description="in the order of the configuration")
    share: SharePart | None = Field(description="null where nothing had to be shared")


def plan_document(
    made: Plans, shown: Sequence[Plan], now: datetime, site_names: Mapping[str, str], people: Mapping[str, str]
) -> PlanDocument:
    """Return the document of `dryspell plan --json`.

    Parameters
    ----------
    shown
        The plans that were asked for, of those made.
    site_names, people
        What sites and people are called, by key.
    """
    return PlanDocument(
        generated_at=now,
        pieces=[PiecePlan.of(plan, site_names.get(plan.site, plan.site), people) for plan in shown],
        share=made.share and SharePart.model_validate(made.share),
    )
