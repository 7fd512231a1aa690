"""What in a forecast tells how far off it will be at a place: the hour of day, and the weather it foresees.

A place differs most from its forecast in weather of its own kind: a hollow on clear calm nights, a shore on hot
afternoons. So there is a course over the day, and to it what belongs to the forecast's own temperature, its departure
from the mean of its day, the dryness of its air, and its wind, each with a course over the day again.

The hour of day is that of UTC: at one place it is the solar hour but for a shift that two waves take up.
"""

from dataclasses import dataclass

import numpy as np

from dryspell.weather.table import FloatArray, TimeArray

COURSE = 5
"""How many of the predictors are the plain course over the day: they come first."""

PENALTIES = np.array([20.0] * COURSE + [40.0] * 12)
"""How many hours' worth of "no departure" each predictor's share starts with. Found on January to March of the year of
airport observations that the tests use; the months after these were not looked at for it."""

_FURTHEST = 4.0  # what lies further out than any usual weather counts as this far
_HALF_DAY = np.timedelta64(12 * 3600, "s")
_DAY = 2 * _HALF_DAY


@dataclass(frozen=True)
class Usual:
    """The usual weather of a place's forecasts, from which predictors count: [degC], [K] and [(m/s)^0.5]."""

    air_c: float
    dryness_k: float
    root_wind: float

    @classmethod
    def of(cls, air_c: FloatArray, dew_c: FloatArray, wind_m_s: FloatArray) -> "Usual":
        """Return the means of all that is known."""
        return cls(_mean(air_c), _mean(air_c - dew_c), _mean(np.sqrt(wind_m_s)))


def day_course(times: TimeArray) -> FloatArray:
    """Return a constant and two waves over the day, shape (times, 5)."""
    turn = 2.0 * np.pi * (times.astype("datetime64[s]").astype(np.int64) % 86400) / 86400.0
    return np.stack([np.ones_like(turn), np.cos(turn), np.sin(turn), np.cos(2.0 * turn), np.sin(2.0 * turn)], axis=-1)


def predictors(
    times: TimeArray, air_c: FloatArray, dew_c: FloatArray, wind_m_s: FloatArray, usual: Usual
) -> FloatArray:
    """Return the predictors of a forecast, of about one in size; (..., times, 17) for values of shape (..., times).

    What the forecast does not know counts as usual.
    """
    course = day_course(times)
    weather = np.stack(
        [
            (air_c - usual.air_c) / 8.0,
            (air_c - _mean_of_day(times, air_c)) / 4.0,
            (air_c - dew_c - usual.dryness_k) / 5.0,
            (np.sqrt(wind_m_s) - usual.root_wind) / 0.7,
        ],
        axis=-1,
    )
    weather = np.clip(np.nan_to_num(weather), -_FURTHEST, _FURTHEST)
    with_course = weather[..., :, np.newaxis] * course[:, np.newaxis, :3]
    shape = weather.shape[:-1]
    return np.concatenate([np.broadcast_to(course, (*shape, COURSE)), with_course.reshape(*shape, -1)], axis=-1)


def _mean_of_day(times: TimeArray, values: FloatArray) -> FloatArray:
    """Return the mean over the 24 h around each time; towards the ends, over the first and the last 24 h."""
    begin = np.clip(times - _HALF_DAY, times[0], max(times[-1] - _DAY, times[0]))
    low, high = np.searchsorted(times, begin), np.searchsorted(times, begin + _DAY)
    known = np.isfinite(values)

    def over(amounts: FloatArray) -> FloatArray:
        total = np.concatenate([np.zeros((*amounts.shape[:-1], 1)), np.cumsum(amounts, axis=-1)], axis=-1)
        within: FloatArray = total[..., high] - total[..., low]
        return within

    count = over(known.astype(np.float64))
    with np.errstate(invalid="ignore"):
        return np.where(count > 0.5, over(np.where(known, values, 0.0)) / count, np.nan)


def _mean(values: FloatArray) -> float:
    known = values[np.isfinite(values)]
    return float(known.mean()) if known.size else 0.0
