"""When to coat: the heads-up, "coat now", the last call, and "wait" when a promised window has gone.

The rules, per piece and coat:

- the evening before, once, of the first window that opens on the next local day. Not where somebody was told to coat
  that day and it held: one good day after another is no news, if the next leaves time to prepare when it opens;
- when a window opens, once. One that was not in the forecast before has to stay in it for half an hour first;
- once a window was taken back, nothing is called open before six hours have gone: nobody is sent to and fro;
- the last call 45 minutes before the latest start that beats the dew with the reserve, and in time to prepare for it
  still; to whoever was told to coat over an hour before, has had the time for it since and a quarter of an hour more,
  and has neither mixed nor recorded anything: not to somebody who is brushing. Whoever lets it pass has other plans,
  and hears no other for a week;
- when a promised window has gone, opens over an hour later, or ends over an hour earlier: at once, and once. Of the
  next day's window one correction is made the same evening; a second waits for the morning;
- a recorded coat ends its promises in silence, and so does a window that has run its time.
"""

from datetime import date, datetime, timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import Opened, Promise, SeenSpan, ShadeTold, WindowMemory
from dryspell.alerts.model import Told, Why
from dryspell.alerts.spans import GRID, HOUR, Stretch, block_at, kept, open_now, stretches
from dryspell.alerts.talk import Talk
from dryspell.outlook.model import Window

MOST_CORRECTIONS = 2
# All of these: no source.
HELD_FOR = timedelta(minutes=30)
REST = timedelta(hours=6)
LAST_CALL = timedelta(minutes=45)
CALLED_AFTER = timedelta(hours=1)
CALL_REST = timedelta(days=7)
ROOM = timedelta(hours=3)
"""A window is as long as that, and as preparing takes, if nothing is lost by hearing of it when it opens."""


def speak(talk: Talk) -> None:
    """Say what there is to say of windows."""
    _Windows(talk).speak()


def track(talk: Talk) -> None:
    """Say nothing, but see which windows stay in the forecast: in quiet hours."""
    ahead = stretches(talk.outlook.windows)
    windows = talk.memory.windows
    talk.remember(windows=windows.put(seen=_seen(windows, ahead, talk.now)))


def forget(talk: Talk) -> None:
    """Drop what a recorded coat, an undone one, or the passing of time has settled."""
    windows, now = talk.memory.windows, talk.now
    if talk.memory.coat != talk.outlook.next_coat:
        talk.retract_all(lambda key: key.startswith(f"{talk.outlook.piece}/{talk.memory.coat}/"))
        windows = WindowMemory(heads_up_on=windows.heads_up_on, go_on=windows.go_on, shade=windows.shade)
    talk.remember(
        coat=talk.outlook.next_coat,
        windows=windows.put(
            promises=tuple(p for p in windows.promises if p.told.last_start >= now),
            opened=tuple(o for o in windows.opened if o.end + HOUR >= now),
            no_since=windows.no_since if windows.no_since and now - windows.no_since < REST else None,
        ),
    )


def has_room(talk: Talk, window: Window) -> bool:
    """Say whether nothing is lost by whoever begins to prepare when a window opens."""
    opens = window.good_from or window.start
    return window.word == "coat" and window.begin_by - opens >= talk.ways.prepares + ROOM


def _seen(memory: WindowMemory, ahead: list[Stretch], now: datetime) -> tuple[SeenSpan, ...]:
    """Return the windows in the forecast with how long they have been in it; at the first look that is long enough."""
    before = memory.seen
    seen = []
    for stretch in ahead[:4]:
        touched = [span for span in before or () if stretch.touches(span.start, span.end)]
        first = now if before is not None else now - HELD_FOR
        is_now = {"start": stretch.start, "end": stretch.last_start, "since": min([*(s.since for s in touched), first])}
        seen.append(touched[0].put(**is_now) if touched else SeenSpan(**is_now))
    return tuple(seen)


