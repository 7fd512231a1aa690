"""What is said, why, and what is remembered of it."""

from datetime import date, datetime, time
from enum import StrEnum

from pydantic import Field

from dryspell.outlook.model import Plain, Reason, Window


class Kind(StrEnum):
    """The kinds of notices."""

    TOMORROW = "tomorrow"  # the evening before: a window opens on the next local day
    COAT_NOW = "coat_now"  # a window is open
    WAIT = "wait"  # a window that was promised has gone or moved
    WEATHER_LOST = "weather_lost"  # nothing to go by any more, while somebody counts on it


class Why(StrEnum):
    """Why a notice is sent."""

    OPENS_TOMORROW = "opens_tomorrow"
    OPEN = "open"
    OPEN_AGAIN = "open_again"
    GONE = "gone"
    LATER = "later"  # it opens over an hour later than was said
    SHORTER = "shorter"  # its last stroke is over an hour earlier than was said
    LOST_PROMISE = "lost_promise"  # no weather to judge a promised window by
    LOST_WET = "lost_wet"  # no weather to judge a film by that is not yet dew-safe


class Told(Plain):
    """A window as it was told, in the instants a person was given."""

    start: datetime
    last_start: datetime
    brush_down_by: datetime


class Notice(Plain):
    """One thing to say about one piece.

    `key` is its identity: piece, coat, kind and which window, as it was first told; no forecast value. A "wait" is
    known by the notice that it takes back.
    """

    key: str
    kind: Kind
    why: Why
    piece: str
    coat: int
    told: Told | None = Field(default=None, description="the promise this is about")
    windows: tuple[Window, ...] = Field(default=(), description="what to plan on from here, less than an hour apart")
    reason: Reason | None = Field(default=None, description="what blocks the promised window")
    created_at: datetime
    expires_at: datetime = Field(description="saying it later would do harm or be useless")


class Promise(Plain):
    """A window a person was told of and may plan on.

    `key` is that of the notice that told it; `opened` says that "coat now" was said of it; `shut_since` is when an
    opened one was first seen shut; `corrections` counts how often it was moved.
    """

    key: str
    told: Told
    opened: bool = False
    shut_since: datetime | None = None
    corrections: int = 0


class Opened(Plain):
    """A window of which "coat now" was said; `end` follows the window while it is open."""

    start: datetime
    end: datetime
    times: int = 1
    withdrawn_at: datetime | None = None


class PieceMemory(Plain):
    """What was said of one piece and still matters."""

    coat: int = 0
    promises: tuple[Promise, ...] = ()
    opened: tuple[Opened, ...] = ()
    heads_up_on: date | None = Field(default=None, description="local day of the last heads-up")
    wet_until: datetime | None = Field(default=None, description="when the film was last expected to be dew-safe")
    lost: bool = Field(default=False, description="the verdict is unknown, and that was said")
    lost_on: date | None = None


class Habits(Plain):
    """When things are said; times of day are those of the piece's own site."""

    evening: time = Field(default=time(18), description="heads-up for the next day from here on")
    morning: time = Field(default=time(6), description="a second correction waits for this, on the day itself")
