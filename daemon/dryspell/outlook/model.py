"""What an outlook says, as plain models: the verdict now, the windows ahead, and why the rest is not one."""

from collections.abc import Mapping
from datetime import datetime
from enum import StrEnum
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from dryspell.outlook.met_model import Met
from dryspell.trade.before import Before

Word = Literal["coat", "tight", "wait", "unknown"]
Spoiler = Literal["dew", "rain", "cold", "heat", "other"]
Hazard = Literal["rain", "dew", "sun", "cold"]


class Limit(StrEnum):
    """Every test a start has to pass, in the order in which a failing one is named first."""

    BUILT_UP = "built_up"  # there is a coat left to put on: asked before anything else
    COAT_BELOW = "coat_below"  # the coat underneath is ready for the next
    HOURS = "hours"  # the finisher's own hours
    COVER = "cover"  # nobody brushes under the cover
    DAYLIGHT = "daylight"
    DRY = "dry"  # no dew or rain on the surface, nor just gone
    AIR_LOW = "air_low"
    AIR_HIGH = "air_high"
    SURFACE_LOW = "surface_low"
    SURFACE_HIGH = "surface_high"
    HUMIDITY = "humidity"
    MARGIN_APPLY = "margin_apply"  # surface over dew point while brushing
    WIND = "wind"
    SUN = "sun"  # sun heats a film that is not yet touch-dry
    MARGIN_HOLD = "margin_hold"  # surface over dew point until the film is dew-safe
    RAIN = "rain"  # rain before the film is rain-safe
    RAIN_CHANCE = "rain_chance"
    COLD = "cold"  # too cold for the film before it is sandable
    KNOWN = "known"  # nothing that is known speaks against it, but not all the weather of the span is known


class Plain(BaseModel):
    """A model that only carries values."""

    # What they say is another thing every day, and pydantic would keep sixteen thousand short texts of it.
    model_config = ConfigDict(frozen=True, extra="forbid", cache_strings="keys")


class Reason(Plain):
    """One limit with its number: what the weather gives, what the limit asks, and when.

    `value` and `bound` are in `unit`; documents for other programs write them as `value_<unit>` and `bound_<unit>`.
    """

    limit: Limit
    value: float | None = None
    bound: float | None = None
    unit: Literal["K", "degC", "%", "m/s", "mm", "h", ""] = ""
    at: datetime | None = Field(
        default=None, description="when the value is met, or, of a limit without a number, when it lets go"
    )
    dry_at: datetime | None = Field(default=None, description="of a wet surface: when dew and rain are off it")
    what: str = Field(default="", description="the weather variable that is not known, by its CF name")


class Advice(Plain):
    """The verdict that stood when a coat was begun."""

    word: Word
    reason: Reason | None = None
    given_at: datetime = Field(description="since when it stood")

    @property
    def is_against(self) -> bool:
        """Whether a coat begun then was begun against it."""
        return self.word == "wait" and (self.reason is None or self.reason.limit is not Limit.BUILT_UP)


class Stages(Plain):
    """When a film laid with the last stroke reaches its stages; None is later than the weather reaches."""

    touch_dry: datetime | None = None
    dew_safe: datetime | None = None
    rain_safe: datetime | None = None
    sandable: datetime | None = None
    recoat: datetime | None = None
    sand_first_after: datetime | None = Field(default=None, description="overcoat window past: sanding is compulsory")
    hot_open: datetime | None = Field(default=None, description="a coat on the soft film may begin, where that is done")
    hot_close: datetime | None = Field(default=None, description="a coat on the soft film must be on")
    in_service: datetime | None = Field(default=None, description="it may be touched, loaded and covered")
    full_cure: datetime | None = Field(default=None, description="it has all its hardness")


class Mix(Plain):
    """How a mix of two parts keeps that is made for the best start, at the temperature of the air there."""

    pot_life_h: float = Field(description="until it goes off")
    brushable_h: float = Field(description="while it still flows out under the brush")
    induction_min: tuple[float, float] | None = Field(
        default=None, description="least and longest wait before brushing"
    )


