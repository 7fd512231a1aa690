"""What came of a replay, as plain values: each finisher's coats, what became of them, and what was said."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum

from dryspell.alerts.model import Notice
from dryspell.outlook.fate import SPOILERS, Fate
from dryspell.replay.truth import BuildUp


class Finisher(StrEnum):
    """Those who coat in the same weather."""

    OBEYS = "obeys"  # does what the alerts say
    GAUGE = "gauge"  # goes by air and humidity now
    KNEW = "knew"  # knew the weather to come, and kept every limit
    LUCKY = "lucky"  # knew it, and left every limit and margin aside that did not spoil a coat


@dataclass(frozen=True)
class CoatAccount:
    """One coat: when it was begun and finished, and what became of it, if it was spoiled when.

    `met` is what would have spoiled it with no shade hung over it and no cover put over it, and when, until it was
    spoiled; `covered_at` is when a cover was put over it.
    """

    number: int
    begun_at: datetime
    finished_at: datetime
    fate: Fate
    spoiled_at: datetime | None
    met: Mapping[Fate, datetime] = field(default_factory=dict)
    covered_at: tuple[datetime, ...] = ()


@dataclass(frozen=True)
class Account:
    """The coats of one finisher, or of several pieces of one."""

    coats: tuple[CoatAccount, ...]
    built_up_at: tuple[datetime, ...]

    @classmethod
    def of(cls, build_up: BuildUp) -> "Account":
        """Return the account of a finisher's coats on one piece."""
        at = build_up.truth.instant
        return cls(
            tuple(
                CoatAccount(
                    number=coat.number,
                    begun_at=at(coat.start),
                    finished_at=at(coat.stroke),
                    fate=coat.fate,
                    spoiled_at=at(coat.spoiled_at) if coat.fate.spoiled else None,
                    met={fate: at(index) for fate, index in coat.met.items()},
                    covered_at=tuple(at(cover.on) for cover in coat.covers),
                )
                for coat in build_up.coats
            ),
            tuple(at(index) for index in build_up.built_up),
        )

    @classmethod
    def of_all(cls, accounts: Iterable["Account"]) -> "Account":
        """Return several accounts as one."""
        several = list(accounts)
        return cls(
            tuple(coat for account in several for coat in account.coats),
            tuple(sorted(at for account in several for at in account.built_up_at)),
        )

    def count(self, fate: Fate) -> int:
        """Return how many coats had a fate."""
        return sum(coat.fate is fate for coat in self.coats)

    @property
    def laid(self) -> int:
        """How many coats were laid."""
        return len(self.coats)

    @property
    def good(self) -> int:
        """How many of them are known not to have been spoiled."""
        return self.count(Fate.GOOD)

    @property
    def spoiled(self) -> int:
        """How many of them were spoiled."""
        return sum(self.count(fate) for fate in SPOILERS)

    @property
    def spoiled_share(self) -> float:
        """The share of those laid that were spoiled; 0 where none was laid."""
        return self.spoiled / self.laid if self.laid else 0.0


@dataclass(frozen=True)
class Said:
    """One alert: when it was sent, of which piece and kind it is, its words, and what it says of each piece."""

    at: datetime
    piece: str
    kind: str
    title: str
    body: str
    parts: tuple[Notice, ...] = ()


@dataclass(frozen=True)
class Promised:
    """The first finish that a plan gave for a build-up.

    Attributes
    ----------
    made_at
        When that plan was made.
    finish
        The last stroke of the last coat, as it had it.
    reached
        The same as it came; None where that was not within the period.
    """

    made_at: datetime
    finish: datetime
    reached: datetime | None


@dataclass(frozen=True)
class Planned:
    """What came of the plans of one piece.

    Attributes
    ----------
    made
        How many were made.
    moved
        How often one put a coat elsewhere than the plan before it had, by why.
    finishes
        The first finish that was promised of each build-up for which one was, in their order.
    """

    made: int
    moved: Mapping[str, int]
    finishes: tuple[Promised, ...]


@dataclass(frozen=True)
class Replayed:
    """A period that was lived through again.

    Attributes
    ----------
    begin, end
        Coats were begun from the one to before the other.
    accounts
        By piece and finisher.
    enters
        Whose coats the daemon was told of; None where nobody coated.
    said
        The alerts, in their order.
    ticks
        How often everything was looked at.
    plans
        By piece, what came of its plans; empty where none were made.
    """

    begin: datetime
    end: datetime
    accounts: Mapping[str, Mapping[Finisher, Account]]
    said: tuple[Said, ...]
    ticks: int
    plans: Mapping[str, Planned] = field(default_factory=dict)
    enters: Finisher | None = Finisher.OBEYS

    def of_all(self, finisher: Finisher) -> Account:
        """Return a finisher's account over all pieces."""
        return Account.of_all(by[finisher] for by in self.accounts.values())
