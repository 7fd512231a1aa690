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
        self._unknown: FloatArray | None = None
        if unknown.any():
            self._unknown = _running(unknown.astype(np.float64))
            gains = np.where(unknown, 0.0, gains)
        self._sums = _running(gains)
        self._steps = np.diff(self._seconds)
        self._is_even = bool((self._steps == self._steps[0]).all())
        self._rows_at = np.arange(gains.shape[0])[:, None] * self._seconds.size

    def between(self, start: npt.ArrayLike, end: npt.ArrayLike) -> FloatArray:
        """Return what is added from start to end, as `cure.gained` describes it."""
        starts, ends = np.asarray(start, "datetime64[s]"), np.asarray(end, "datetime64[s]")
        shape = self._answered(np.broadcast_shapes(starts.shape, ends.shape))
        if not self._members:
            starts, ends = np.broadcast_arrays(starts, ends)
        first, last = self._rows(starts), self._rows(ends)
        i, j = self._step(first, "right"), self._step(last, "left")
        asked = self._on_axis(first) & self._on_axis(last) & (last >= first) & self._is_known(i, j)
        gained = self._level(last, j) - self._level(first, i)
        return np.where(asked, gained, np.nan).reshape(shape)

    def passes(self, start: npt.ArrayLike, needed: npt.ArrayLike) -> TimeArray:
        """Return when the sum has grown by what is needed, as `cure.completion_time` describes it."""
        starts = np.asarray(start, "datetime64[s]")
        first, shape = self._rows(starts), self._answered(starts.shape)
        of_each = self._rows_at.shape[0], first.shape[1]
        more = np.broadcast_to(np.asarray(needed, dtype=np.float64), shape).reshape(of_each) - TOLERANCE
        i = self._step(first, "right")
        target = self._level(first, i) + more

        size = self._seconds.size
        if target.size * size <= _COUNTED_AT_MOST:
            short = self._sums[:, None, :] < target[..., None]
            j = np.maximum(np.count_nonzero(short, axis=2) - 1, 0)
        else:
            j = self._last_short_of(target)
        passed = (j < size - 1) & (more > 0.0) & self._on_axis(first)
        np.minimum(j, size - 2, out=j)
        passed &= self._is_known(i, j)

        low, high = self._ends(j)
        target -= low
        high -= low
        share = np.divide(target, high, out=np.zeros_like(target), where=passed)
        # up to the full second: at the instant given the sum is complete
        share *= self._steps.take(j)
        share += self._seconds.take(j)
        at = np.ceil(share, out=share).astype(np.int64)
        done = (more <= 0.0) & self._on_axis(first)
        instants = np.where(done, first, at).astype("datetime64[s]")
        return np.where(passed | done, instants, np.datetime64("NaT", "s")).reshape(shape)

    def _last_short_of(self, target: FloatArray) -> IntArray:
        """Return the last instant whose sum is short of each target: all at once, by halves."""
        sums, left = self._sums.reshape(-1), self._seconds.size
        at = np.broadcast_to(self._rows_at, target.shape).copy()
        probe, found, is_short = np.empty_like(at), np.empty_like(target), np.empty(target.shape, dtype=np.bool_)
        while left > 1:
            half = left // 2
            np.add(at, half, out=probe)
            sums.take(probe, out=found, mode="clip")  # it is never out of bounds; "raise" would copy
            np.less(found, target, out=is_short)
            at += np.multiply(is_short, half, out=probe)
            left -= half
        at -= self._rows_at
        return at

    def _answered(self, asked: tuple[int, ...]) -> tuple[int, ...]:
        """Return the shape to answer instants of a shape in."""
        if not self._members:
            return asked
        if len(asked) > 2 or (len(asked) == 2 and asked[0] != self._members[0]):
            raise ValueError(
                f"start needs the shape (starts,) or ({self._members[0]}, starts) for {self._members[0]} members, "
                f"got {asked}"
            )
        return asked if len(asked) == 2 else (*self._members, *asked)

    def _rows(self, instants: TimeArray) -> IntArray:
        """Return instants as seconds, a row for each member or one for all."""
        rows = instants if self._members and instants.ndim == 2 else instants.reshape(1, -1)
        return rows.astype(np.int64)

    def _step(self, seconds: IntArray, side: Literal["left", "right"]) -> IntArray:
        """Return the step an instant lies in; on an instant of the axis the one that begins (right) or ends (left)."""
        if self._is_even:
            step = (seconds - (self._seconds[0] + (side == "left"))) // self._steps[0]
        else:
            step = np.searchsorted(self._seconds, seconds, side) - 1
        found: IntArray = np.clip(step, 0, self._seconds.size - 2)
        return found

    def _on_axis(self, seconds: IntArray) -> BoolArray:
        # NaT is the least of all numbers, and so before every axis
        inside: BoolArray = (seconds >= self._seconds[0]) & (seconds <= self._seconds[-1])
        return inside

    def _is_known(self, first_step: IntArray, last_step: IntArray) -> BoolArray | np.bool_:
        if self._unknown is None:
            return np.True_
        unknown = self._unknown.reshape(-1)
        known: BoolArray = unknown.take(last_step + 1 + self._rows_at) == unknown.take(first_step + self._rows_at)
        return known

    def _level(self, seconds: IntArray, step: IntArray) -> FloatArray:
        """Return the sums at instants inside a step."""
        low, high = self._ends(step)
        high -= low
        high *= (seconds - self._seconds.take(step)) / self._steps.take(step)
        high += low
        return high

    def _ends(self, step: IntArray) -> tuple[FloatArray, FloatArray]:
        """Return the sums at the beginning and the end of steps, in each member's row."""
        sums, at = self._sums.reshape(-1), step + self._rows_at
        low = sums.take(at)
        at += 1
        return low, sums.take(at)
