"""The running sum of a rate over time, and the instants at which it passes a level."""

from typing import Literal

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within

TimeArray = npt.NDArray[np.datetime64]
IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]

# What rounding may cost, as a share of the whole: of a day's drying a tenth of a millisecond.
TOLERANCE = 1e-9
_FASTEST_PER_H = 1e6
# Of few films the sums short of a target are sooner counted than bisected.
_COUNTED_AT_MOST = 200_000


def _axis(times_utc: npt.ArrayLike) -> IntArray:
    times = np.asarray(times_utc, dtype="datetime64[s]")
    seconds = times.astype(np.int64)
    if times.ndim != 1 or times.size < 2 or np.isnat(times).any() or (np.diff(seconds) <= 0).any():
        raise ValueError("times_utc needs to ascend strictly, two instants at the least")
    return seconds


def _gains(seconds: IntArray, rate_per_h: npt.ArrayLike) -> FloatArray:
    """Return what each step adds, by the trapezoid: shape (..., times - 1)."""
    rate = within("rate_per_h", rate_per_h, 0.0, _FASTEST_PER_H, "per hour")
    if rate.ndim == 0 or rate.shape[-1] != seconds.size:
        raise ValueError(f"rate_per_h needs {seconds.size} instants on its last axis, got the shape {rate.shape}")
    return 0.5 * (rate[..., 1:] + rate[..., :-1]) * (np.diff(seconds) / 3600.0)


def _running(gains: FloatArray) -> FloatArray:
    """Return the running sum from 0 on, added one after the other as a plain loop would."""
    sums = np.zeros((*gains.shape[:-1], gains.shape[-1] + 1))
    np.cumsum(gains, axis=-1, out=sums[..., 1:])
    return sums


def running_sum(times_utc: npt.ArrayLike, rate_per_h: npt.ArrayLike) -> FloatArray:
    """Return the sum of a rate from the first instant on, as `cure.accumulated` describes it."""
    return _running(_gains(_axis(times_utc), rate_per_h))


class RunningSum:
    """The running sums of rates, shape (times,) or (members, times), ready to be asked at any instants.

    Inside a step a sum grows evenly. A step with an unknown rate at either end adds nothing and is counted: what is
    asked across it comes out unknown, what lies wholly before or behind it does not.
    """

    def __init__(self, times_utc: npt.ArrayLike, rate_per_h: npt.ArrayLike) -> None:
        self._seconds = _axis(times_utc)
        gains = _gains(self._seconds, rate_per_h)
        if gains.ndim > 2:
            raise ValueError(f"rate_per_h needs the shape (times,) or (members, times), got {gains.ndim} axes")
        self._members = gains.shape[:-1]
        gains = np.atleast_2d(gains)
        unknown = np.isnan(gains)
        self._sums = _running(np.where(unknown, 0.0, gains))
        self._unknown = _running(unknown.astype(np.float64))
        self._rows_at = np.arange(gains.shape[0])[:, None] * self._seconds.size

    def between(self, start: npt.ArrayLike, end: npt.ArrayLike) -> FloatArray:
        """Return what is added from start to end, as `cure.gained` describes it."""
        starts, ends = np.broadcast_arrays(np.asarray(start, "datetime64[s]"), np.asarray(end, "datetime64[s]"))
        first, shape = self._rows(starts)
        last, _ = self._rows(ends)
        i, j = self._step(first, "right"), self._step(last, "left")
        asked = self._on_axis(first) & self._on_axis(last) & (last >= first) & self._is_known(i, j)
        return np.where(asked, self._level(last, j) - self._level(first, i), np.nan).reshape(shape)

    def passes(self, start: npt.ArrayLike, needed: npt.ArrayLike) -> TimeArray:
        """Return when the sum has grown by what is needed, as `cure.completion_time` describes it."""
        first, shape = self._rows(np.asarray(start, "datetime64[s]"))
        more = np.broadcast_to(np.asarray(needed, dtype=np.float64), shape).reshape(first.shape) - TOLERANCE
        i = self._step(first, "right")
        target = self._level(first, i) + more

        size = self._seconds.size
        if target.size * size <= _COUNTED_AT_MOST:
            short = self._sums[:, None, :] < target[..., None]
            j = np.maximum(np.count_nonzero(short, axis=2) - 1, 0)
        else:
            j = self._last_short_of(target)
        passed = (j < size - 1) & (more > 0.0) & self._on_axis(first)
        j = np.minimum(j, size - 2)
        passed &= self._is_known(i, j)

        low, high = self._at(self._sums, j), self._at(self._sums, j + 1)
        share = np.divide(target - low, high - low, out=np.zeros_like(target), where=passed)
        # up to the full second: at the instant given the sum is complete
        at = np.ceil(self._seconds[j] + share * (self._seconds[j + 1] - self._seconds[j])).astype(np.int64)
        done = (more <= 0.0) & self._on_axis(first)
        instants = np.where(done, first, at).astype("datetime64[s]")
        return np.where(passed | done, instants, np.datetime64("NaT", "s")).reshape(shape)

    def _last_short_of(self, target: FloatArray) -> IntArray:
        """Return the last instant whose sum is short of each target: all at once, bit by bit."""
        j, size = np.zeros(target.shape, dtype=np.int64), self._seconds.size
        for bit in reversed(range(size.bit_length())):
            probe = j + (1 << bit)
            short = self._at(self._sums, np.minimum(probe, size - 1)) < target
            j = np.where((probe < size) & short, probe, j)
        return j

    def _rows(self, instants: TimeArray) -> tuple[IntArray, tuple[int, ...]]:
        """Return instants as seconds, a row for each member, and the shape to answer in."""
        if not self._members:
            return instants.reshape(1, -1).astype(np.int64), instants.shape
        if instants.ndim > 2 or (instants.ndim == 2 and instants.shape[0] != self._members[0]):
            raise ValueError(
                f"start needs the shape (starts,) or ({self._members[0]}, starts) for {self._members[0]} members, "
                f"got {instants.shape}"
            )
        shape = instants.shape if instants.ndim == 2 else (*self._members, *instants.shape)
        rows = instants if instants.ndim == 2 else instants.reshape(1, -1)
        return np.broadcast_to(rows.astype(np.int64), (*self._members, rows.shape[1])), shape

    def _step(self, seconds: IntArray, side: Literal["left", "right"]) -> IntArray:
        """Return the step an instant lies in; on an instant of the axis the one that begins (right) or ends (left)."""
        return np.clip(np.searchsorted(self._seconds, seconds, side) - 1, 0, self._seconds.size - 2)

    def _on_axis(self, seconds: IntArray) -> BoolArray:
        # NaT is the least of all numbers, and so before every axis
        inside: BoolArray = (seconds >= self._seconds[0]) & (seconds <= self._seconds[-1])
        return inside

    def _is_known(self, first_step: IntArray, last_step: IntArray) -> BoolArray:
        known: BoolArray = self._at(self._unknown, last_step + 1) == self._at(self._unknown, first_step)
        return known

    def _level(self, seconds: IntArray, step: IntArray) -> FloatArray:
        """Return the sums at instants inside a step."""
        low, high = self._at(self._sums, step), self._at(self._sums, step + 1)
        return low + (seconds - self._seconds[step]) / np.diff(self._seconds)[step] * (high - low)

    def _at(self, table: FloatArray, index: IntArray) -> FloatArray:
        """Return what stands at an index in each member's row."""
        return table.reshape(-1).take(index + self._rows_at)
