"""What is said: a notice with all that its words need."""

from collections.abc import Callable, Mapping
from datetime import datetime, time, timedelta
from enum import StrEnum

from pydantic import Field

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.quiet import DEFAULT_QUIET, Quiet
from dryspell.outlook.model import FilmRisk, Hazard, Plain, Reason, Window
from dryspell.outlook.plan_model import WhyMoved
from dryspell.trade.hours import Span


class Why(StrEnum):
    """Why a notice is sent."""

    OPENS_TOMORROW = "opens_tomorrow"
    OPEN = "open"
    OPEN_AGAIN = "open_again"
    CLOSING = "closing"
    GONE = "gone"
    LATER = "later"  # it opens over an hour later than was said
    SHORTER = "shorter"  # its last stroke is over an hour earlier than was said
    LOST_PROMISE = "lost_promise"  # no weather to judge a promised window by
    LOST_WET = "lost_wet"  # no weather to judge a film by that is not yet dew-safe
    BACK = "back"
    AHEAD = "ahead"
    SOONER = "sooner"  # it comes over an hour sooner than was said
    NEAR = "near"  # the second word on it, shortly before
    NO_LONGER = "no_longer"
    REACHED = "reached"
    DUE = "due"


class Told(Plain):
    """A window as it was told, in the instants a person was given."""

    start: datetime
    last_start: datetime
    brush_down_by: datetime


class Move(Plain):
    """What the plan has moved; None is no hours within the forecast."""

    start_was: datetime
    start: datetime | None = Field(description="when the next coat begins")
    finish_was: datetime | None
    finish: datetime | None = Field(description="when all coats are on")
    of_start: bool = Field(description="the next coat itself has moved")
    why: WhyMoved | None = None


class Notice(Plain):
    """One thing to say about one piece, or about several at one site.

    `key` is its identity: piece, coat, kind and which window, as it was first told; no forecast value. A "wait" is
    known by the notice that it takes back.
    """

    key: str
    kind: Kind
    why: Why
    level: Level = Level.NOW
    topic: str = Field(default="", description="what it is a word on: a newer one takes the place of what still waits")
    piece: str = Field(description="of several the first")
    coat: int = Field(description="the number of the next coat")
    told: Told | None = Field(default=None, description="the promise this is about")
    windows: tuple[Window, ...] = Field(default=(), description="what to plan on from here, less than an hour apart")
    reason: Reason | None = Field(default=None, description="what blocks the promised window")
    hazard: Hazard | None = Field(default=None, description="what comes to the film, or was to come")
    risk: FilmRisk | None = Field(default=None, description="how, as it is seen now")
    at: datetime | None = Field(default=None, description="when it is so, or will be")
    move: Move | None = Field(default=None, description="what the plan has moved")
    group: str = Field(default="", description="the key of the site, where it is about several pieces there")
    parts: tuple["Notice", ...] = Field(default=(), description="what it says of each piece, where there are several")
    cautioned: bool = Field(default=False, description="the cautions of this step were told before: once is enough")
    created_at: datetime
    expires_at: datetime = Field(description="saying it later would do harm or be useless")

    @property
    def each(self) -> tuple["Notice", ...]:
        """What it says, one notice a piece."""
        return self.parts or (self,)

    @property
    def pieces(self) -> tuple[str, ...]:
        """The keys of the pieces it is about."""
        return tuple(dict.fromkeys(part.piece for part in self.each))

    def only(self, hears_of: Callable[[str], bool]) -> "Notice | None":
        """Return what it says of some of its pieces, under the same key; None where it is about none of them."""
        parts = tuple(part for part in self.each if hears_of(part.piece))
        if len(parts) == len(self.each):
            return self
        if not parts:
            return None
        if len(parts) == 1:
            return parts[0].model_copy(update={"key": self.key, "level": self.level})
        return self.model_copy(update={"parts": parts, "piece": parts[0].piece, "coat": parts[0].coat})


class PieceHabits(Plain):
    """What a decision wants to know of a piece beside its outlook."""

    hours: tuple[Span, ...] = Field(default=(), description="when its finisher works; none is at any hour")
    hot: frozenset[int] = Field(default=frozenset(), description="numbers of the coats that may go on the soft one")
    unsanded: frozenset[int] = Field(default=frozenset(), description="numbers of the coats before which nobody sands")
    prepares: timedelta = Field(default=timedelta(0), description="how long it takes to prepare for a coat")
    brushes: timedelta = Field(default=timedelta(0), description="and to brush it")


class Habits(Plain):
    """When things are said; times of day are those of the piece's own site."""

    evening: time = Field(default=time(18), description="heads-up for the next day from here on")
    quiet: Quiet | None = Field(
        default=DEFAULT_QUIET, description="hours in which nobody is told of anything but a film that can be saved"
    )
    again: int = Field(default=1, description="how often a thing may be said again while it matters")
    all_told_to_coat: bool = Field(
        default=True, description="whether all who hear of a wet film, or the evening before, hear when to coat as well"
    )
    piece: Mapping[str, PieceHabits] = Field(default={}, description="by piece")

    @property
    def morning(self) -> time:
        """When the first things of a day are said."""
        return self.quiet.end if self.quiet else time(6)
