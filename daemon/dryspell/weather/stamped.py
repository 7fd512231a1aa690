"""Brings readings, which come when they come, to the stamps of a weather table, as the cell of the variable asks."""

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import VARIABLES, FloatArray, TimeArray

NEAR_S = 15 * 60
"""Readings this near to a stamp, and nearer to it than to another, are averaged for a value at it (no source)."""
BETWEEN_S = 75 * 60
"""Without any so near, two readings at most this far apart have the straight line between them (no source): one an hour
will do at whatever minute it comes."""
GAP_S = 3 * 3600
"""A reading of a sum or mean tells of the time since the one before it, unless that is longer ago than this."""
COVERED = 0.9
"""A sum, mean or maximum needs this share of its step covered by readings (no source)."""


def at_stamps(name: str, times: TimeArray, values: FloatArray, stamps: TimeArray) -> FloatArray:
    """Return a variable at the stamps of a table, shape (stamps,); NaN where the readings do not tell.

    Parameters
    ----------
    name
        Of the variable: points are taken near the stamp, sums added, means averaged and the greatest of maxima taken
        over the step that ends at the stamp. The first step is as long as the second, or an hour where there is none.
    times, values
        Good readings, ascending, shape (n,).
    stamps
        Ascending, at least one.
    """
    at, ends = _seconds(times), _seconds(stamps)
    steps = np.diff(ends, prepend=2 * ends[0] - ends[1] if ends.size > 1 else ends[0] - 3600)
    cell = VARIABLES[name].cell
    if at.size == 0:
        return np.full(ends.size, np.nan)
    if cell == "point":
        return _near(at, values, ends, steps)
    spans = np.diff(at, prepend=at[0])
    spans[spans > GAP_S] = 0
    covered = _over(at, spans, ends, steps)
    amount = _over(at, values * spans if cell == "mean" else np.where(spans > 0, values, 0.0), ends, steps)
    if cell == "maximum":
        amount = _greatest(at, values, ends, steps)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(covered >= COVERED * steps, amount / covered if cell == "mean" else amount, np.nan)


def _near(at: FloatArray, values: FloatArray, stamps: FloatArray, steps: FloatArray) -> FloatArray:
    near = np.minimum(steps / 2.0, NEAR_S)
    first, end = np.searchsorted(at, stamps - near), np.searchsorted(at, stamps + near, side="right")
    sums = np.concatenate([[0.0], np.cumsum(values)])
    after = np.clip(np.searchsorted(at, stamps), 1, max(at.size - 1, 1))
    between = np.full(stamps.size, np.nan)
    if at.size > 1:
        inside = (stamps >= at[after - 1]) & (stamps <= at[after]) & (at[after] - at[after - 1] <= BETWEEN_S)
        between = np.where(inside, np.interp(stamps, at, values), np.nan)
    return np.where(end > first, (sums[end] - sums[first]) / np.maximum(end - first, 1), between)


def _over(at: FloatArray, amounts: FloatArray, ends: FloatArray, steps: FloatArray) -> FloatArray:
    """Return how much of the amounts, each of the time since the reading before, is of each step."""
    run = np.cumsum(amounts)
    return np.asarray(np.interp(ends, at, run) - np.interp(ends - steps, at, run))


def _greatest(at: FloatArray, values: FloatArray, ends: FloatArray, steps: FloatArray) -> FloatArray:
    first, end = np.searchsorted(at, ends - steps, side="right"), np.searchsorted(at, ends, side="right")
    edges = np.stack([first, end], axis=1).reshape(-1)
    most = np.maximum.reduceat(np.append(values, -np.inf), edges)[::2]
    return np.where(end > first, most, np.nan)


def _seconds(times: npt.NDArray[np.datetime64]) -> FloatArray:
    return times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
