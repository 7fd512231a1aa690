"""How a departure from what is usual goes on: fades, and follows what the other readings say.

The prior is a departure that fades exponentially. What it leaves is a linear rule of some two dozen predictors, fitted
by ridge regression on the rows of the last weeks whose outcome is known. While rows are few the penalty keeps the rule
near nothing, and the prior stands.
"""

from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from dryspell.weather.recent import AIR, DEW, PRESSURE, WIND, Recent
from dryspell.weather.table import FloatArray

FADES_H = {AIR: 36.0, DEW: 48.0, WIND: 9.0}
"""Variables that can be foreseen, and the time in which a departure fades to 1/e.

These and the two below were chosen on January to March at JFK, the rest of the year not looked at; all are flat about
their best.
"""
FITTED_DAYS = 60
_PENALTY = 600.0  # in rows of predictors of unit variance
_OFFSET_ROWS = 240.0  # as many rows as this count half against an offset of nothing

_FARTHEST = 4.0  # predictors farther out than this many standard deviations count as this far
_STANDARD_PRESSURE_HPA = 1013.25
_BACK_H = (1, 3, 6)
_BACK_PRESSURE_H = (3, 24)


def predictors_of(recent: Recent) -> FloatArray:
    """Return what a departure may follow, shape (n, predictors), from readings up to each row; NaN is not known.

    The phase of the day; the departures of temperature, dew point and wind, how they came about over the last hours and
    their mean of a day, temperature and wind apart by the phase of the day; pressure and its tendency.
    """
    turn = (recent.times - recent.times.astype("datetime64[D]")) / np.timedelta64(1, "D") * 2.0 * np.pi
    phase = (np.cos(turn), np.sin(turn))
    air, dew, wind = (recent.departure(name) for name in (AIR, DEW, WIND))
    pressure = recent.values[PRESSURE]
    columns = [
        *phase,
        *(air, *(air * part for part in phase), *(air - _before(air, hours) for hours in _BACK_H), _day_mean(air)),
        *(dew, *(dew - _before(dew, hours) for hours in _BACK_H), _day_mean(dew)),
        *(wind, *(wind * part for part in phase), wind - _before(wind, 3), _day_mean(wind)),
        *(pressure - _STANDARD_PRESSURE_HPA, *(pressure - _before(pressure, hours) for hours in _BACK_PRESSURE_H)),
    ]
    return np.stack(columns, axis=1)


class Rule(NamedTuple):
    """What the prior leaves, as a linear rule: shapes (predictors,), (predictors,), (predictors, leads), (leads,)."""

    centre: FloatArray
    scale: FloatArray
    weights: FloatArray
    offset: FloatArray

    def at(self, predictors: FloatArray) -> FloatArray:
        """Return what is added to the prior, shape (rows, leads)."""
        return _standard(predictors, self.centre, self.scale) @ self.weights + self.offset


def prior(recent: Recent, name: str, rows: npt.NDArray[np.int64], leads: int) -> FloatArray:
    """Return what is usual with the departure of each row fading from it, shape (rows, leads + 1)."""
    fading = np.exp(-np.arange(leads + 1) / FADES_H[name])
    return recent.usual_ahead(name, rows, leads) + recent.departure(name)[rows, None] * fading


def fitted(recent: Recent, name: str, predictors: FloatArray, last: int, leads: int) -> Rule | None:
    """Fit the rule for a variable on what was read up to the row `last`; None where no row has all of its outcome."""
    rows = np.arange(max(0, last - 24 * FITTED_DAYS), last - leads + 1)
    if rows.size == 0:
        return None
    outcome = np.lib.stride_tricks.sliding_window_view(recent.values[name], leads + 1)[rows]
    left = outcome - prior(recent, name, rows, leads)
    whole = np.isfinite(left).all(axis=1)
    rows, left = rows[whole], left[whole]
    if rows.size == 0:
        return None
    known = np.isfinite(predictors[rows])
    count = np.maximum(known.sum(axis=0), 1)
    centre = np.where(known, predictors[rows], 0.0).sum(axis=0) / count
    scale = np.sqrt((np.where(known, predictors[rows] - centre, 0.0) ** 2).sum(axis=0) / count)
    z = _standard(predictors[rows], centre, scale)
    mean = left.mean(axis=0)
    # Sums this small are sooner done by one thread than handed to several, which is what @ does.
    normal = np.einsum("ri,rj->ij", z, z) + _PENALTY * np.eye(z.shape[1])
    weights = np.linalg.solve(normal, np.einsum("ri,rl->il", z, left - mean))
    return Rule(centre, scale, weights, mean * rows.size / (rows.size + _OFFSET_ROWS))


def _standard(predictors: FloatArray, centre: FloatArray, scale: FloatArray) -> FloatArray:
    """Return predictors in standard deviations from their mean; one that is not known, or never moves, says nothing."""
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.clip((predictors - centre) / scale, -_FARTHEST, _FARTHEST)
    return np.where(np.isfinite(z) & (scale > 0.0), z, 0.0)


def _before(series: FloatArray, hours: int) -> FloatArray:
    return np.concatenate([np.full(hours, np.nan), series[:-hours]])


def _day_mean(series: FloatArray) -> FloatArray:
    """Return the mean of the last 24 hours, of what of them is known."""
    known = np.isfinite(series)
    sums = np.concatenate([np.zeros(1), np.cumsum(np.where(known, series, 0.0))])
    counts = np.concatenate([np.zeros(1), np.cumsum(known)])
    first = np.maximum(np.arange(1, series.size + 1) - 24, 0)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((sums[1:] - sums[first]) / (counts[1:] - counts[first]))
