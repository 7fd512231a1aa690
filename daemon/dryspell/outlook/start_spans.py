"""The spans that every start of a coat is judged over, and what series come to in them, each worked out once.

A start is judged under several strictnesses. A stricter limit changes no span, and slower drying only those that end
with a stage; what a series comes to in a span that is the same is looked up once for all of them.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import Reached
from dryspell.outlook.spans import BoolArray, IndexArray, Sliding, Spans
from dryspell.weather.table import FloatArray, TimeArray

COLD_SPAN_H = 24.0
"""The coldest night that matters to a film is the first one (common practice: look 24 h ahead)."""
NEVER = 2**40
"""An index beyond every axis."""
ROUNDING = 1e-9
"""Hourly rain of 0.1 mm twice is 0.2 mm, whatever the floats say."""


@dataclass(frozen=True)
class Asked:
    """What is asked of a coat, beside its coating's limits.

    Attributes
    ----------
    brush_steps
        Steps of the grid from the first stroke to the last.
    settle_steps
        Steps to wait after dew or rain has gone.
    ready_at
        When the coat underneath is ready for the next, datetime64[s] of shape (members,); NaT is never.
    soft_between
        From when and until when this coat may be brushed on the soft one underneath instead; None where it may not.
    """

    brush_steps: int
    settle_steps: int
    ready_at: TimeArray
    soft_between: tuple[TimeArray, TimeArray] | None = None


@dataclass(frozen=True)
class Ends:
    """Spans under one strictness, by what they end with.

    Attributes
    ----------
    touch_dry, dew_safe
        From the first stroke.
    rain
        To rain-safe, without what fell in the step that ends with the first stroke.
    cold
        To sandable, a day at the most.
    whole
        To the last of all that matters, or the end of the axis.
    is_whole
        Whether the axis goes so far; shape (members, starts).
    """

    touch_dry: Spans
    dew_safe: Spans
    rain: Spans
    cold: Spans
    whole: Spans
    is_whole: BoolArray


class StartSpans:
    """The spans of coats begun at some starts.

    Parameters
    ----------
    reached
        When the films reach their stages.
    starts
        Indices into the grid, shape (starts,).
    """

    def __init__(self, c: Conditions, reached: Reached, starts: IndexArray, asked: Asked) -> None:
        self.shape = c.air_c.shape
        self.last = c.times.size - 1
        self.start = np.broadcast_to(starts, (self.shape[0], starts.size))
        self._c, self._reached, self._asked = c, reached, asked
        self._row = starts[None]  # begins in all members at once
        self._ends: dict[float, Ends] = {}
        self._sliding: dict[tuple[int, int], Sliding] = {}
        self._worst: dict[tuple[str, bool, Spans | Sliding], FloatArray] = {}
        self._total: dict[tuple[str, Spans], FloatArray] = {}

    def only(self, which: IndexArray | slice) -> "StartSpans":
        """Return the spans of some of the starts; all of them are these themselves, with what was looked up."""
        if isinstance(which, slice):
            return self
        some = StartSpans(self._c, self._reached, self._row[0, which], self._asked)
        some._taken = {name: each[:, which] for name, each in self._taken.items()}
        return some

    def of_each(self, row: IndexArray) -> IndexArray:
        """Return the indices of every member, which may be given once for all of them."""
        return np.broadcast_to(row, self.start.shape)

    def around(self, before: int, after: int) -> Sliding:
        """Return the spans from so many steps before the first stroke to so many after it."""
        if (before, after) not in self._sliding:
            self._sliding[before, after] = Sliding(self._row[0], before, after, self.last + 1)
        return self._sliding[before, after]

    def ends(self, reserve: float) -> Ends:
        """Return the spans where drying takes longer by a share of its time."""
        if reserve not in self._ends:
            self._ends[reserve] = self._ends_with(reserve)
        return self._ends[reserve]

    def _ends_with(self, reserve: float) -> Ends:
        stroke = self._row + self._asked.brush_steps
        steps = {name: np.ceil(taken * (1.0 + reserve) - ROUNDING) for name, taken in self._taken.items()}
        np.minimum(steps["cold"], round(COLD_SPAN_H * 3600 / self._c.step_s), out=steps["cold"])
        ends = {name: stroke + each.astype(np.int64) for name, each in steps.items()}
        needed = self.of_each(stroke)
        for end in ends.values():
            needed = np.maximum(needed, end)
            np.minimum(end, self.last, out=end)
        after = np.minimum(self._row + 1, self.last)
        fallen = np.maximum(ends.pop("rain"), after)
        found = {name: Spans(self._row, end, self.shape) for name, end in ends.items()}
        return Ends(
            **found,
            rain=Spans(after, fallen, self.shape),
            whole=Spans(self._row, np.minimum(needed, self.last), self.shape),
            is_whole=needed <= self.last,
        )

    @cached_property
    def _taken(self) -> dict[str, FloatArray]:
        """How many steps films take to their stages, shape (members, starts); NEVER where they do not get there."""
        of, step = self._reached, np.timedelta64(self._c.step_s, "s")
        stages = {"touch_dry": of.touch_dry, "dew_safe": of.dew_safe, "rain": of.rain_safe, "cold": of.sandable}
        steps = {name: (instant - of.laid) / step for name, instant in stages.items()}
        return {name: np.where(np.isnan(each), float(NEVER), each) for name, each in steps.items()}

    def worst(
        self, name: str, series: Callable[[], FloatArray], spans: Spans | Sliding, *, most: bool
    ) -> tuple[FloatArray, FloatArray]:
        """Return the least or, for `most`, the greatest in spans of the series that a name stands for, and the series.

        It is worked out where nobody has asked these conditions for it by that name yet.
        """
        looks = self._c.looks
        table = looks.most(name, series) if most else looks.least(name, series)
        if (name, most, spans) not in self._worst:
            self._worst[name, most, spans] = table.of(spans)
        return self._worst[name, most, spans], table.values

    def total(self, name: str, series: Callable[[], FloatArray], spans: Spans) -> FloatArray:
        """Return the sum in spans of the series that a name stands for.

        The spans begin in all members at once, after the first index.
        """
        if (name, spans) not in self._total:
            sums = np.cumsum(series(), axis=1)
            until = np.take_along_axis(sums, spans.last, axis=1)
            until -= sums.take(spans.first[0] - 1, axis=1)
            self._total[name, spans] = until
        return self._total[name, spans]

    def all_brushing(self, name: str, holds: BoolArray) -> BoolArray:
        """Say whether what is the same in all members, shape (times,), holds all through brushing."""
        table = self._c.looks.least(name, lambda: holds[None].astype(np.float64))
        return np.broadcast_to(table.of(self.around(0, self._asked.brush_steps)) == 1.0, self.start.shape)