class Mixed(Plain):
    """A pot of two-part coating that was mixed for the next coat of a piece."""

    piece: str
    coat: int = Field(description="the number of the coat it is for")
    mixed_at: datetime


class Pot(Plain):
    """How the pot keeps that is mixed, at the temperature of the air that it has met and will meet."""

    mixed_at: datetime
    brush_from: datetime | None = Field(description="when it has stood as long as is asked; None where nothing is")
    brush_until: datetime = Field(description="until when it still flows out under the brush")
    goes_off_at: datetime
    by_weather: bool = Field(
        default=True,
        description="false where that air is not known: then by the shortest pot life that is known of the coating",
    )


class Window(Plain):
    """A span of starts of the next coat that pass every limit."""

    start: datetime
    last_start: datetime
    good_from: datetime | None = Field(
        default=None, description="the first start that does not hang on the last degree"
    )
    brush_down_by: datetime = Field(description="the last stroke that still beats the dew with the reserve")
    tight_until: datetime = Field(description="the last stroke that works only if the forecast is right to the degree")
    word: Literal["coat", "tight"]
    best_start: datetime
    probability: float | None = Field(
        default=None, ge=0, le=1, description="share of members in which the best start passes; None without odds"
    )
    coarse: bool = Field(default=False, description="it stands on weather given in steps that can hide a night")
    binding: Reason = Field(description="the limit nearest to failing at the best start")
    margin_apply_k: float = Field(description="surface over dew point, least while brushing from the best start")
    margin_hold_k: float = Field(description="surface over dew point, least until dew-safe, from the best start")
    surface_c: float = Field(description="surface temperature at the best start")
    humidity_pct: float
    stages: Stages = Field(description="of a coat begun at the best start")
    hang_shade_by: datetime | None = Field(default=None, description="when the shade must hang, where one is needed")
    cover_on_by: datetime | None = Field(default=None, description="when the cover has to be on, where one is needed")
    without_cover: Reason | None = Field(
        default=None, description="what the cover is needed for: what would be the matter without it"
    )
    bare_until: datetime | None = Field(default=None, description="the last start that does without the cover")
    mix: Mix | None = Field(default=None, description="of a coating that is mixed from two parts")
    factors: Mapping[str, float] = Field(default={}, description="what slows that coat beside the weather, by name")
    cautions: tuple[Reason, ...] = Field(
        default=(), description="what passes its limit but is past the comfortable figure, which is its bound here"
    )

    @property
    def begin_by(self) -> datetime:
        """The last start whose last stroke still beats the dew with the reserve."""
        return self.brush_down_by - (self.tight_until - self.last_start)


class Block(Plain):
    """A span of starts that do not pass, with the first reason that blocks it, and the others."""

    start: datetime
    end: datetime
    reason: Reason
    others: tuple[Limit, ...] = ()


class Coat(Plain):
    """A coat that was put on."""

    id: int = 0
    piece: str
    number: int = Field(ge=1, description="counted over the whole build-up of the piece")
    finished_at: datetime = Field(description="the last stroke")
    who: str = ""
    batch: str = ""
    thinner_parts: float | None = Field(default=None, description="parts to a hundred of coating")
    wet_film_um: float | None = None
    note: str = ""
    recorded_at: datetime
    sandable_at: datetime | None = Field(default=None, description="when it was seen to be sandable")
    mixed_at: datetime | None = Field(default=None, description="of two parts: when the last pot for it was mixed")
    began_at: datetime | None = Field(default=None, description="the first stroke")
    coating: str = Field(default="", description="the key of what it is a coat of; empty is as the build-up has it")
    abrasive: str = Field(default="", description='what was sanded with before it, or "none"; empty is not told')
    litres: float | None = Field(default=None, description="of the mix that were used")
    photo: str = Field(default="", description="the path of a picture of it")
    spoilt: Literal["", Spoiler] = Field(default="", description="what spoilt it: it does not count, but lies there")
    met: Met | None = Field(default=None, description="the weather it was put on in, as known when it was recorded")
    advice: Advice | None = Field(default=None, description="the verdict it was begun under; None where none is known")


