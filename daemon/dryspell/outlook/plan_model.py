"""A plan as plain models: the day and the hours of every coat that is still to come, and who puts it on."""

from collections.abc import Mapping
from datetime import datetime
from typing import Literal

from pydantic import Field

from dryspell.outlook.model import Plain, Provenance, Reason, Stages
from dryspell.trade.before import Before

WhyMoved = Literal["weather", "coat_below", "people", "sooner", "missed"]
"""The weather there is not good any more; the coat below is not ready by then; whoever does it is at another piece or
off; all of the build-up is done sooner or its last coat meets a better day; the hour went by without the coat."""


class Moved(Plain):
    """A coat that is not where it was planned before."""

    planned_at: datetime = Field(description="when it was to begin")
    why: WhyMoved
    reason: Reason | None = Field(default=None, description="what fails there now, where weather moved it")


class PlannedCoat(Plain):
    """One coat to come."""

    number: int
    coating: str
    prepare_at: datetime = Field(description="when to begin to sand, dust and wipe")
    start: datetime
    last_stroke: datetime
    probability: float | None = Field(description="share of the ways the weather may go in which it is good")
    coarse: bool = Field(default=False, description="it stands on weather given in steps that can hide a night")
    thinner_parts: float = Field(description="parts to a hundred of coating")
    wet_film_um: float
    abrasive: str = Field(description='what it is sanded with before it, or "none"')
    hot: bool = Field(description="it goes on the soft coat below, unsanded")
    sand_first: bool = Field(
        description="sanding is compulsory: by then the overcoat window of the coat below is past, or that is spoilt, "
        "or for something told under `before`"
    )
    before: tuple[Before, ...] = Field(default=(), description="what is to be done, or left, before it")
    stages: Stages = Field(description="when it will have reached its stages")
    who: str = Field(default="", description="the key of who puts it on, where there are people")
    moved: Moved | None = None


class Beyond(Plain):
    """What past years say of the coats that find no hours within the forecast."""

    built_up_50_at: datetime | None = Field(
        default=None, description="built up by then in half of those years; None for later than `until`"
    )
    built_up_90_at: datetime | None = Field(default=None, description="built up by then in nine of ten of them")
    years: int = Field(default=0, description="how many years it was looked up in")
    until: datetime | None = Field(default=None, description="up to when it was looked")
    source: str = Field(default="", description="whose weather of past years it is")
    attribution: str = ""
    unknown: str = Field(default="", description="why there are no dates, in plain words, where no year is known")


class Plan(Plain):
    """Every coat of one piece that is still to come, as far as the forecast reaches."""

    piece: str
    piece_name: str
    site: str
    timezone: str
    made_at: datetime
    coats: int = Field(description="of the whole build-up")
    left: int = Field(description="coats still to come")
    planned: tuple[PlannedCoat, ...] = Field(description="those that find their hours, the next one first")
    odds_pct: float | None = Field(
        description="how likely every one of them is to be good, at least; None without odds"
    )
    built_up_at: datetime | None = Field(description="the last stroke of the last coat; None beyond the forecast")
    in_service_at: datetime | None = Field(description="when it may be used; None beyond the forecast")
    reason: Reason | None = Field(
        default=None, description="why the first coat that is not planned finds no hours; None where all are"
    )
    by_people: bool = Field(
        default=False, description="by itself the piece would have more coats planned: whoever does it is not free"
    )
    beyond: Beyond | None = Field(default=None, description="finish dates past the forecast, where that was asked")
    weather: Provenance | None = None
    missing: tuple[str, ...] = Field(default=(), description="weather variables that are needed and not known")

    @property
    def unplanned(self) -> int:
        """How many coats find no hours within the forecast."""
        return self.left - len(self.planned)

    @property
    def starts(self) -> Mapping[int, datetime]:
        """When each planned coat begins, by its number: what the next plan holds to."""
        return {coat.number: coat.start for coat in self.planned}


class Share(Plain):
    """How good a plan of several pieces is for people who cannot be at two of them at once.

    The bound is what no plan can better: that of every piece by itself, or what was proved of all of them together.
    """

    coats: int = Field(description="coats planned")
    coats_at_most: int
    finish_h: float = Field(
        description="hours to the last planned coat of each piece by its priority, and what keeping to and moving "
        "promised hours and the choice of the last day's hours cost, all summed up"
    )
    bound_h: float = Field(description="the least that can be for as many coats as are bound")
    gap_pct: float = Field(description="how far the plan may be from the best: of the coats, else of the hours")
    is_best: bool = Field(description="no plan is better")
    is_thinned: bool = Field(default=False, description="of some coats not every start was looked at")


class Plans(Plain):
    """The plans of all pieces, made together."""

    plans: tuple[Plan, ...]
    share: Share | None = Field(default=None, description="None where nothing had to be shared")
