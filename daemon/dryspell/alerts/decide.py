"""What is worth saying now, given what was said before. Pure: the same input gives the same answer.

The rules, per piece and coat:

- the evening before, once, of the first window that opens on the next local day;
- when a window opens, once. Again only when it was withdrawn over an hour ago, and once at the most;
- when a promised window has gone, opens over an hour later, or ends over an hour earlier: once. Of the next day's
  window one correction is made the same evening; a second waits for the morning;
- a recorded coat ends its promises in silence, and so does a window that has run its time;
- without weather nothing is judged, and that is said once while a promise stands or a film is wet.
"""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.alerts.model import Habits, Kind, Notice, Opened, PieceMemory, Promise, Told, Why
from dryspell.alerts.spans import GRID, HOUR, Stretch, block_at, kept, open_now, stretches
from dryspell.outlook.model import FilmState, Outlook

MOST_CORRECTIONS = 2
MOST_OPENINGS = 2
LOST_IS_NEWS_FOR = timedelta(hours=12)
WET_FOR = timedelta(hours=24)
"""How long a film is taken for wet when there is no weather to tell (common practice: a day)."""


def settled(before: Mapping[str, PieceMemory], after: Mapping[str, PieceMemory]) -> set[str]:
    """Return the keys of the notices whose promise stands no more: what is not delivered of them is not to be."""
    standing = {promise.key for memory in after.values() for promise in memory.promises}
    return {promise.key for memory in before.values() for promise in memory.promises} - standing


def decide(
    memory: Mapping[str, PieceMemory], outlooks: Iterable[Outlook], now: datetime, habits: Habits
) -> tuple[list[Notice], dict[str, PieceMemory]]:
    """Return what to say now, and the memory to keep; what is remembered of other pieces stays as it is.

    Parameters
    ----------
    memory
        By piece, as returned by the decision before; empty at first.
    outlooks
        One for each piece, made at `now`.
    """
    said: list[Notice] = []
    kept_memory = dict(memory)
    for outlook in outlooks:
        notices, kept_memory[outlook.piece] = _Piece(memory.get(outlook.piece), outlook, now, habits).decide()
        said += notices
    return said, kept_memory


