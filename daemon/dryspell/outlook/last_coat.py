"""The last coat: of all starts of a day not the first but the best, since everybody will look at it.

Wanted are humidity of 40 to 65 %, wind under 3 m/s, a surface of 14 to 22 degC that is 5 K over the dew point, no sun
on the wet film, no rain for 24 h, and no dusk with its insects (common practice, no source).
"""

from zoneinfo import ZoneInfo

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.days import day_begins
from dryspell.outlook.spans import IndexArray, SpanLeast
from dryspell.weather.table import FloatArray

HUMIDITY_PCT, SURFACE_C = (40.0, 65.0), (14.0, 22.0)
WIND_M_S, MARGIN_K, SUN_K, RAIN_MM = 3.0, 5.0, 2.0, 0.2
FOR_RAIN_H, BEFORE_DUSK_H = 24.0, 2.0
WORST_H = 5.0
"""What the worst start of a day costs over the best one there can be: less than it costs to move a coat that was
planned, so that no better hour of the same day alone moves one. A day counts 24 h, so that no day is given for it."""
_STEP_H = 0.25
"""Starts closer together than this in what they cost are as good as each other."""

# How far off counts for the whole of it.
_FAR = {"humidity": 20.0, "wind": 2.0, "surface": 6.0, "margin": 3.0, "sun": 4.0, "rain": RAIN_MM, "dusk": 1.0}


def last_coat_cost_h(c: Conditions, starts: IndexArray, brush_steps: int, zone: ZoneInfo, origin: int) -> FloatArray:
    """Return what starts of the last coat cost beside the delay, so that the day counts and in it the best hours. [h]

    Parameters
    ----------
    starts
        Indices into the grid, shape (starts,).
    zone
        Whose days.
    origin
        The index from which a delay counts.
    """
    begins = day_begins(c.times, zone)
    days = np.searchsorted(begins, starts, side="right") - np.searchsorted(begins, origin, side="right")
    worse = sum(np.clip(off / _FAR[name], 0.0, 1.0) for name, off in _off(c, starts, brush_steps).items())
    cost_h = np.round(WORST_H * np.asarray(worse) / len(_FAR) / _STEP_H) * _STEP_H
    return np.asarray(days * 24.0 + cost_h - (starts - origin) * c.step_s / 3600.0)


def _off(c: Conditions, starts: IndexArray, brush_steps: int) -> dict[str, FloatArray]:
    """Return how far starts are off what is wanted, by what; of several members the one in the middle."""
    last = c.times.size - 1
    stroke = np.minimum(starts + brush_steps, last)

    def middle(series: FloatArray) -> FloatArray:
        return np.median(np.where(np.isfinite(series), series, 0.0), axis=0, keepdims=True)

    def under(series: FloatArray, bound: float) -> FloatArray:
        return np.asarray(bound - SpanLeast(series).over(starts[None], stroke[None])[0])

    def over(series: FloatArray, bound: float) -> FloatArray:
        return under(-series, -bound)

    humidity_pct, surface_c = middle(c.humidity_pct), middle(c.surface_c)
    fallen = np.cumsum(middle(c.rain_mm)[0])
    later = np.minimum(starts + round(FOR_RAIN_H * 3600 / c.step_s), last)
    evening = np.minimum(stroke + round(BEFORE_DUSK_H * 3600 / c.step_s), last)
    return {
        "humidity": np.maximum(under(humidity_pct, HUMIDITY_PCT[0]), over(humidity_pct, HUMIDITY_PCT[1])),
        "wind": over(middle(c.wind_m_s), WIND_M_S),
        "surface": np.maximum(under(surface_c, SURFACE_C[0]), over(surface_c, SURFACE_C[1])),
        "margin": under(middle(c.margin_k), MARGIN_K),
        "sun": over(middle(c.surface_c - c.air_c), SUN_K),
        "rain": fallen[later] - fallen[starts],
        "dusk": (~c.in_daylight[evening]).astype(np.float64),
    }
