"""What every start of a coat to come would lead to: the starts that a build-up is put together from."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryspell.outlook.agreement import Agreement
from dryspell.outlook.below import OnFilm
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock, Reached
from dryspell.outlook.judge import NEVER, NOMINAL, ROUNDING, Asked, Strictness, judge, spans_of
from dryspell.outlook.sequence import CoatStarts, nothing_below
from dryspell.outlook.slowing import Slowing, next_slowing, quick_until
from dryspell.outlook.spans import BoolArray, IndexArray, SpanLeast
from dryspell.outlook.start_spans import StartSpans
from dryspell.outlook.windows import Judged, judge_all
from dryspell.trade.piece import Piece
from dryspell.trade.system import Lay, hot_most
from dryspell.weather.table import TimeArray


@dataclass(frozen=True)
class _Kind:
    """One kind of coat, judged: its starts, which of them pass in which member, and how films of it dry.

    `reached` is of all that were looked at, `which` tells which of those the starts are.
    """

    at: IndexArray
    passes: BoolArray
    clock: DryingClock
    reached: Reached
    which: IndexArray


class _Once(DryingClock):
    """A clock that keeps what certain films come to, as those are judged more than once.

    The clock itself does not: it would hold what holds it, and wait for the collector with all its arrays.
    """

    def __init__(self, clock: DryingClock, conditions: Conditions, laid: TimeArray) -> None:
        super().__init__(conditions, clock.coating, clock.slowing)
        self._laid = laid
        self._reached = clock.of_films(laid)

    def of_films(self, laid: TimeArray) -> Reached:
        """Return when films reach their stages."""
        return self._reached if np.array_equal(laid, self._laid) else super().of_films(laid)


class Candidates:
    """The starts of the coats to come of one piece; each kind of coat is judged once.

    Parameters
    ----------
    conditions
        As the coats will meet them.
    agreement
        How many members have to agree, and on what turn for the worse.
    first
        The first index of the grid at which somebody may begin to prepare.
    prepared
        Whether the piece is being prepared already, so that the brush need not wait for it.
    """

    def __init__(
        self, piece: Piece, conditions: Conditions, agreement: Agreement, first: int, *, prepared: bool = False
    ) -> None:
        self._piece = piece
        self._c = conditions
        self._agreement = agreement
        self._kinds: dict[tuple[object, ...], _Kind] = {}
        self._clocks: dict[str, DryingClock] = {}
        self.brush_steps = max(self._steps(piece.brushing_h), 1)
        self.prepare_steps = self._steps(piece.preparing_h)
        self._first = first + (0 if prepared else self.prepare_steps)
        self._asked = Asked(
            brush_steps=self.brush_steps,
            settle_steps=round(piece.dry_after_dew_h * 3600 / conditions.step_s),
            ready_at=np.full(conditions.air_c.shape[0], conditions.times[0]),
        )
        self._in_hours = SpanLeast(conditions.in_hours[None].astype(np.float64))

    def of(self, lays: Sequence[Lay]) -> list[CoatStarts]:
        """Return the starts of coats to come, in their order."""
        return [self._coat(lay, then) for lay, then in zip(lays, [*lays[1:], None], strict=True)]

    def judged(self, lay: Lay, starts: IndexArray, *, quick: bool = False) -> Judged:
        """Judge some starts of a coat as a verdict does, on a coat below that is ready."""
        return judge_all(
            self._c, self.clock(lay, quick=quick), lay.coating, starts, self._asked, agreement=self._agreement
        )

    def clock(self, lay: Lay, *, quick: bool) -> DryingClock:
        """Return how a coat dries, on a coat below that it follows at the least time or does not."""
        return self._clock(lay, self._slowing(lay, quick=quick))

    def at_once(self, on_film: OnFilm) -> CoatStarts:
        """Return the film that is on, or the bare piece, as a coat with the one start it had."""
        ready = self._index(on_film.ready_at, up=True)
        start = nothing_below(ready.size, ready)
        if on_film.soft_between is not None:
            opens, closes = on_film.soft_between
            soft = self._index(opens, up=True), self._index(closes, up=False) - self.brush_steps
            start = replace(start, soft=(soft[0].reshape(1, -1, 1), soft[1].reshape(1, -1, 1)))
        if on_film.quick_until is not None:
            until = self._index(np.max(on_film.quick_until, keepdims=True), up=False)
            start = replace(start, quick_to=until.reshape(1, 1))
        return start

    def _coat(self, lay: Lay, then: Lay | None) -> CoatStarts:
        slow = self._slowing(lay, quick=True)
        usual = self._kind(lay, self._slowing(lay, quick=False))
        kinds = [usual] if slow.quick == 1.0 else [usual, self._kind(lay, slow, usual.at)]
        ready = [self._ready(kind, then) for kind in kinds]
        soft = None
        if then is not None and then.hot and not then.changes and lay.coating.hot_open is not None:
            edges = [self._soft(kind) for kind in kinds]
            soft = np.stack([opens for opens, _ in edges]), np.stack([closes for _, closes in edges])
        return CoatStarts(
            at=usual.at,
            passes=np.stack([kind.passes for kind in kinds]),
            ready=np.stack([at for at, _ in ready]),
            cost_h=np.zeros(usual.at.size),
            soft=soft,
            quick_to=np.stack([quick_to for _, quick_to in ready]),
            prepare_steps=self.prepare_steps,
            row_most=hot_most(lay.coating),
        )

    def _kind(self, lay: Lay, slowing: Slowing, at: IndexArray | None = None) -> _Kind:
        """Judge a kind of coat at some starts; left out, at all that are workable, to keep those that may be chosen."""
        key = (lay.coating.key, *slowing.factors.items(), *slowing.late.items(), slowing.quick)
        if key not in self._kinds:
            self._kinds[key] = self._judged(lay, slowing, at)
        return self._kinds[key]

    def _judged(self, lay: Lay, slowing: Slowing, at: IndexArray | None) -> _Kind:
        clock = self._clock(lay, slowing)
        starts = self.workable() if at is None else at
        laid = self._c.times[starts + self.brush_steps]
        once = _Once(clock, self._c, laid)
        spans = spans_of(self._c, once, starts, self._asked)
        passes = np.ones((self._c.air_c.shape[0], starts.size), dtype=np.bool_)
        for strictness in (NOMINAL, *self._agreement.worse):
            passes &= self._passing(once, starts, strictness, spans)
        which = np.arange(starts.size)
        if at is None:
            which = np.flatnonzero(passes.mean(axis=0) >= self._agreement.good - ROUNDING)
        hardens = self._hardens(clock)
        reached = once.of_films(laid) if hardens is clock else hardens.of_films(laid)
        return _Kind(starts[which], passes[:, which], clock, reached, which)

    def _passing(self, clock: DryingClock, starts: IndexArray, strictness: Strictness, spans: StartSpans) -> BoolArray:
        """Say in which members which starts pass, shape (members, starts)."""
        rulings = judge(self._c, clock, clock.coating, starts, self._asked, strictness, spans)
        return np.asarray(np.logical_and.reduce([ruling.passes for ruling in rulings]))

    def _hardens(self, clock: DryingClock) -> DryingClock:
        """Return the clock that a film hardens by, once it is not wet any more."""
        return clock

    def _slowing(self, lay: Lay, *, quick: bool) -> Slowing:
        slow = next_slowing(lay, self._piece, None)
        return slow if quick else replace(slow, quick=1.0)

    def _clock(self, lay: Lay, slowing: Slowing) -> DryingClock:
        """Return the clock of a coat that follows at the least time, where its slowing knows of that."""
        every_film = replace(slowing, quick_until=np.full(self._c.air_c.shape[0], self._c.times[-1]))
        known = self._clocks.setdefault(lay.coating.key, DryingClock(self._c, lay.coating, every_film))
        return known.slowed(every_film)

    def workable(self) -> IndexArray:
        """Return the starts whose preparing and brushing lie in the finisher's hours."""
        size = self._c.times.size
        starts = np.arange(max(self._first, self.prepare_steps), size - self.brush_steps, dtype=np.int64)
        if not starts.size:
            return starts
        all_through = self._in_hours.over((starts - self.prepare_steps)[None], (starts + self.brush_steps)[None])[0]
        return np.asarray(starts[all_through == 1.0])

    def _ready(self, kind: _Kind, then: Lay | None) -> tuple[IndexArray, IndexArray]:
        """Return when films are ready for the next coat, shape (members, starts), and up to which start it is quick.

        That is up to which it follows at the least time, by the slowest member, shape (starts,).
        """
        laid = self._c.times[kind.at + self.brush_steps]
        sandable = kind.reached.sandable[:, kind.which]
        ready = sandable
        if then is not None and then.after:
            coating = kind.clock.coating.model_copy(update={"sandable": then.after})
            ready = self._hardens(DryingClock(self._c, coating, kind.clock.slowing)).of_films(laid).sandable
        until = quick_until(laid, np.max(sandable, axis=0))  # NaT where one member has none
        return self._index(ready, up=True), self._index(until, up=False)

    def _soft(self, kind: _Kind) -> tuple[IndexArray, IndexArray]:
        """Return from and to which start films are soft for the next coat, shape (members, starts) each."""
        opens, closes = kind.reached.hot_open[:, kind.which], kind.reached.hot_close[:, kind.which]
        return self._index(opens, up=True), self._index(closes, up=False) - self.brush_steps

    def _steps(self, hours: float) -> int:
        """Return how many steps of the grid a time takes."""
        return -(-round(hours * 3600) // self._c.step_s)

    def _index(self, instants: TimeArray, *, up: bool) -> IndexArray:
        """Return the index of the grid at or after instants, or at or before them; NEVER for no instant."""
        steps = (instants - self._c.times[0]) / np.timedelta64(self._c.step_s, "s")
        whole = np.ceil(steps - ROUNDING) if up else np.floor(steps + ROUNDING)
        return np.where(np.isnan(steps), NEVER, whole).astype(np.int64)
