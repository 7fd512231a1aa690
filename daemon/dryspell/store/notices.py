"""A notice on its way: the message, what came of it at each target, and what waits."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from dryspell.outlook.model import Reason, Word

Dropped = Literal["no target", "replaced", "late", "overtaken"]
"""Why something was not delivered: for nobody any more, a newer word on its topic, too late, or it holds no more."""


@dataclass(frozen=True)
class Wording:
    """How a message reads for one target, and what is drawn beside it: the text of a chart, empty for none."""

    title: str
    body: str
    chart: str = ""


@dataclass(frozen=True)
class Message:
    """A notice put into words, and the targets it goes to.

    `id` is short and stands in the body, `key` is what makes it the same notice: a second one with that key is not
    taken. Past `expires_at` it is dropped, since late advice does harm. `topic` is what it is a word on: while it
    waits, a newer message of that topic takes its place; empty is its piece and kind. One that is `urgent` goes first.
    `wordings` is what single targets get instead of title and body.
    """

    id: str
    key: str
    piece: str
    kind: str
    title: str
    body: str
    created_at: datetime
    expires_at: datetime
    targets: tuple[str, ...]
    topic: str = ""
    urgent: bool = False
    wordings: Mapping[str, Wording] = field(default_factory=dict)


@dataclass(frozen=True)
class Given:
    """A verdict as it is kept."""

    piece: str
    word: Word
    reason: Reason | None


@dataclass(frozen=True)
class Sending:
    """One notice on its way to one target."""

    notice: str
    target: str
    kind: str
    piece: str
    title: str
    body: str
    created_at: datetime
    expires_at: datetime
    attempts: int
    last_error: str
    delivered_at: datetime | None
    dropped_at: datetime | None
    dropped: Dropped | None = None
    urgent: bool = False
    chart: str = ""


@dataclass(frozen=True)
class Failing:
    """A target that has taken nothing lately: since when, what it said last, and how many notices it has not taken."""

    since: datetime
    error: str
    notices: int


@dataclass(frozen=True)
class Queued:
    """What waits for a target: how much, since when, and when the next of it is tried."""

    count: int
    oldest_at: datetime
    next_try_at: datetime