class FilmState(Plain):
    """How far the coat already on has come."""

    coat: Coat
    stain: bool = Field(default=False, description="it is a stain: dry to coat where another is sandable")
    stages: Stages
    sandable_fraction: float = Field(description="progress towards sandable now, 0 to 1")
    factors: Mapping[str, float] = Field(default={}, description="what slows it beside the weather, by name")
    unaccounted_h: float = Field(default=0.0, description="hours since the coat with no weather known, taken as none")
    progress: float = Field(default=0.0, description="the same, going on past 1")


class FilmRisk(Plain):
    """Something that will reach the film that is on before it is safe from it."""

    hazard: Hazard
    at: datetime = Field(description="when it comes, the soonest of what is likely; not before the outlook is made")
    share: float | None = Field(
        default=None, ge=0, le=1, description="of the ways the weather may go; None where there are no odds"
    )
    safe_at: datetime | None = Field(default=None, description="when the film is safe from it")
    reason: Reason = Field(description="how far it goes, and what the film can bear")

    @property
    def odds(self) -> float:
        """How likely it is; where there are no odds it is taken for sure."""
        return 1.0 if self.share is None else self.share


class BareWood(Plain):
    """How dry bare wood is and gets, before its first coat."""

    settles_at_pct: float = Field(description="moisture it comes to in the air of the days ahead, kept from rain")
    below_pct: float = Field(description="what it should be under before the first coat")
    read_pct: float | None = Field(default=None, description="what the meter read")
    days: tuple[float, float] | None = Field(
        default=None, description="least and most days to get there from the reading; None where that air is too damp"
    )


class CoatsOn(Plain):
    """The coats that are on, the full ones counted apart."""

    count: int = Field(description="all of them")
    full: int = Field(description="with 10 parts of thinner or less, and four fifths of the film or more")
    untold: int = Field(description="of which is not told how they were thinned; none of them is counted as full")


class Provenance(Plain):
    """Whose weather an outlook stands on."""

    source: str
    attribution: str
    issued_at: datetime
    age_h: float
    reaches: datetime | None = Field(description="how far every variable that is needed reaches")
    members: int = Field(default=1, description="how many ways the weather may go are judged; 1 is a single forecast")
    filled: Mapping[str, str] = Field(default={}, description="variables that another source had to fill in, and which")
    notes: tuple[str, ...] = ()


class Foretold(Plain):
    """What was said of the weather for one start, some hours ahead, to be compared with what came."""

    lead_h: int = Field(description="how far ahead")
    start: datetime
    coat: int = Field(description="the number of the coat it was said of")
    word: Literal["coat", "tight", "wait"]
    share: float = Field(ge=0, le=1, description="share of members in which the weather passes")
    is_odds: bool = Field(description="whether that is a probability; of a single forecast it is yes or no")
    quick: bool = Field(description="said of a coat that follows at the least time, and dries slower for it")


class Outlook(Plain):
    """Everything there is to say about the next coat of one piece."""

    piece: str
    piece_name: str
    site: str
    timezone: str
    made_at: datetime
    word: Word
    reason: Reason | None = Field(description="why not now, or the limit nearest to failing")
    next_coat: int = Field(description="the number of the next coat; coats + 1 when built up")
    coats: int
    coating: str
    sand_first: bool = Field(default=False, description="the overcoat window is past: sand before coating")
    before: tuple[Before, ...] = Field(default=(), description="what is to be done, or left, before the next coat")
    stain: bool = Field(default=False, description="the next coat is a stain")
    windows: tuple[Window, ...] = ()
    blocks: tuple[Block, ...] = ()
    film: FilmState | None = None
    film_risk: tuple[FilmRisk, ...] | None = Field(
        default=None, description="what will reach the film before it is safe; None where that cannot be told"
    )
    coats_on: CoatsOn | None = Field(default=None, description="where it is told how coats were thinned")
    wood: BareWood | None = Field(default=None, description="of a piece that is bare wood still")
    weather: Provenance | None = None
    missing: tuple[str, ...] = Field(default=(), description="weather variables that are needed and not known")
    pot: Pot | None = Field(default=None, description="the pot that is mixed for the next coat, until it goes off")
    foretold: tuple[Foretold, ...] = Field(default=(), description="of the weather some hours ahead, for the review")
