"""A coat to come as a calendar shows it, and what it was told of it last."""

from dataclasses import dataclass
from datetime import datetime

from pydantic import Field

from dryspell.outlook.model import Plain


class Entry(Plain):
    """One coat to come as a calendar shows it."""

    piece: str
    coat: int
    begins_at: datetime = Field(description="when to begin to prepare")
    ends_at: datetime = Field(description="the last stroke")
    title: str
    text: str
    place: str


@dataclass(frozen=True)
class Told:
    """What a calendar was told of a coat last.

    Attributes
    ----------
    uid, sequence
        As RFC 5545 has them: what it is known by, and how often it has moved.
    gone_at
        Since when it is told to be cancelled; None where it is not.
    """

    uid: str
    sequence: int
    entry: Entry
    changed_at: datetime
    gone_at: datetime | None = None
