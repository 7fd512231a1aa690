"""Learns how far off the forecasts of one variable are, day by day, and what came of it on the days after.

Least squares with a penalty on every share, so that few readings move little, over days that weigh half as much every
thirty days. All is learned at once: the sums of each day, then those of all days before one. So there is a fit for each
of the last days that knows only the days before it, and what it would have said of forecasts made on that day is its
trial.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.weather.hourly import DAY, IntArray
from dryspell.weather.table import FloatArray

BoolArray = npt.NDArray[np.bool_]

HALF_LIFE_DAYS = 30.0
TRIAL_DAYS = 60
FADE_H = 120.0
"""After the first day a correction's gain halves in this time, as long as the site's own readings say nothing of it."""

LEADS_H = np.array([24.0, 36.0, 72.0, 132.0, 240.0])
"""Lead times for which a gain is found: the first day's end, and the middles of the bands after it."""

_USUAL_GAINS = 0.5 ** ((LEADS_H - LEADS_H[0]) / FADE_H)
_GAIN_HOURS = 240.0  # how many hours' worth of readings the usual gain counts as
_REASONABLE = 99.5  # percentile of departures beyond which one is an accident


@dataclass(frozen=True)
class Learned:
    """What was learned of one variable.

    Attributes
    ----------
    shares
        Of each predictor in the departure; of the departure over the forecast where `by_ratio`.
    by_ratio
        Whether the forecast is multiplied.
    most
        No correction is larger, either way, in the variable's unit.
    gains
        How much of the correction is good at `LEADS_H`.
    """

    shares: FloatArray
    by_ratio: bool
    most: float
    gains: FloatArray

    def correction(self, predictors: FloatArray, forecast: FloatArray, lead_h: FloatArray) -> FloatArray:
        """Return what to add to a forecast; NaN where it is."""
        factor = forecast if self.by_ratio else np.where(np.isfinite(forecast), 1.0, np.nan)
        gain = np.interp(lead_h, LEADS_H, self.gains)
        return gain * np.clip(predictors @ self.shares * factor, -self.most, self.most)


def learned(
    predictors: FloatArray,
    forecast: FloatArray,
    reading: FloatArray,
    issued_day: IntArray,
    penalties: FloatArray,
    *,
    by_ratio: bool,
) -> tuple[Learned, FloatArray]:
    """Learn from whole days of hours.

    Parameters
    ----------
    predictors
        Of the forecasts, shape (bands, hours, predictors).
    forecast, issued_day
        In bands of lead times, and how many of the days were over when each was made, shape (bands, hours).
    reading
        Shape (hours,).
    penalties
        By predictor, in hours' worth of no departure.
    by_ratio
        Whether to multiply a forecast, for what is never below 0.

    Returns
    -------
    tuple
        What was learned, and the corrections of the first band's forecasts as they would have been when these were
        made, shape (hours,). NaN before the last `TRIAL_DAYS`, where nothing had been read yet, and where the forecast
        or the reading is not known.
    """
    departure = reading - forecast
    known = np.isfinite(departure[0])
    most = float(np.percentile(np.abs(departure[0][known]), _REASONABLE)) if known.any() else 0.0
    factor = np.where(np.isfinite(forecast), forecast if by_ratio else 1.0, 0.0)

    # The days' sums. By ratio the squares are weighed by one over the forecast, which makes it one of means.
    x = np.where(known[:, np.newaxis], predictors[0], 0.0)
    target = np.where(known, np.clip(departure[0], -most, most), 0.0)
    days = x.shape[0] // DAY
    x_by_day = x.reshape(days, DAY, -1)
    weighed = x_by_day * factor[0].reshape(days, DAY, 1)
    squares = weighed.transpose(0, 2, 1) @ x_by_day
    products = (target.reshape(days, 1, DAY) @ x_by_day)[:, 0]

    # And of all days before each of the last, and before the day to come.
    first = max(days - TRIAL_DAYS, 0)
    age = np.arange(first, days + 1)[:, np.newaxis] - np.arange(days) - 1
    weights = np.where(age >= 0, 0.5 ** (np.maximum(age, 0) / HALF_LIFE_DAYS), 0.0)
    size = penalties.size
    normal = (weights @ squares.reshape(days, -1)).reshape(-1, size, size)
    usual = float(factor[0][known].mean()) if by_ratio and known.any() else 1.0
    normal += np.diag(penalties * max(usual, 0.1))
    shares = np.linalg.solve(normal, (weights @ products)[..., np.newaxis])[..., 0]

    trial = np.s_[:, first * DAY :]
    of_day = np.maximum(issued_day[trial] - first, 0)
    some = weights @ known.reshape(days, DAY).sum(axis=1) > 0.0
    fair = (issued_day[trial] >= first) & some[of_day] & np.isfinite(departure[trial])
    said = np.clip((predictors[trial] * shares[of_day]).sum(axis=-1) * factor[trial], -most, most)
    said = np.where(fair, said, np.nan)
    tested = np.concatenate([np.full(first * DAY, np.nan), said[0]])
    return Learned(shares[-1], by_ratio, most, _gains(said, departure[trial])), tested


def _gains(said: FloatArray, departure: FloatArray) -> FloatArray:
    """Return how much of the corrections was good at `LEADS_H`, never more than at a shorter one.

    The first day's forecasts are what they were learned from: their penalties have shrunk them as they should be.
    """
    tried = np.isfinite(said)
    squares = np.where(tried, said**2, 0.0).sum(axis=1)
    products = np.where(tried, said * departure, 0.0).sum(axis=1)
    worth = _GAIN_HOURS * max(float(squares.sum()) / max(int(tried.sum()), 1), 1e-12)
    bands = squares.size
    found = np.clip((products + worth * _USUAL_GAINS[:bands]) / (squares + worth), 0.0, 1.0)
    found[0] = 1.0
    beyond = found[-1] * _USUAL_GAINS[bands:] / _USUAL_GAINS[bands - 1]
    return np.minimum.accumulate(np.concatenate([found, beyond]))
