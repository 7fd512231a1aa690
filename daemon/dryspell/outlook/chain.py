"""The coats to come of one piece among others: every pair of starts that may follow each other, looked up once.

Where several pieces share people, a piece is planned again and again while the others hold some of the hours. What
starts may follow each other does not change with that, so it is kept; by what rule is that of `sequence`.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from dryspell.outlook.judge import NEVER
from dryspell.outlook.sequence import CoatStarts, links, rows_of
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.weather.table import FloatArray

StateArray = npt.NDArray[np.int8]

LOOKED_UP = 100_000
"""With no more pairs of starts than this a table of where each finds its cost is kept: it takes the place of some."""


@dataclass(frozen=True)
class Laid:
    """A start that was chosen: which of the coat's starts, and in which state."""

    index: int
    state: int


class Chain:
    """One piece's coats to come.

    A start is in one of several states: the pace of its coat, and how many lie in a row on soft ones with it, the first
    of which is on the hard film and needs preparing. The state follows from the start of the coat below and its own.

    Parameters
    ----------
    below, coats, odds
        As for `dryspell.outlook.sequence.best_sequence`.
    brush_steps
        From the first stroke to the last.
    weight
        By which what it costs is multiplied.
    step_h, origin
        As for `best_sequence`.
    left_out_h
        What a coat that finds no start costs.
    """

    def __init__(
        self,
        below: CoatStarts,
        coats: Sequence[CoatStarts],
        *,
        odds: float,
        brush_steps: int,
        weight: float,
        step_h: float,
        origin: int,
        left_out_h: float,
    ) -> None:
        unders = [below, *coats]
        self.left_out_h = left_out_h
        self.brush_steps = brush_steps
        rows = rows_of(below, coats)
        self.first_state = below.paces * (below.row - 1)
        self.states = [coat.paces * row for coat, row in zip(coats, rows[1:], strict=True)]
        self._take(
            coats,
            [links(under, row, coat, odds) for under, row, coat in zip(unders, rows, coats, strict=False)],
            [np.asarray(weight * step_h * (coat.at - origin), dtype=np.float64) for coat in coats],
            [weight * coat.cost_h for coat in coats],
        )

    def _take(
        self,
        coats: Sequence[CoatStarts],
        follow: Sequence[StateArray],
        done_h: Sequence[FloatArray],
        cost_h: Sequence[FloatArray],
    ) -> None:
        """Take the starts of the coats, and what lies ready for every plan of them."""
        self.coats, self.links, self.done_h, self.cost_h = list(coats), list(follow), list(done_h), list(cost_h)
        edges = np.cumsum([0, *(states * coat.at.size for states, coat in zip(self.states, coats, strict=True))])
        self._parts = [slice(int(a), int(b)) for a, b in pairwise(edges)]
        nothing = [np.zeros(0, dtype=np.int64)]
        spans = [self.span(k, state) for k in range(len(coats)) for state in range(self.states[k])]
        self.firsts = np.concatenate(nothing + [first for first, _ in spans])
        self.ends = np.concatenate(nothing + [end for _, end in spans])
        # Where in the costs of a coat, one state after the other and infinity last, a pair finds its own.
        small = all(link.size <= LOOKED_UP for link in self.links)
        self._where = (
            [_where(link, states) for link, states in zip(self.links, self.states, strict=True)] if small else []
        )

    def span(self, k: int, state: int) -> tuple[IndexArray, IndexArray]:
        """Return from when to before when somebody is at the piece for each start of the k-th coat."""
        coat = self.coats[k]
        is_soft = state >= coat.paces
        return coat.at - (0 if is_soft else coat.prepare_steps), coat.at + self.brush_steps

    def of_coat(self, k: int, each: BoolArray) -> BoolArray:
        """Return the k-th coat's part of what is told of every start in every state: shape (..., states, starts)."""
        return each[..., self._parts[k]].reshape(*each.shape[:-1], self.states[k], -1)

    def values(self, open_to: BoolArray | None = None, liking_h: FloatArray | None = None) -> list[FloatArray]:
        """Return what each coat and all after it cost by state and start, infinity where it cannot be.

        Parameters
        ----------
        open_to
            Which starts can be, one coat after the other, of each one state after the other; left out, all.
        liking_h
            What each costs beside, in that order, to prefer one of those that are as good.
        """
        values: list[FloatArray] = [np.zeros(0)] * len(self.coats)
        for k in range(len(self.coats) - 1, -1, -1):
            left = len(self.coats) - k - 1
            after = np.broadcast_to(self.done_h[k] + self.left_out_h * left, (self.states[k], self.done_h[k].size))
            if left:
                after = np.minimum(after, self._next(k, values[k + 1]))
            value = after + self.cost_h[k]
            if liking_h is not None:
                value = value + liking_h[self._parts[k]].reshape(value.shape)
            values[k] = value if open_to is None else np.where(self.of_coat(k, open_to), value, np.inf)
        return values

    def _next(self, k: int, value: FloatArray) -> FloatArray:
        """Return what the cheapest start of the next coat costs after each start of the k-th, by state."""
        if not value.size:
            return np.full((self.states[k], self.done_h[k].size), np.inf)
        if self._where:
            return np.asarray(np.append(value, np.inf)[self._where[k + 1]].min(axis=2))
        columns = np.flatnonzero(np.isfinite(value).any(axis=0))
        if not columns.size:
            return np.full((self.states[k], self.done_h[k].size), np.inf)
        by_state = np.concatenate([value[:, columns], np.full((1, columns.size), np.inf)])  # state -1 is not allowed
        which = np.arange(columns.size)
        return np.stack([by_state[link[:, columns], which].min(axis=1) for link in self.links[k + 1]])

    def best(self, open_to: BoolArray | None = None, liking_h: FloatArray | None = None) -> tuple[list[Laid], float]:
        """Return the cheapest starts and what they cost, liking left aside; parameters as for `values`."""
        values = self.values(open_to, liking_h)
        chosen: list[Laid] = []
        total = 0.0
        state, index = self.first_state, 0
        for k, value in enumerate(values):
            link = self.links[k][state, index]
            costs = np.concatenate([value, np.full((1, link.size), np.inf)])[link, np.arange(link.size)]
            at = int(np.argmin(costs)) if link.size else -1
            if at < 0 or not np.isfinite(costs[at]):
                break
            chosen.append(Laid(at, int(link[at])))
            state, index = chosen[-1].state, at
            total += float(self.cost_h[k][at])
        if chosen:
            total += float(self.done_h[len(chosen) - 1][index])
        return chosen, total + self.left_out_h * (len(self.coats) - len(chosen))

    def through(self, open_to: BoolArray | None = None) -> list[FloatArray]:
        """Return what the cheapest sequence through each start costs, by coat: shape (states, starts) each."""
        values = self.values(open_to)
        before = np.full((self.first_state + 1, 1), np.inf)
        before[self.first_state] = 0.0
        found = []
        for k, value in enumerate(values):
            come = np.full(value.shape, np.inf)
            for below, link in zip(before, self.links[k], strict=False):
                for state in range(self.states[k]):
                    cost = np.where(link == state, below[:, None], np.inf).min(axis=0, initial=np.inf)
                    come[state] = np.minimum(come[state], cost)
            found.append(come + value)
            so_far = come + self.cost_h[k]
            before = so_far if open_to is None else np.where(self.of_coat(k, open_to), so_far, np.inf)
        return found

    def narrowed(self, keep: Sequence[BoolArray]) -> "Chain":
        """Return the chain with some of the starts of each coat, shape (starts,) each."""
        chain = copy(self)
        below = [np.ones(1, dtype=np.bool_), *keep]
        chain._take(  # noqa: SLF001  (its own)
            [only(coat, kept) for coat, kept in zip(self.coats, keep, strict=True)],
            [link[:, under][:, :, kept] for link, under, kept in zip(self.links, below, keep, strict=False)],
            [hours[kept] for hours, kept in zip(self.done_h, keep, strict=True)],
            [hours[kept] for hours, kept in zip(self.cost_h, keep, strict=True)],
        )
        return chain


