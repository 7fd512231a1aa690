"""The earliest build-up of one piece: which start to take for each coat, exactly.

How long a coat keeps the next one waiting depends on when it is laid, so the starts of all coats are chosen together,
by dynamic programming from the last coat back: the best that can follow a start of a coat does not depend on how that
start was come by, but for two things that a start remembers in its state: its pace, as a coat that follows another at
the least time dries slower; and how many coats lie in a row on soft ones, as only so many may. So where a row breaks
off to harden is chosen with the rest. Every start of a coat is looked at against every start of the next.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.outlook.judge import NEVER, ROUNDING
from dryspell.outlook.spans import BoolArray, IndexArray, SpanLeast
from dryspell.weather.table import FloatArray

LEFT_OUT_H = 1e6
"""What a coat that finds no start costs: more than any delay."""
ANY_ROW = 100
"""More coats than a build-up has."""
_PAIRS_AT_A_TIME = 100_000


@dataclass(frozen=True)
class CoatStarts:
    """What every start of one coat comes to. Instants are indices of a grid.

    Attributes
    ----------
    at
        The starts to choose from, ascending, shape (starts,).
    passes
        Whether the weather lets the coat go on and dry, the coat below left aside; shape (paces, members, starts). The
        second pace, where there is one, is that of a coat that follows at the least time.
    ready
        From when on the next coat can be prepared for on the hard film, of that shape; NEVER is not within the grid.
    soft
        From and to which start the next coat may go on the soft film, of that shape each; None where it may not.
    quick_to
        Up to which start the next coat follows at the least time, shape (paces, starts); None for no such memory.
    cost_h
        What a start costs beside the delay. [h] Shape (starts,).
    prepare_steps
        How long the piece is prepared before a start on hard film.
    row_most
        How many coats may lie in a row on soft ones with this one on top, the lowest counted.
    row
        Of what is there already: how many of them lie in a row.
    """

    at: IndexArray
    passes: BoolArray
    ready: IndexArray
    cost_h: FloatArray
    soft: tuple[IndexArray, IndexArray] | None = None
    quick_to: IndexArray | None = None
    prepare_steps: int = 0
    row_most: int = ANY_ROW
    row: int = 1

    @property
    def paces(self) -> int:
        """How many paces it is known at."""
        return int(self.passes.shape[0])


@dataclass(frozen=True)
class Chosen:
    """A start that was chosen: which of the coat's starts, at which pace, and how likely it is to be good.

    It is the `row`-th coat in a row on soft ones; 1 is on hard film, or on none.
    """

    index: int
    pace: int
    share: float
    row: int = 1

    @property
    def is_soft(self) -> bool:
        """Whether it goes on the soft film, for which nothing is prepared."""
        return self.row > 1


def begun(below: CoatStarts) -> Chosen:
    """Return what is there to be coated as the start that it had."""
    return Chosen(0, 0, 1.0, below.row)


def rows_of(below: CoatStarts, coats: Sequence[CoatStarts]) -> list[int]:
    """Return how many there may be in a row up to what is there to be coated, and up to each coat to come.

    The states of a coat are its paces as the first in a row, then as the second, and so on.
    """
    rows = [below.row]
    for under, coat in zip([below, *coats], coats, strict=False):
        rows.append(1 if under.soft is None else max(min(coat.row_most, rows[-1] + 1), 1))
    return rows


def best_sequence(
    below: CoatStarts, coats: Sequence[CoatStarts], *, odds: float, step_h: float, origin: int = 0
) -> list[Chosen]:
    """Return the starts with which the most coats go on, the last of them as early as it can be.

    A start may follow another where, in a share of the members no less than the odds, its weather passes and the coat
    below is ready for it by then.

    Parameters
    ----------
    below
        What is there to be coated, as a coat with the one start it had.
    coats
        The coats to come, the next one first.
    odds
        0 to 1.
    step_h
        Length of a step of the grid. [h]
    origin
        The index from which a delay counts.

    Returns
    -------
    list
        As many as find a start, the first ones.
    """
    # values[k] is what coat k and all after it cost, by state and start of coat k.
    rows = rows_of(below, coats)
    values: list[FloatArray] = [np.zeros(0)] * len(coats)
    for k in range(len(coats) - 1, -1, -1):
        last_h = (coats[k].at - origin) * step_h
        after = np.broadcast_to(last_h, (rows[k + 1] * coats[k].paces, last_h.size))
        if k + 1 < len(coats):
            left_out = last_h + LEFT_OUT_H * (len(coats) - k - 1)
            after = np.minimum(left_out, _cheapest(coats[k], rows[k + 1], coats[k + 1], values[k + 1], odds))
        values[k] = after + coats[k].cost_h
    chosen: list[Chosen] = []
    start = begun(below)
    for coat, value in zip(coats, values, strict=True):
        pace, share, row = _following(below, start, coat, np.arange(coat.at.size))
        allowed = share >= odds - ROUNDING
        if not allowed.any():
            break
        cost = np.where(allowed, value[pace + coat.paces * (row - 1), np.arange(coat.at.size)], np.inf)
        best = int(np.argmin(cost))
        start = Chosen(best, int(pace[best]), round(float(share[best]), 4), int(row[best]))
        chosen.append(start)
        below = coat
    return chosen


@dataclass(frozen=True)
class _Pairs:
    """Pairs of a start of the coat below and one of the coat, shape (pairs,) each.

    `share` of the members lets it, `on_hard` of them on the hard film; `is_soft` where it goes on the soft one, as
    there is no time to prepare the hard one by the member in the middle.
    """

    pace: IndexArray
    share: FloatArray
    on_hard: FloatArray
    is_soft: BoolArray

    def after(self, row: int, most: int) -> tuple[FloatArray, IndexArray]:
        """Return the share that lets it with so many in a row below, and how many there then are: if full, on hard."""
        if row >= most:
            return self.on_hard, np.ones(self.pace.size, dtype=np.int64)
        return self.share, np.where(self.is_soft, row + 1, 1)


def _following(
    below: CoatStarts, start: Chosen, coat: CoatStarts, which: IndexArray
) -> tuple[IndexArray, FloatArray, IndexArray]:
    """Return, of some starts of a coat after one start of the coat below, pace, the share that lets them, and row."""
    ones = np.zeros(which.size, dtype=np.int64)
    pairs = _pairs(below, start.pace, ones + start.index, coat, which)
    return pairs.pace, *pairs.after(start.row, coat.row_most)


def _pairs(below: CoatStarts, pace_below: int, i: IndexArray, coat: CoatStarts, j: IndexArray) -> _Pairs:
    """Return what comes of pairs of a start of the coat below and one of the coat."""
    at = coat.at[j]
    pace = np.zeros(j.size, dtype=np.int64)
    if below.quick_to is not None and coat.paces > 1:
        pace = (at <= below.quick_to[pace_below, i]).astype(np.int64)
    hard = at - coat.prepare_steps >= below.ready[pace_below][:, i]
    passes = coat.passes[pace[None], np.arange(hard.shape[0])[:, None], j[None]]
    on_hard = np.asarray((hard & passes).mean(axis=0))
    if below.soft is None:
        return _Pairs(pace, on_hard, on_hard, np.zeros(j.size, dtype=np.bool_))
    first, last = (edge[pace_below][:, i] for edge in below.soft)
    lets = hard | ((at >= first) & (at <= last))
    is_soft = np.count_nonzero(hard, axis=0) <= (hard.shape[0] - 1) // 2
    return _Pairs(pace, np.asarray((lets & passes).mean(axis=0)), on_hard, np.asarray(is_soft))


def pair(below: CoatStarts, start: Chosen, coat: CoatStarts, index: int) -> Chosen:
    """Return one start of a coat as it is after a start of the coat below, whether it is allowed or not."""
    pace, share, row = _following(below, start, coat, np.array([index]))
    return Chosen(index, int(pace[0]), float(share[0]), int(row[0]))


def _cheapest(below: CoatStarts, rows: int, coat: CoatStarts, value: FloatArray, odds: float) -> FloatArray:
    """Return what the cheapest start of a coat costs after every start of the coat below, shape (states, starts).

    Where all members find the coat below ready, a start's own share decides, and the cheapest of a span is a look-up;
    between the first and the last member's being ready the pairs are looked at one by one.
    """
    if not coat.at.size:
        return np.full((rows * below.paces, below.at.size), np.inf)
    alone = np.where(coat.passes.mean(axis=1) >= odds - ROUNDING, value[: coat.paces], np.inf)
    least = [SpanLeast(of_pace[None]) for of_pace in alone]
    last = coat.at.size - 1

    def of_span(pace: int, first: IndexArray, end: IndexArray) -> FloatArray:
        """Return the least from one index to before another, infinity for none."""
        empty = first >= end
        found = least[pace].over(np.minimum(first, last)[None], np.where(empty, np.minimum(first, last), end - 1)[None])
        return np.where(empty, np.inf, found[0])

    found = np.full((rows, below.paces, below.at.size), np.inf)
    for pace_below in range(below.paces):
        maybe, sure = _edges(below, pace_below, coat)
        end = np.full(below.at.size, coat.at.size)
        if below.quick_to is not None and coat.paces > 1:
            slow_end = np.searchsorted(coat.at, below.quick_to[pace_below], side="right")
            turn = np.clip(slow_end, sure, end)
            on_hard = np.minimum(of_span(1, sure, turn), of_span(0, turn, end))
        else:
            on_hard = of_span(0, sure, end)
        one_by_one = _one_by_one(below, pace_below, rows, coat, value, odds, maybe, sure)
        found[:, pace_below] = np.minimum(on_hard, one_by_one)
    return found.reshape(rows * below.paces, below.at.size)


def _edges(below: CoatStarts, pace_below: int, coat: CoatStarts) -> tuple[IndexArray, IndexArray]:
    """Return from which start on a coat may, and from which on it does find the coat below ready in all members."""
    ready = below.ready[pace_below] + coat.prepare_steps
    maybe = np.searchsorted(coat.at, ready.min(axis=0))
    if below.soft is not None:
        maybe = np.minimum(maybe, np.searchsorted(coat.at, below.soft[0][pace_below].min(axis=0)))
    return maybe, np.searchsorted(coat.at, ready.max(axis=0))


def _pairs_between(first: IndexArray, end: IndexArray) -> tuple[IndexArray, IndexArray]:
    """Return all pairs of a row and an index from the row's `first` to before its `end`, shape (pairs,) each."""
    counts = np.maximum(end - first, 0)
    row = np.repeat(np.arange(first.size), counts)
    return row, np.arange(row.size) - np.repeat(np.cumsum(counts) - counts, counts) + np.repeat(first, counts)


