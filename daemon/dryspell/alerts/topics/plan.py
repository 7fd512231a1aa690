"""The plan has moved the next coat to another day, or the day on which all coats are on: said once, and seldom.

- a plan is what a person may look up: the first one is nobody's news, nor is what changes within a day;
- another day is news where one of the two is at most three days off, or the old one was told; farther off, and past
  hours, are followed in silence;
- it is said when it has stood for three hours, at most once a day and piece, and not in quiet hours; a plan that has
  gone back by then was never moved;
- nothing is said of what moves within six hours of a "wait", which names the next window itself, nor of a day for which
  a window is promised;
- the day on which all coats are on is told with it, and by itself where it was to be within three days.
"""

from datetime import date, datetime, timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import PlanMemory
from dryspell.alerts.model import Move, Why
from dryspell.alerts.talk import Talk
from dryspell.outlook.plan_model import Plan

# All of these: no source.
NEAR_DAYS = 3
HELD_FOR = timedelta(hours=3)
REST = timedelta(hours=24)
WAIT_TELLS = timedelta(hours=6)
OVERNIGHT = timedelta(hours=12)
"""Less than this is no other day, whatever the clock says of midnight."""
IS_NEWS_FOR = timedelta(hours=24)


def forget(talk: Talk) -> None:
    """Drop what a recorded coat, or an undone one, has settled."""
    before = talk.memory.plan
    if before is not None and before.coat != talk.outlook.next_coat:
        if before.key:
            talk.retract(before.key)
        talk.remember(plan=None)


def speak(talk: Talk) -> None:
    """Say what the plan has moved."""
    plan = talk.plan
    # While a plan that knows of the last coat is being made there is none.
    if plan is not None and plan.coats - plan.left + 1 == talk.outlook.next_coat and plan.left:
        _Plan(talk, plan).speak()


class _Plan:
    def __init__(self, talk: Talk, plan: Plan) -> None:
        self.talk, self.plan = talk, plan
        self.start = plan.planned[0].start if plan.planned else None
        self.finish = plan.built_up_at
        self.memory = talk.memory.plan or PlanMemory(coat=talk.outlook.next_coat)

    def speak(self) -> None:
        self._hear()
        if not self._is_told_otherwise() and self._is_moved:
            self._consider()
        else:
            self._follow()
        self.talk.remember(plan=self.memory)

    def _set(self, **changes: object) -> None:
        self.memory = self.memory.put(**changes)

    def _day(self, at: datetime) -> date:
        return at.astimezone(self.talk.zone).date()

    def _hear(self) -> None:
        """Note when "wait" is said."""
        if self.talk.heard(Kind.WAIT):
            self._set(waited_at=self.talk.now)

    def _is_told_otherwise(self) -> bool:
        """Say whether the day that was planned is past, or is spoken of as a window; and so is the day it is now."""
        was, waited_at = self.memory.start, self.memory.waited_at
        if was is None or was <= self.talk.now or (waited_at is not None and self.talk.now - waited_at < WAIT_TELLS):
            return True
        promised = {self._day(promise.told.start) for promise in self.talk.memory.windows.promises}
        return self.start is not None and self._day(self.start) in promised

    @property
    def _is_moved(self) -> bool:
        finish = self.memory.finish
        return self._moved(self.memory.start, self.start) or (
            self._is_near(finish) and self._moved(finish, self.finish)
        )

    def _moved(self, was: datetime | None, to: datetime | None) -> bool:
        if was is None:
            return False
        if to is None:
            # Only weather that is known there says that a day is none.
            reaches = self.plan.weather.reaches if self.plan.weather and not self.plan.missing else None
            return reaches is not None and reaches > was
        return self._day(was) != self._day(to) and abs(to - was) >= OVERNIGHT

    def _is_near(self, *instants: datetime | None) -> bool:
        today = self.talk.local.date()
        return any(at is not None and (self._day(at) - today).days <= NEAR_DAYS for at in instants)

    def _follow(self) -> None:
        """Take the plan as it is for what a person goes by."""
        memory = self.memory
        start, finish = self._as_known(memory.start, self.start), self._as_known(memory.finish, self.finish)
        same = start is not None and memory.start is not None and self._day(start) == self._day(memory.start)
        self._set(start=start, finish=finish, is_told=memory.is_told and same, moved_since=None, why=None, reason=None)

    def _as_known(self, was: datetime | None, to: datetime | None) -> datetime | None:
        """Return what is planned; where the weather does not reach so far any more, what was."""
        is_open = to is None and was is not None and was > self.talk.now and not self._moved(was, None)
        return was if is_open else to

    def _consider(self) -> None:
        """Say it, if it is near or the old day was told, has stood for a while, and the last word is long ago."""
        memory, now = self.memory, self.talk.now
        if not memory.is_told and not self._is_near(memory.start, self.start, self.finish):
            return self._follow()
        if memory.moved_since is None:
            moved = self.plan.planned[0].moved if self.plan.planned else None
            reason = moved.reason if moved else self.plan.reason if self.start is None else None
            self._set(moved_since=now, why=moved and moved.why, reason=reason)
            return None
        rests = memory.said_at is not None and now - memory.said_at < REST
        if now - memory.moved_since >= HELD_FOR and not rests:
            self._say()
        return None

    def _say(self) -> None:
        memory, talk, start = self.memory, self.talk, self.start
        if memory.start is None:
            return
        of_start = self._moved(memory.start, start)
        was, to = (memory.start, start) if of_start else (memory.finish or memory.start, self.finish)
        why = Why.GONE if to is None else Why.LATER if to > was else Why.SOONER
        key = talk.key(Kind.PLAN_MOVED, f"{was:%Y-%m-%dT%H:%MZ}/{memory.times + 1}")
        if memory.key:
            talk.retract(memory.key)
        talk.say(
            Kind.PLAN_MOVED,
            why,
            key,
            talk.now + IS_NEWS_FOR,
            level=Level.PLAN,
            topic=f"{talk.outlook.piece}/plan",
            reason=memory.reason,
            move=Move(
                start_was=memory.start,
                start=start,
                finish_was=memory.finish,
                finish=self.finish,
                of_start=of_start,
                why=memory.why,
            ),
        )
        told = {"key": key, "times": memory.times + 1, "said_at": talk.now, "is_told": True}
        self._set(start=start, finish=self.finish, moved_since=None, why=None, reason=None, **told)
