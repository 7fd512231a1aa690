"""What is remembered of what was said: a model a topic, in one a piece, that outlives restarts and upgrades.

What a version does not know it passes by, and what an older one did not write has a default that says nothing twice.
"""

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from dryspell.alerts.kinds import Level
from dryspell.alerts.model import Told
from dryspell.outlook.model import Hazard, Reason
from dryspell.outlook.plan_model import WhyMoved


class Remembered(BaseModel):
    """A model of memory."""

    model_config = ConfigDict(frozen=True, extra="ignore", cache_strings="keys")

    def put(self, **changes: object) -> Self:
        """Return the model with other values; itself where they are the same, as they are at most ticks."""
        now = self.__dict__
        same = all(now[name] is value or now[name] == value for name, value in changes.items())
        return self if same else self.model_copy(update=changes)


class Promise(Remembered):
    """A window a person was told of and may plan on.

    `key` is that of the notice that told it; `opened` says that "coat now" was said of it, and `opened_at` when;
    `shut_since` is when an opened one was first seen shut; `corrections` counts how often it was moved.
    """

    key: str
    told: Told
    opened: bool = False
    opened_at: datetime | None = None
    shut_since: datetime | None = None
    corrections: int = 0


class Opened(Remembered):
    """A window of which "coat now" was said; `end` follows the window while it is open."""

    start: datetime
    end: datetime
    times: int = 1
    withdrawn_at: datetime | None = None


class ShadeTold(Remembered):
    """Until when the shade over a coat has to hang, as it was said with the word to coat."""

    coat: int
    by: datetime
    told_at: datetime


class SeenSpan(Remembered):
    """A window that was in the forecast when it was last looked at, and since when it has been without a break."""

    start: datetime
    end: datetime
    since: datetime


class WindowMemory(Remembered):
    """What was said of the windows of the next coat."""

    promises: tuple[Promise, ...] = ()
    opened: tuple[Opened, ...] = ()
    heads_up_on: date | None = Field(default=None, description="local day of the last heads-up")
    go_on: date | None = Field(default=None, description="local day of the last word to coat, unless it was taken back")
    seen: tuple[SeenSpan, ...] | None = Field(default=None, description="None where nothing was looked at yet")
    no_since: datetime | None = Field(default=None, description="since when the word on the windows is no")
    called_at: datetime | None = Field(default=None, description="when the last call was said")
    shade: ShadeTold | None = Field(default=None, description="of the last coat of which it was said")


class LostMemory(Remembered):
    """What was said of weather that is not there."""

    wet_until: datetime | None = Field(default=None, description="when the film was last expected to be dew-safe")
    key: str = Field(default="", description="of the notice that there is none; empty when there is")
    on: date | None = Field(default=None, description="local day of the last one")
    known_since: datetime | None = None
    back_at: datetime | None = None


class Warned(Remembered):
    """One danger to the film that somebody was told of."""

    hazard: Hazard
    times: int = Field(default=1, description="how often it was told as news; part of the key")
    key: str = Field(default="", description="of the notice; empty where the word to coat told of it")
    stands: bool = True
    at: datetime = Field(description="when it comes, as was told")
    told_at: datetime
    reminded: bool = False
    low_since: datetime | None = None
    turns: tuple[datetime, ...] = Field(default=(), description="when it was taken back, and told again")


class FilmMemory(Remembered):
    """What was said of the film that is on."""

    number: int
    finished_at: datetime
    said: tuple[str, ...] = Field(default=(), description="what is said once a film, and has been or is too old")
    warned: tuple[Warned, ...] = ()


class UpkeepMemory(Remembered):
    """What was said of upkeep."""

    finished_at: datetime
    years: int = 0


class PotMemory(Remembered):
    """What was said of the pot that is mixed."""

    mixed_at: datetime
    said: tuple[str, ...] = ()


class PlanMemory(Remembered):
    """What a person goes by of the plan of the next coat, and what was said of it."""

    coat: int
    start: datetime | None = Field(default=None, description="when it begins, as is known or was told")
    finish: datetime | None = Field(default=None, description="when all coats are on, the same")
    is_told: bool = Field(default=False, description="that was told, and not only to be looked up")
    moved_since: datetime | None = Field(default=None, description="since when the plan is another one")
    why: WhyMoved | None = None
    reason: Reason | None = None
    key: str = Field(default="", description="of the last notice")
    times: int = 0
    said_at: datetime | None = None
    waited_at: datetime | None = Field(default=None, description='when "wait" was said last')


class Standing(Remembered):
    """A notice that holds still; `sent_as` is the key of the message that carries it, `until` when it expires."""

    key: str
    sent_as: str
    until: datetime
    level: Level = Level.NOW


class PieceMemory(Remembered):
    """What was said of one piece and still matters."""

    coat: int = 0
    windows: WindowMemory = WindowMemory()
    lost: LostMemory = LostMemory()
    film: FilmMemory | None = None
    upkeep: UpkeepMemory | None = None
    pot: PotMemory | None = None
    plan: PlanMemory | None = None
    standing: tuple[Standing, ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _from_older(cls, value: Any) -> Any:
        """Take what a version wrote that knew of windows and lost weather only."""
        if not isinstance(value, Mapping) or not isinstance(value.get("lost"), bool):
            return value
        promises = value.get("promises", ())
        names = ("promises", "opened", "heads_up_on")
        return {
            "coat": value.get("coat", 0),
            "windows": {name: value[name] for name in names if value.get(name) is not None},
            "lost": {
                "wet_until": value.get("wet_until"),
                "key": "older" if value["lost"] else "",
                "on": value.get("lost_on"),
            },
            "standing": [
                {"key": each["key"], "sent_as": each["key"], "until": each["told"]["last_start"]} for each in promises
            ],
        }


def settled(before: Mapping[str, PieceMemory], after: Mapping[str, PieceMemory]) -> set[str]:
    """Return the keys of the messages of which nothing holds any more: they are not to be delivered."""
    held, hold = (
        {standing.sent_as for memory in memories.values() for standing in memory.standing}
        for memories in (before, after)
    )
    return held - hold