def _one_by_one(
    below: CoatStarts,
    pace_below: int,
    rows: int,
    coat: CoatStarts,
    value: FloatArray,
    odds: float,
    first: IndexArray,
    end: IndexArray,
) -> FloatArray:
    """Return the cheapest start from index `first` to before `end` after each start below, shape (rows, starts)."""
    cheapest = np.full((rows, below.at.size), np.inf)
    i, j = _pairs_between(first, end)
    for begin in range(0, i.size, _PAIRS_AT_A_TIME):
        part = np.s_[begin : begin + _PAIRS_AT_A_TIME]
        pairs = _pairs(below, pace_below, i[part], coat, j[part])
        for row in range(1, rows + 1):
            share, then = pairs.after(row, coat.row_most)
            cost = np.where(share >= odds - ROUNDING, value[pairs.pace + coat.paces * (then - 1), j[part]], np.inf)
            np.minimum.at(cheapest[row - 1], i[part], cost)
    return cheapest


def links(below: CoatStarts, rows: int, coat: CoatStarts, odds: float) -> npt.NDArray[np.int8]:
    """Return in which state each start of a coat follows each start of the coat below, -1 where it may not.

    Shape (states of the coat below, its starts, starts).

    Parameters
    ----------
    rows
        How many there may be in a row up to the coat below.
    """
    states = np.full((rows, below.paces, below.at.size, coat.at.size), -1, dtype=np.int8)
    good = coat.passes.mean(axis=1) >= odds - ROUNDING
    for pace_below in range(below.paces):
        pace = np.zeros(states.shape[2:], dtype=np.int8)
        if below.quick_to is not None and coat.paces > 1:
            pace[:] = coat.at[None] <= below.quick_to[pace_below][:, None]
        maybe, sure = _edges(below, pace_below, coat)
        surely = np.arange(coat.at.size)[None] >= sure[:, None]
        states[:, pace_below] = np.where(surely & np.where(pace > 0, good[-1], good[0]), pace, np.int8(-1))
        i, j = _pairs_between(maybe, sure)
        for begin in range(0, i.size, _PAIRS_AT_A_TIME):
            part = np.s_[begin : begin + _PAIRS_AT_A_TIME]
            pairs = _pairs(below, pace_below, i[part], coat, j[part])
            for row in range(1, rows + 1):
                share, then = pairs.after(row, coat.row_most)
                state = np.where(share >= odds - ROUNDING, pairs.pace + coat.paces * (then - 1), -1)
                states[row - 1, pace_below, i[part], j[part]] = state
    return states.reshape(rows * below.paces, below.at.size, coat.at.size)


def nothing_below(members: int, ready: IndexArray | None = None) -> CoatStarts:
    """Return what is there before the first coat to come, as a coat; `ready` by member, left out at once."""
    ready = np.zeros(members, dtype=np.int64) if ready is None else ready
    return CoatStarts(
        at=np.zeros(1, dtype=np.int64),
        passes=np.ones((1, members, 1), dtype=np.bool_),
        ready=np.minimum(ready, NEVER).reshape(1, members, 1),
        cost_h=np.zeros(1),
    )
