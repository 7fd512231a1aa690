"""Brings a weather table of any step onto an even grid, without inventing what it does not hold.

Point values are interpolated linearly between neighbouring stamps. Means and sums over steps are shared out so that
every step keeps its total. Between stamps more than `LONGEST_STEP` apart nothing is known: a night can hide there.
"""

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

IndexArray = npt.NDArray[np.int64]

LONGEST_STEP = np.timedelta64(3, "h")


def even_grid(times: TimeArray, step_s: int) -> TimeArray:
    """Return the instants at whole multiples of `step_s` that lie within a time axis, datetime64[s]."""
    seconds = times.astype("datetime64[s]").astype(np.int64)
    first = -(-int(seconds[0]) // step_s) * step_s
    return np.arange(first, int(seconds[-1]) + 1, step_s).astype("datetime64[s]")


def at_points(table: WeatherTable, name: str, grid: TimeArray) -> FloatArray:
    """Return a point variable at the grid's instants, shape (members, grid); NaN where it is not known."""
    values, times = table.column(name), table.times
    left = np.clip(np.searchsorted(times, grid, side="right") - 1, 0, times.size - 2)
    step = times[left + 1] - times[left]
    share = (grid - times[left]) / step
    # Taken and not indexed: what is indexed lies in memory instant by instant, and so does all that is made of it.
    before, after = values.take(left, axis=1), values.take(left + 1, axis=1)
    between = before * (1.0 - share) + after * share
    known = np.where(step > LONGEST_STEP, np.nan, between)
    # On a stamp the value stands, whatever its neighbours are.
    return np.where(share == 0.0, before, np.where(share == 1.0, after, known))


def over_cells(
    table: WeatherTable, name: str, grid: TimeArray, *, clock: FloatArray | None = None, mean: bool
) -> FloatArray:
    """Return a step variable over the cells that end at the grid's instants, shape (members, grid).

    The first cell has no beginning on the grid and takes the value of the second. A cell that touches an unknown step
    is unknown.

    Parameters
    ----------
    clock
        For sharing out a step unevenly: a rising function of time, given at the stamps followed by the grid's instants
        (times.size + grid.size). Default: time itself.
    mean
        Whether the variable is a mean over its step (the result is a mean over the cell) or a sum.
    """
    values = table.column(name)
    stamps, points = _seconds(table.times), _seconds(grid)
    ticks = np.concatenate([stamps, points]) if clock is None else clock
    stamp_ticks, grid_ticks = ticks[: stamps.size], ticks[stamps.size :]

    step = np.diff(stamps)
    amounts = values[:, 1:] * step if mean else values[:, 1:]
    bad = ~np.isfinite(amounts) | (step > LONGEST_STEP / np.timedelta64(1, "s"))
    totals = _running(np.where(bad, 0.0, amounts))
    unknown = _running(bad * step)

    index = np.clip(np.searchsorted(stamps, points, side="left"), 1, stamps.size - 1)
    in_time = (points - stamps[index - 1]) / step[index - 1]
    span = stamp_ticks[index] - stamp_ticks[index - 1]
    with np.errstate(invalid="ignore", divide="ignore"):
        in_ticks = np.where(span > 0, (grid_ticks - stamp_ticks[index - 1]) / span, in_time)
    up_to = _between(totals, index, in_ticks)
    hidden = _between(unknown, index, in_time)

    cells = np.diff(up_to, axis=1) / (np.diff(points) if mean else 1.0)
    cells = np.where(np.diff(hidden, axis=1) > 1e-6, np.nan, cells)
    return np.concatenate([cells[:, :1], cells], axis=1)


def most_in_cells(table: WeatherTable, name: str, grid: TimeArray) -> FloatArray:
    """Return a step maximum over cells that end at the grid's instants: the greatest of the steps a cell touches.

    The first cell is taken to be as long as the second.
    """
    values = table.column(name)
    stamps, points = _seconds(table.times), _seconds(grid)
    begins = np.concatenate([2.0 * points[:1] - points[1:2], points[:-1]])
    first = np.searchsorted(stamps, begins, side="right")
    last = np.clip(np.searchsorted(stamps, points, side="left"), 1, stamps.size - 1)
    first = np.clip(first, 1, last)
    result = values.take(last, axis=1)
    for back in range(1, int(np.max(last - first)) + 1):  # steps inside one cell: none for hourly weather
        result = np.fmax(result, values.take(np.maximum(last - back, first), axis=1))
    return result


def _between(sums: FloatArray, index: IndexArray, share: FloatArray) -> FloatArray:
    """Return the sums a share of the way from the stamp before to that of the index."""
    before = sums.take(index - 1, axis=1)
    return before + (sums.take(index, axis=1) - before) * share


def _seconds(times: TimeArray) -> FloatArray:
    return times.astype("datetime64[s]").astype(np.int64).astype(np.float64)


def _running(steps: FloatArray) -> FloatArray:
    return np.concatenate([np.zeros((steps.shape[0], 1)), np.cumsum(steps, axis=1)], axis=1)
