"""Leans the next hours on the last reading: what it departs from the forecast by lasts a while."""

import numpy as np

from dryspell.weather.hourly import HOUR
from dryspell.weather.table import FloatArray, TimeArray

LASTS_H = 24
"""After this many hours nothing is left of a departure. [h]"""

USUAL = np.concatenate([[1.0], 0.8 * np.exp(-np.arange(1, LASTS_H) / 6.0), [0.0]])
_USUAL_HOURS = 72.0  # how many hours' worth of readings the usual course counts as
_FURTHEST_H = 1.0  # a table that begins this much after the reading still says what was forecast for it


def lasting(error: FloatArray) -> FloatArray:
    """Return how much of a departure is left after 0, 1, ... 24 h, from hours of departures, NaN where not known.

    It is what a least-squares fit of the later departure on the earlier one gives, for each number of hours, drawn
    towards a usual course while there are few; never below 0, never more than before.
    """
    known = np.isfinite(error)
    values = np.where(known, error, 0.0)
    ahead = np.arange(values.size)[:, np.newaxis] + np.arange(LASTS_H + 1)
    padded = np.append(values, np.zeros(LASTS_H + 1))
    both = known[:, np.newaxis] & np.append(known, np.zeros(LASTS_H + 1, dtype=np.bool_))[ahead]
    products = (values[:, np.newaxis] * padded[ahead]).sum(axis=0)
    squares = (values[:, np.newaxis] ** 2 * both).sum(axis=0)
    worth = _USUAL_HOURS * float(np.mean(values[known] ** 2)) if known.any() else 0.0
    if worth == 0.0:
        return USUAL
    left = np.clip((products + worth * USUAL) / (squares + worth), 0.0, 1.0)
    left[0], left[-1] = 1.0, 0.0
    return np.minimum.accumulate(left)


def leaning(times: TimeArray, values: FloatArray, at: np.datetime64, reading: float, left: FloatArray) -> FloatArray:
    """Return what to add to `values`, shape (members, times), for a reading taken `at`; 0 before it."""
    after = np.clip(np.searchsorted(times, at, side="right"), 1, times.size - 1)
    step = (at - times[after - 1]) / (times[after] - times[after - 1])
    beyond_h = max(float((times[0] - at) / HOUR), float((at - times[-1]) / HOUR))
    if beyond_h > _FURTHEST_H:
        return np.zeros_like(values)
    share = float(np.clip(step, 0.0, 1.0))
    # A share of nothing is nothing, even of a value that is not known.
    earlier = 0.0 if share == 1.0 else (1.0 - share) * values[:, after - 1]
    later = 0.0 if share == 0.0 else share * values[:, after]
    departure = np.nan_to_num(reading - (earlier + later))
    since_h = (times - at) / HOUR
    weight = np.where(since_h >= 0.0, np.interp(since_h, np.arange(left.size), left, right=0.0), 0.0)
    return departure[:, np.newaxis] * weight
