"""One piece's turn to speak: what is seen of it, what is said of it now, and what is remembered of that."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import PieceMemory, Standing
from dryspell.alerts.model import Habits, Move, Notice, PieceHabits, Told, Why
from dryspell.alerts.quiet import quiet_until
from dryspell.outlook.model import FilmRisk, Hazard, Outlook, Reason, Window
from dryspell.outlook.plan_model import Plan

KEEP = timedelta(days=1)
"""An expired notice is left for the outbox to drop, which says that it was not delivered in time."""


@dataclass
class Talk:
    """What every topic is given of a piece; `say` and `retract` gather what comes of it.

    Attributes
    ----------
    outlook, now, habits
        What is seen, when, and the ways of those who are told.
    memory
        What was said; a topic puts its own part of it anew.
    plan
        The plan of the piece, where one is made.
    """

    outlook: Outlook
    now: datetime
    habits: Habits
    memory: PieceMemory
    plan: Plan | None = None
    said: list[Notice] = field(default_factory=list)
    _retracted: set[str] = field(default_factory=set)

    def __post_init__(self) -> None:
        self.now = self.now.astimezone(UTC)

    @property
    def zone(self) -> ZoneInfo:
        """That of the piece."""
        return ZoneInfo(self.outlook.timezone)

    @property
    def local(self) -> datetime:
        """The present on the clock of the piece."""
        return self.now.astimezone(self.zone)

    @property
    def quiet_until(self) -> datetime | None:
        """When the quiet hours that it is in end; None where it is in none."""
        return quiet_until(self.now, self.habits.quiet, self.zone)

    @property
    def ways(self) -> PieceHabits:
        """What is known of the piece beside its outlook."""
        return self.habits.piece.get(self.outlook.piece, PieceHabits())

    def remember(self, **changes: object) -> None:
        """Put parts of the memory anew."""
        self.memory = self.memory.put(**changes)

    def key(self, kind: Kind, which: object) -> str:
        """Return the key of a notice about the next coat."""
        return f"{self.outlook.piece}/{self.outlook.next_coat}/{kind}/{which}"

    def say(
        self,
        kind: Kind,
        why: Why,
        key: str,
        expires_at: datetime,
        *,
        level: Level = Level.NOW,
        topic: str = "",
        told: Told | None = None,
        windows: tuple[Window, ...] = (),
        reason: Reason | None = None,
        risk: FilmRisk | None = None,
        hazard: Hazard | None = None,
        at: datetime | None = None,
        move: Move | None = None,
        cautioned: bool = False,
    ) -> None:
        """Say something; a notice holds until it expires or is retracted."""
        notice = Notice(
            key=key,
            kind=kind,
            why=why,
            level=level,
            topic=topic or f"{self.outlook.piece}/{kind}",
            piece=self.outlook.piece,
            coat=self.outlook.next_coat,
            told=told,
            windows=windows,
            reason=reason,
            risk=risk,
            hazard=hazard,
            at=at,
            move=move,
            cautioned=cautioned,
            created_at=self.now,
            expires_at=max(expires_at, self.now),
        )
        self.said.append(notice)

    def retract(self, key: str) -> None:
        """Take it that a notice does not hold any more."""
        self._retracted.add(key)

    def retract_all(self, which: Callable[[str], bool]) -> None:
        """Take it that no notice whose key is one of those holds any more."""
        self._retracted |= {standing.key for standing in self.memory.standing if which(standing.key)}

    def heard(self, *kinds: Kind) -> bool:
        """Say whether any of these kinds is said now."""
        return any(notice.kind in kinds for notice in self.said)

    def close(self) -> PieceMemory:
        """Return the memory with what holds from now on."""
        new = [Standing(key=n.key, sent_as=n.key, until=n.expires_at, level=n.level) for n in self.said]
        standing = {each.key: each for each in (*self.memory.standing, *new)}
        kept = tuple(
            each for key, each in standing.items() if key not in self._retracted and each.until + KEEP >= self.now
        )
        return self.memory.put(standing=kept)