class _Piece:
    """One piece's decision; `memory` changes as it is made."""

    def __init__(self, memory: PieceMemory | None, outlook: Outlook, now: datetime, habits: Habits) -> None:
        self.memory = memory or PieceMemory()
        self.outlook = outlook
        self.now = now.astimezone(UTC)
        self.habits = habits
        self.zone = ZoneInfo(outlook.timezone)
        self.local = self.now.astimezone(self.zone)
        self.ahead = stretches(outlook.windows)
        self.said: list[Notice] = []

    def decide(self) -> tuple[list[Notice], PieceMemory]:
        self._forget()
        if self.outlook.word == "unknown":
            self._lost()
            return self.said, self.memory
        self._remember(wet_until=self._wet_until(self.outlook.film), lost=False)
        self._opening()
        for promise in self.memory.promises:
            self._check(promise)
        self._heads_up()
        return self.said, self.memory

    def _wet_until(self, film: FilmState | None) -> datetime | None:
        if film is None:
            return None
        return film.stages.dew_safe or self.now + WET_FOR

    def _remember(self, **changes: object) -> None:
        self.memory = self.memory.model_copy(update=changes)

    def _key(self, kind: Kind, which: object) -> str:
        return f"{self.outlook.piece}/{self.outlook.next_coat}/{kind}/{which}"

    def _say(
        self,
        kind: Kind,
        why: Why,
        key: str,
        expires_at: datetime,
        *,
        told: Told | None = None,
        stretch: Stretch | None = None,
        blocked_at: datetime | None = None,
    ) -> None:
        block = block_at(self.outlook, blocked_at) if blocked_at else None
        self.said.append(
            Notice(
                key=key,
                kind=kind,
                why=why,
                piece=self.outlook.piece,
                coat=self.outlook.next_coat,
                told=told,
                windows=stretch.windows if stretch else (),
                reason=block.reason if block else None,
                created_at=self.now,
                expires_at=max(expires_at, self.now),
            )
        )

    def _forget(self) -> None:
        """Drop what a recorded coat, an undone one, or the passing of time has settled."""
        if self.memory.coat != self.outlook.next_coat:
            film = self.outlook.film
            self._remember(
                coat=self.outlook.next_coat,
                promises=(),
                opened=(),
                wet_until=film.coat.finished_at + WET_FOR if film else None,
            )
        self._remember(
            promises=tuple(p for p in self.memory.promises if p.told.last_start >= self.now),
            opened=tuple(o for o in self.memory.opened if o.end + HOUR >= self.now),
        )

    def _lost(self) -> None:
        """Say that there is nothing to judge by, if somebody counts on it."""
        promise = min((p.told for p in self.memory.promises), key=lambda told: told.start, default=None)
        wet = self.memory.wet_until is not None and self.memory.wet_until > self.now
        if self.memory.lost or self.memory.lost_on == self.local.date() or not (promise or wet):
            return
        self._remember(lost=True, lost_on=self.local.date())
        why = Why.LOST_PROMISE if promise else Why.LOST_WET
        key = self._key(Kind.WEATHER_LOST, self.local.date())
        self._say(Kind.WEATHER_LOST, why, key, self.now + LOST_IS_NEWS_FOR, told=promise)

    def _opening(self) -> None:
        """Say "coat now" when a window is open and that is news; follow the windows of which it was said."""
        stretch = open_now(self.outlook, self.ahead)
        if stretch is None:
            return
        before = next((o for o in self.memory.opened if stretch.touches(o.start, o.end)), None)
        others = tuple(o for o in self.memory.opened if o is not before)
        if before is None:
            opened = Opened(start=stretch.start, end=stretch.last_start)
        elif before.withdrawn_at is None:
            self._remember(opened=(*others, before.model_copy(update={"end": max(before.end, stretch.last_start)})))
            return
        elif self.now - before.withdrawn_at >= HOUR and before.times < MOST_OPENINGS:
            opened = Opened(start=before.start, end=stretch.last_start, times=before.times + 1)
        else:
            return
        why = Why.OPEN if before is None else Why.OPEN_AGAIN
        key = self._key(Kind.COAT_NOW, f"{opened.start:%Y-%m-%dT%H:%MZ}/{opened.times}")
        self._say(Kind.COAT_NOW, why, key, stretch.last_start, stretch=stretch)
        rest = tuple(p for p in self.memory.promises if kept(p, self.ahead, self.zone) is not stretch)
        self._remember(opened=(*others, opened), promises=(Promise(key=key, told=stretch.told, opened=True), *rest))

    def _check(self, promise: Promise) -> None:
        """Say "wait" when a promised window has gone or moved by over an hour."""
        stretch = kept(promise, self.ahead, self.zone)
        shut = promise.opened and stretch is not open_now(self.outlook, self.ahead)
        seen = promise.model_copy(update={"shut_since": (promise.shut_since or self.now) if shut else None})
        why = self._broken(seen, stretch)
        if why is None or self._held(promise, why):
            return self._replace(promise, seen)
        told = promise.told
        blocked_at = stretch.last_start + GRID if stretch and why is Why.SHORTER else max(told.start, self.now)
        key = f"{promise.key}/{Kind.WAIT}"
        self._say(Kind.WAIT, why, key, told.last_start, told=told, stretch=stretch, blocked_at=blocked_at)
        still_open = promise.opened and why is Why.SHORTER
        if promise.opened:
            self._withdraw(told, stretch if still_open else None)
        if stretch is None:
            return self._replace(promise, None)
        moved = Promise(
            key=key,
            told=stretch.told,
            opened=still_open,
            shut_since=seen.shut_since if still_open else None,
            corrections=promise.corrections + 1,
        )
        return self._replace(promise, moved)

    def _broken(self, promise: Promise, stretch: Stretch | None) -> Why | None:
        """Return how a promise is broken by what there is in its place, if it is."""
        told = promise.told
        left = told.last_start - self.now
        nearly_over = self.now >= told.start and left <= min(HOUR, (told.last_start - told.start) / 2)
        if stretch is None:
            return None if nearly_over else Why.GONE
        promised_start = told.start if not promise.opened else promise.shut_since or self.now
        if stretch.start - promised_start > HOUR:
            return None if nearly_over else Why.LATER
        return Why.SHORTER if told.brush_down_by - stretch.told.brush_down_by > HOUR else None

    def _held(self, promise: Promise, why: Why) -> bool:
        """Say whether a correction has to wait: of the next day's window one is made, and a second in the morning."""
        if promise.corrections == 0 or (promise.opened and why is Why.GONE):
            return False
        if promise.corrections >= MOST_CORRECTIONS:
            return True
        day = promise.told.start.astimezone(self.zone).date()
        return not promise.opened and not (self.local.date() >= day and self.local.time() >= self.habits.morning)

    def _replace(self, promise: Promise, by: Promise | None) -> None:
        self._remember(promises=tuple(p for p in (by if q is promise else q for q in self.memory.promises) if p))

    def _withdraw(self, told: Told, left: Stretch | None) -> None:
        """Note that "coat now" was taken back, or that the window ends with what is left of it."""
        changed = {"end": left.last_start} if left else {"withdrawn_at": self.now}
        self._remember(
            opened=tuple(
                o.model_copy(update=changed) if o.start <= told.last_start and o.end >= told.start else o
                for o in self.memory.opened
            )
        )

    def _heads_up(self) -> None:
        """Tell of the first window of the next local day, the evening before."""
        today = self.local.date()
        if self.local.time() < self.habits.evening or self.memory.heads_up_on == today:
            return
        tomorrow = today + timedelta(days=1)
        stretch = next((s for s in self.ahead if s.start.astimezone(self.zone).date() == tomorrow), None)
        if stretch is None or any(kept(p, [stretch], self.zone) for p in self.memory.promises):
            return
        key = self._key(Kind.TOMORROW, tomorrow)
        self._say(Kind.TOMORROW, Why.OPENS_TOMORROW, key, stretch.start, stretch=stretch)
        self._remember(heads_up_on=today, promises=(*self.memory.promises, Promise(key=key, told=stretch.told)))
