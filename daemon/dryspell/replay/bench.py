"""One piece while the daemon lives through a past period: what is on it, and what its finisher does."""

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from itertools import islice

import numpy as np

from dryspell.alerts.model import Notice
from dryspell.alerts.topics.risk import LEAD, REMIND, SAY_FROM, SUN_LEAD
from dryspell.outlook.fate import Fate
from dryspell.outlook.model import Coat, Outlook, Spoiler
from dryspell.replay.obeying import Told, Warned
from dryspell.replay.truth import BuildUp, Laid, Truth
from dryspell.store import Store

LOOKS = timedelta(hours=1)
"""How often at least there is a look in working hours while a film is wet, or a coat may be begun."""
SOON = timedelta(minutes=30)
"""So soon there is another where a window is open of which nothing was said yet."""
_SPOILT: Mapping[Fate, Spoiler] = {Fate.DEW: "dew", Fate.RAIN: "rain", Fate.COLD: "cold", Fate.HEAT: "heat"}


class Bench:
    """A piece, what its finisher was told, and what is to be recorded.

    Parameters
    ----------
    theirs
        The coats that somebody lays who goes by something else; None for who goes by what is said.
    fresh
        Whether a fresh piece takes the place of one that is built up.
    """

    def __init__(
        self, truth: Truth, store: Store, *, takes_tight: bool, theirs: Sequence[Laid] | None, fresh: bool
    ) -> None:
        self.build_up = BuildUp(truth)
        self.store = store
        self._told = Told(takes_tight=takes_tight)
        self._warned = Warned(shade=truth.piece.shade)
        self._theirs = None if theirs is None else deque(theirs)
        self._fresh = fresh
        self.brushing: Laid | None = None
        self.on: Laid | None = None

    @property
    def truth(self) -> Truth:
        """The weather that came at the piece."""
        return self.build_up.truth

    def record(self, now: datetime) -> None:
        """Enter what has been done by now: a coat that is on, one sanded off again, a piece taken away."""
        piece = self.truth.piece.key
        if self.brushing is not None and self.truth.instant(self.brushing.stroke) <= now:
            lay = self.truth.lays[self.brushing.number - 1]
            at = self.truth.instant(self.brushing.stroke)
            self.store.add_coat(
                Coat(
                    piece=piece,
                    number=lay.number,
                    finished_at=at,
                    thinner_parts=lay.thinner_parts,
                    wet_film_um=lay.wet_film_um,
                    recorded_at=at,
                )
            )
            self.on, self.brushing = self.brushing, None
            self._warned.forget()
        if self.on is None:
            return
        if self.on.fate.spoiled and self.truth.instant(self.on.spoiled_at) <= now:
            self.store.spoil_coat(self.store.films(piece)[-1], _SPOILT[self.on.fate], now)
            self.on = None
        elif self._fresh and self.on.number == len(self.truth.lays) and self.truth.index(now) >= self.on.ready:
            while self.store.films(piece):
                self.store.undo_coat(piece, now)
            self.on = None

    def hear(self, notice: Notice) -> None:
        """Take in what is said of the piece."""
        self._told.hear(notice)
        self._warned.hear(notice)

    def work(self, now: datetime, outlook: Outlook) -> None:
        """Do what is to be done now: begin a coat, cover a wet film, take the cover off again."""
        at = self.truth.index(now)
        if self._theirs is not None:
            if self._theirs and self._theirs[0].start <= at:
                self.brushing = self._theirs.popleft()
            return
        self._tend(now, outlook)
        if self.build_up.built_up and not self._fresh:
            return
        # He looks at the page before he opens the can: told hours may be out of date by less than is worth a message.
        due = self._told.begins_by_now(now) and outlook.word in ("coat", "tight")
        if due and self._may_begin(at):
            self.brushing = self.build_up.lay(at)
            self._told.forget()

    def next_at(self, now: datetime, outlook: Outlook) -> Iterator[datetime]:
        """Yield the instants after now at which something may have to be done before the next forecast."""
        if self.brushing is not None:
            yield self.truth.instant(self.brushing.stroke)
        elif self._theirs is not None:
            yield from (self.truth.instant(coat.start) for coat in islice(self._theirs, 1))
        else:
            yield from self._to_begin(now, outlook)
        if self._theirs is None:
            yield from self._to_tend(now, outlook)
        said_at = (risk.at - before for risk in outlook.film_risk or () for before in (LEAD, SUN_LEAD, REMIND))
        yield from (at for at in (*(window.start for window in outlook.windows[:1]), *said_at) if at > now)

    def _may_begin(self, at: int) -> bool:
        """Say whether a look at the piece, the gauge and the clock lets a coat be begun."""
        if self.brushing is not None or self._is_covered or not at < self.truth.end:
            return False
        coating = self.truth.lays[self.build_up.number - 1].coating
        return bool(self.truth.dry[at] and self.truth.within_limits(coating)[at]) and self.build_up.may_begin(at)

    def _to_begin(self, now: datetime, outlook: Outlook) -> Iterator[datetime]:
        """Yield when a coat may be begun, as far as the piece goes."""
        for first, last in self._told.hours_after(now):
            # What he could not do he need not be told of: there is a look at hours in which he can begin.
            begins = range(max(self.truth.index(first), self.truth.index(now) + 1), self.truth.index(last) + 1)
            yield from (self.truth.instant(at) for at in islice(filter(self._may_begin, begins), 1))
        able = self._worked_at(max(self.truth.index(now), min(self.build_up.ready, self.truth.end)) + 1)
        if able is not None:
            is_news = outlook.word in ("coat", "tight") and not self._told.begins_by_now(now)
            yield max(now + (SOON if is_news else LOOKS), self.truth.instant(able))

    @property
    def _is_covered(self) -> bool:
        coats = self.build_up.coats
        return bool(coats and coats[-1].covers) and coats[-1].covers[-1].off is None

    def _tend(self, now: datetime, outlook: Outlook) -> None:
        """Cover a wet film when told, in working hours; take it off on a later day when nothing comes any more."""
        at = self.truth.index(now)
        if not self.truth.conditions.in_hours[at]:
            return
        if self._is_covered:
            if self._comes_off(at, outlook):
                bared = self.build_up.uncover(at)
                self.on = self.on and bared
            return
        by = self._warned.covers_by
        if by is None or self.on is None or not self.truth.piece.cover_at_hand:
            return
        if now <= by:
            self.on = self.build_up.cover(at + 1)  # it takes a quarter of an hour
        self._warned.forget()

    def _comes_off(self, at: int, outlook: Outlook) -> bool:
        """Say whether a cover comes off: the film is hard, or by the page nothing comes to it, on a dry later day."""
        last = self.build_up.coats[-1]
        if self.on is None or at >= last.ready:
            return True
        on, now = (self.truth.instant(each).astimezone(self.truth.site.zone) for each in (last.covers[-1].on, at))
        comes = any(risk.odds >= SAY_FROM for risk in outlook.film_risk or ())
        return on.date() < now.date() and bool(self.truth.dry[at]) and not comes

    def _to_tend(self, now: datetime, outlook: Outlook) -> Iterator[datetime]:
        """Yield when there may be something to see to at the film."""
        film = outlook.film
        safe_at = film.stages.rain_safe if film is not None else None
        is_wet = self.on is not None and (safe_at is None or safe_at > now)
        if is_wet or self._is_covered:
            hour = self._worked_at(self.truth.index(now + LOOKS))
            soon = self._worked_at(self.truth.index(now) + 1)
            if self._warned.covers_by is not None and soon is not None:
                yield self.truth.instant(soon)
            if hour is not None:
                yield self.truth.instant(hour)

    def _worked_at(self, first: int) -> int | None:
        """Return the first index from one on at which the finisher works."""
        later = np.flatnonzero(self.truth.conditions.in_hours[first:])
        return first + int(later[0]) if later.size else None
