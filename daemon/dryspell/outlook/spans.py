"""The least and the greatest value in many spans of one time axis at once.

Every start of a coat asks about its own spans (while brushing, until dew-safe, until rain-safe). Where these are as
long for all, as `Sliding`, series that are shifted against themselves answer. Else a table of the least values of all
spans of 1, 2, 4, 8 ... steps answers each with two look-ups. Either way no loop over starts is needed; and where
several series are asked about the same `Spans`, the places to look up are worked out once.
"""

from collections.abc import Callable
from functools import cached_property

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import FloatArray

BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.int64]


class Spans:
    """Spans from index `first` to `last`, both included, of series that have a shape (members, times).

    Parameters
    ----------
    first, last
        Broadcast to (members, spans), within the axis, first <= last.
    """

    def __init__(self, first: IndexArray, last: IndexArray, shape: tuple[int, ...]) -> None:
        self.first, self.last, self._shape = first, last, shape

    @cached_property
    def count(self) -> tuple[int, ...]:
        """The shape of what is found in them."""
        return np.broadcast_shapes(self.first.shape, self.last.shape, (self._shape[0], 1))

    @cached_property
    def places(self) -> tuple[int, IndexArray, IndexArray]:
        """The highest level of a table that is asked, and where in it the two spans stand that cover each of these."""
        members, times = self._shape
        # The greatest power of two that is in each length there can be.
        levels = np.frexp(np.arange(times + 1, dtype=np.float64))[1].astype(np.int64) - 1
        longer = self.last - self.first
        level = levels.take(longer + 1)
        low = level * (members * times)
        low = low + (self.first + np.arange(members)[:, None] * times)
        longer += 1
        longer -= np.left_shift(1, level)
        return int(level.max(initial=0)), low, low + longer


class Sliding:
    """Spans from so many steps before some indices to so many after, as far as the axis goes.

    Parameters
    ----------
    at
        Shape (spans,), within the axis.
    """

    def __init__(self, at: IndexArray, before: int, after: int, times: int) -> None:
        self.first, self.last = np.maximum(at - before, 0)[None], np.minimum(at + after, times - 1)[None]
        self._pad, self._width = (before, after), before + after + 1
        # Starts mostly follow one another, and then are not picked but cut out.
        follow = at.size > 0 and bool((np.diff(at) == 1).all())
        self._at: IndexArray | slice = slice(int(at[0]), int(at[-1]) + 1) if follow else at

    def look_up(self, series: FloatArray, pick: np.ufunc, least_picked: float) -> FloatArray:
        """Return the pick of each span, shape (members, spans)."""
        (before, after), (members, times) = self._pad, series.shape
        if not isinstance(self._at, slice) and self._at.size * self._width < times:
            within = np.clip(np.arange(-before, after + 1)[:, None] + self._at, 0, times - 1)
            few: FloatArray = pick.reduce(series.take(within, axis=1), axis=1)
            return few
        found = np.full((members, before + times + after), least_picked)
        found[:, before : before + times] = series
        wide = 1
        while wide < self._width:
            shift = min(wide, self._width - wide)
            found = pick(found[:, :-shift], found[:, shift:])
            wide += shift
        return found[:, self._at] if isinstance(self._at, slice) else found.take(self._at, axis=1)


class _Table:
    """The pick of any span of a series; NaN anywhere in a span makes it NaN.

    Parameters
    ----------
    values
        The series, shape (members, times).
    """

    _pick: np.ufunc
    _never_picked: float

    def __init__(self, values: FloatArray) -> None:
        self.values = values
        self._filled = 0

    def of(self, spans: Spans | Sliding) -> FloatArray:
        """Return the pick of each span."""
        if isinstance(spans, Sliding):
            return spans.look_up(self.values, self._pick, self._never_picked)
        if self._is_constant:
            return np.full(spans.count, self.values.flat[0])
        highest, low, high = spans.places
        self._fill(highest)
        flat = self._levels.reshape(-1)
        found = flat.take(low)
        picked: FloatArray = self._pick(found, flat.take(high), out=found)
        return picked

    def over(self, first: IndexArray, last: IndexArray) -> FloatArray:
        """Return the pick of spans that nothing else is asked about; as in `Spans`."""
        return self.of(Spans(first, last, self.values.shape))

    @cached_property
    def _is_constant(self) -> bool:
        """Whether there is nothing to look for: a chance of rain that nobody gives, weather that is all known."""
        return bool((self.values == self.values.flat[0]).all()) if self.values.size else False

    @cached_property
    def _levels(self) -> FloatArray:
        return np.empty((max(self.values.shape[1].bit_length(), 1), *self.values.shape))

    def _fill(self, most: int) -> None:
        """Fill the table up to a level: spans are mostly short, and most of it is never asked for."""
        if not self._filled:
            self._levels[0] = self.values
        for level in range(max(self._filled, 1), most + 1):
            shorter, longer, width = self._levels[level - 1], self._levels[level], 1 << (level - 1)
            end = self.values.shape[1] - 2 * width + 1
            self._pick(shorter[:, :end], shorter[:, width : width + end], out=longer[:, :end])
        self._filled = max(self._filled, most + 1)


class SpanLeast(_Table):
    """The least value of any span of a series of the shape (members, times)."""

    _pick = np.minimum
    _never_picked = np.inf


class SpanMost(_Table):
    """The greatest value of any span of a series of the shape (members, times)."""

    _pick = np.maximum
    _never_picked = -np.inf


class Looks:
    """The tables of one piece's series, each made once however many coats and strictnesses are judged over them."""

    def __init__(self) -> None:
        self._least: dict[str, SpanLeast] = {}
        self._most: dict[str, SpanMost] = {}

    def least(self, name: str, values: Callable[[], FloatArray]) -> SpanLeast:
        """Return the least values of the series of that name, which is worked out the first time."""
        if name not in self._least:
            self._least[name] = SpanLeast(values())
        return self._least[name]

    def most(self, name: str, values: Callable[[], FloatArray]) -> SpanMost:
        """Return the greatest values of the series of that name, which is worked out the first time."""
        if name not in self._most:
            self._most[name] = SpanMost(values())
        return self._most[name]