def _where(link: StateArray, states: int) -> npt.NDArray[np.int32]:
    """Return for each pair where its cost stands among those of a coat, the last one for a pair that is not allowed."""
    starts = link.shape[2]
    flat = link.astype(np.int32) * starts + np.arange(starts, dtype=np.int32)
    return np.where(link < 0, np.int32(states * starts), flat)


def moved_by(coat: CoatStarts, steps: int) -> CoatStarts:
    """Return a coat's starts on a grid that begins so many steps earlier."""

    def later(index: IndexArray) -> IndexArray:
        return np.where(index >= NEVER, NEVER, index + steps)

    return replace(
        coat,
        at=coat.at + steps,
        ready=later(coat.ready),
        soft=coat.soft and (later(coat.soft[0]), later(coat.soft[1])),
        quick_to=None if coat.quick_to is None else later(coat.quick_to),
    )


def only(coat: CoatStarts, keep: BoolArray) -> CoatStarts:
    """Return some of a coat's starts."""
    return replace(
        coat,
        at=coat.at[keep],
        passes=coat.passes[..., keep],
        ready=coat.ready[..., keep],
        cost_h=coat.cost_h[keep],
        soft=coat.soft and (coat.soft[0][..., keep], coat.soft[1][..., keep]),
        quick_to=None if coat.quick_to is None else coat.quick_to[..., keep],
    )
