"""The least and the greatest value in many spans of one time axis at once.

Every start of a coat asks about its own spans (while brushing, until dew-safe, until rain-safe). A table of the least
values of all spans of 1, 2, 4, 8 ... steps answers each of them with two look-ups, so no loop over starts is needed.
"""

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import FloatArray

BoolArray = npt.NDArray[np.bool_]
IndexArray = npt.NDArray[np.int64]


class SpanLeast:
    """The least value of any span of a series; NaN anywhere in a span makes it NaN.

    Parameters
    ----------
    values
        Shape (members, times).
    """

    def __init__(self, values: FloatArray) -> None:
        members, times = values.shape
        self._levels = np.empty((max(times.bit_length(), 1), members, times))
        self._levels[0] = values
        self._filled = 1
        self._rows = np.arange(members)[:, None] * times

    def over(self, first: IndexArray, last: IndexArray) -> FloatArray:
        """Return the least value from index `first` to `last`, both included.

        Parameters
        ----------
        first, last
            Broadcast to (members, spans), within the axis, first <= last.
        """
        level = np.frexp((last - first + 1).astype(np.float64))[1].astype(np.int64) - 1
        self._fill(int(level.max(initial=0)))
        width = np.left_shift(1, level)
        flat, rows = self._levels.reshape(-1), level * self._levels[0].size + self._rows
        least: FloatArray = np.minimum(flat.take(rows + first), flat.take(rows + (last - width + 1)))
        return least

    def _fill(self, most: int) -> None:
        """Fill the table up to a level: spans are mostly short, and most of it is never asked for."""
        for level in range(self._filled, most + 1):
            shorter, longer, width = self._levels[level - 1], self._levels[level], 1 << (level - 1)
            end = self._levels.shape[2] - 2 * width + 1
            np.minimum(shorter[:, :end], shorter[:, width : width + end], out=longer[:, :end])
            longer[:, end:] = np.nan
        self._filled = max(self._filled, most + 1)


class SpanMost:
    """The greatest value of any span of a series; NaN anywhere in a span makes it NaN."""

    def __init__(self, values: FloatArray) -> None:
        self._least = SpanLeast(-values)

    def over(self, first: IndexArray, last: IndexArray) -> FloatArray:
        """Return the greatest value from index `first` to `last`, both included."""
        return -self._least.over(first, last)


class Looks:
    """The tables of one piece's series, each made once however many coats and strictnesses are judged over them."""

    def __init__(self) -> None:
        self._least: dict[str, SpanLeast] = {}
        self._most: dict[str, SpanMost] = {}

    def least(self, name: str, values: FloatArray) -> SpanLeast:
        """Return the least values of the series of that name."""
        if name not in self._least:
            self._least[name] = SpanLeast(values)
        return self._least[name]

    def most(self, name: str, values: FloatArray) -> SpanMost:
        """Return the greatest values of the series of that name."""
        if name not in self._most:
            self._most[name] = SpanMost(values)
        return self._most[name]