class _Windows:
    def __init__(self, talk: Talk) -> None:
        self.talk = talk
        self.outlook, self.now, self.zone = talk.outlook, talk.now, talk.zone
        self.ahead = stretches(talk.outlook.windows)
        self.memory = talk.memory.windows

    def speak(self) -> None:
        self._set(seen=_seen(self.memory, self.ahead, self.now))
        self._opening()
        for promise in self.memory.promises:
            self._check(promise)
        self._last_call()
        self._heads_up()
        self.talk.remember(windows=self.memory)

    def _set(self, **changes: object) -> None:
        self.memory = self.memory.put(**changes)

    def _opening(self) -> None:
        """Say "coat now" when a window is open and that is news; follow the windows of which it was said."""
        stretch = open_now(self.outlook, self.ahead)
        if stretch is None:
            return
        before = next((o for o in self.memory.opened if stretch.touches(o.start, o.end)), None)
        others = tuple(o for o in self.memory.opened if o is not before)
        if before is not None and before.withdrawn_at is None:
            self._set(opened=(*others, before.put(end=max(before.end, stretch.last_start))))
            return
        if not self._may_open(stretch, before):
            return
        times = 1 if before is None else before.times + 1
        start = stretch.start if before is None else before.start
        opened = Opened(start=start, end=stretch.last_start, times=times)
        kind = Kind.HOT_COAT if self._on_soft() else Kind.COAT_NOW
        # Their keys are alike: the two are one thing to be told of.
        key = self.talk.key(Kind.COAT_NOW, f"{opened.start:%Y-%m-%dT%H:%MZ}/{opened.times}")
        why = Why.OPEN if before is None else Why.OPEN_AGAIN
        self.talk.say(
            kind,
            why,
            key,
            stretch.last_start,
            topic=self._topic(stretch.start),
            windows=stretch.windows,
            cautioned=before is not None,
        )
        self.talk.retract_all(lambda of: of.endswith(f"/{Kind.WAIT}"))
        kept_promises = [p for p in self.memory.promises if kept(p, self.ahead, self.zone) is not stretch]
        for promise in self.memory.promises:
            if promise not in kept_promises:
                self.talk.retract(promise.key)
        promise = Promise(key=key, told=stretch.told, opened=True, opened_at=self.now)
        shade_by = min((window.hang_shade_by for window in stretch.windows if window.hang_shade_by), default=None)
        shade = shade_by and ShadeTold(coat=self.outlook.next_coat, by=shade_by, told_at=self.now)
        self._set(opened=(*others, opened), promises=(promise, *kept_promises), no_since=None, shade=shade)
        self._set(go_on=self.talk.local.date())

    def _may_open(self, stretch: Stretch, before: Opened | None) -> bool:
        """Say whether a window has been there for long enough, and no window was taken back lately."""
        since = next(s.since for s in self.memory.seen or () if s.start == stretch.start)
        if self.now - since < HELD_FOR:
            return False
        return self.memory.no_since is None and (before is None or before.times <= self.talk.habits.again)

    def _on_soft(self) -> bool:
        """Say whether the open window is one for a coat on the soft one below."""
        film = self.outlook.film
        if film is None or self.outlook.next_coat not in self.talk.ways.hot or film.stages.hot_close is None:
            return False
        hard = film.stages.sandable
        return self.now < film.stages.hot_close and (hard is None or hard > self.now)

    def _check(self, promise: Promise) -> None:
        """Say "wait" when a promised window has gone or moved by over an hour."""
        stretch = kept(promise, self.ahead, self.zone)
        shut = promise.opened and stretch is not open_now(self.outlook, self.ahead)
        seen = promise.put(shut_since=(promise.shut_since or self.now) if shut else None)
        why = self._broken(seen, stretch)
        if why is None or self._held(promise, why):
            return self._replace(promise, seen)
        told = promise.told
        blocked_at = stretch.last_start + GRID if stretch and why is Why.SHORTER else max(told.start, self.now)
        block = block_at(self.outlook, blocked_at)
        key = f"{promise.key}/{Kind.WAIT}"
        self.talk.say(
            Kind.WAIT,
            why,
            key,
            told.last_start,
            level=Level.NOW if promise.opened or self._day(told.start) == self.talk.local.date() else Level.PLAN,
            topic=self._topic(told.start),
            told=told,
            windows=stretch.windows if stretch else (),
            reason=block.reason if block else None,
        )
        self.talk.retract(promise.key)
        still_open = promise.opened and why is Why.SHORTER
        if promise.opened:
            self._withdraw(told, stretch if still_open else None)
        if why is Why.GONE or (promise.opened and not still_open):
            self._set(no_since=self.now, go_on=None)
        if stretch is None:
            return self._replace(promise, None)
        moved = Promise(
            key=key,
            told=stretch.told,
            opened=still_open,
            opened_at=promise.opened_at if still_open else None,
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
        is_day = self.talk.local.date() >= self._day(promise.told.start)
        return not promise.opened and not (is_day and self.talk.local.time() >= self.talk.habits.morning)

    def _day(self, instant: datetime) -> date:
        return instant.astimezone(self.zone).date()

    def _topic(self, start: datetime) -> str:
        return f"{self.outlook.piece}/windows/{self._day(start)}"

    def _replace(self, promise: Promise, by: Promise | None) -> None:
        self._set(promises=tuple(p for p in (by if q is promise else q for q in self.memory.promises) if p))

    def _withdraw(self, told: Told, left: Stretch | None) -> None:
        """Note that "coat now" was taken back, or that the window ends with what is left of it."""
        changed = {"end": left.last_start} if left else {"withdrawn_at": self.now}
        self._set(
            opened=tuple(
                o.put(**changed) if o.start <= told.last_start and o.end >= told.start else o
                for o in self.memory.opened
            )
        )

    def _last_call(self) -> None:
        """Say that the latest start is near, to whoever was told to coat a good while ago and has not."""
        stretch = open_now(self.outlook, self.ahead)
        called_at = self.memory.called_at
        rests = called_at is not None and self.now - called_at < CALL_REST
        if stretch is None or self.talk.habits.again == 0 or self.outlook.pot is not None or rests:
            return
        window = stretch.windows[-1]
        by = window.begin_by if window.word == "coat" else window.last_start
        ways = self.talk.ways
        call_from = by - max(LAST_CALL, ways.prepares + GRID)
        called_after = max(CALLED_AFTER, ways.prepares + ways.brushes + GRID)
        for promise in self.memory.promises:
            told_at = promise.opened_at
            is_due = call_from <= self.now < by and kept(promise, self.ahead, self.zone) is stretch
            if is_due and told_at and self.now - told_at >= called_after:
                key = f"{promise.key}/{Kind.LAST_CALL}"
                topic = self._topic(stretch.start)
                self.talk.say(Kind.LAST_CALL, Why.CLOSING, key, by, topic=topic, windows=(window,), at=by)
                self._set(called_at=self.now)
                return

    def _heads_up(self) -> None:
        """Tell of the first window of the next local day, the evening before."""
        today = self.talk.local.date()
        if self.talk.local.time() < self.talk.habits.evening or self.memory.heads_up_on == today:
            return
        tomorrow = today + timedelta(days=1)
        stretch = next((s for s in self.ahead if self._day(s.start) == tomorrow), None)
        if stretch is None or any(kept(p, [stretch], self.zone) for p in self.memory.promises):
            return
        told_to_coat = self.memory.go_on == today and self.talk.habits.all_told_to_coat
        if told_to_coat and has_room(self.talk, stretch.windows[0]):
            return
        key = self.talk.key(Kind.TOMORROW, tomorrow)
        self.talk.say(
            Kind.TOMORROW,
            Why.OPENS_TOMORROW,
            key,
            stretch.start,
            level=Level.PLAN,
            topic=self._topic(stretch.start),
            windows=stretch.windows,
        )
        self._set(heads_up_on=today, promises=(*self.memory.promises, Promise(key=key, told=stretch.told)))
