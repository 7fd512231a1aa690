"""Finds how the air in an enclosure follows the air outdoors, from what was read in it.

One rate at a time: for the temperature one over the lag, for the vapour the changes of air. For a rate all the rest is
linear and solved for: what the inside is warmer or damper by throughout, what the sun warms it by, and how it stood at
the beginning of each run of weather without a gap. Of a row of rates the one with the least squares is taken, then of
a closer row around it.

The errors are one standard error, by the slope of the residuals in the rate's logarithm, with each reading counting for
less than one as far as the residuals go on from one to the next (as in `dryspell.science.fit`).
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dryspell.science.air import saturation_vapour_pressure
from dryspell.science.bounds import FloatArray, within
from dryspell.science.enclosure import Enclosure, TimeArray, air_inside, followed
from dryspell.science.fit import Refusal, Refused, Score
from dryspell.science.recurrence import affine_scan

BoolArray = npt.NDArray[np.bool_]

LAGS_H, CHANGES_PER_H = (0.05, 100.0), (0.02, 30.0)
"""Within these a figure is looked for."""

_SHORTEST_H, _FEWEST = 72.0, 72
_RUN_H, _GAP_H = 24.0, 3.0  # weather without a gap at least this long, and a gap at most this long is bridged
_LEAST_CHANGE_K = 1.0  # standard deviation outdoors: with less there is nothing to follow
_FOLLOWS = 0.5  # of the variance inside has to be explained
_WIDEST_ERROR, _SMALL_LAG_H = 0.3, 0.25  # of the figure; a lag is small enough to be known when it is off by less
_DAMP_PCT = 97.0  # so damp inside that vapour may be falling out: the changes of air are not told then
_ROUNDS, _TRIALS = 4, 13


@dataclass(frozen=True)
class EnclosureFit:
    """What was found.

    Attributes
    ----------
    enclosure
        With the figures found; the rest as it was thought to be.
    errors
        Standard errors by the name of the figure; NaN for one that the readings do not tell: it is as it was thought to
        be, or at the edge of its range.
    warmer_k
        How much warmer it was inside throughout than its figures say, and so is not part of them. [K]
    air, dew_point
        How far off the outdoor air and the enclosure's computed air are from what was read: before, after.
    """

    enclosure: Enclosure
    errors: Mapping[str, float]
    warmer_k: float
    air: tuple[Score, Score]
    dew_point: tuple[Score, Score]


def fit_enclosure(
    times_utc: TimeArray,
    outdoor_c: npt.ArrayLike,
    outdoor_dew_c: npt.ArrayLike,
    inside_c: npt.ArrayLike,
    inside_dew_c: npt.ArrayLike,
    enclosure: Enclosure,
    *,
    sun_w_m2: npt.ArrayLike | None = None,
) -> EnclosureFit | Refused:
    """Find lag and changes of air of an enclosure from what was read in it, or say why the readings do not tell.

    Parameters
    ----------
    times_utc
        Instants, strictly ascending, shape (times,).
    outdoor_c, outdoor_dew_c, inside_c, inside_dew_c
        At the instants, shape (times,), NaN where not known; a single figure for all of them is allowed. [degC]
    enclosure
        As it is thought to be. Its heater counts as given; the other figures are kept where they are not found.
    sun_w_m2
        On roof and walls, as for `air_inside`; with it, what the sun warms the air by is found as well. [W m-2]

    Returns
    -------
    EnclosureFit or Refused
        Refused for less than three days of temperatures with weather, where it hardly changes outdoors, where the
        inside does not follow it, or where the lag is not told within a third. Where the vapour does not tell the
        changes of air, these alone are not found.

    Raises
    ------
    ValueError
        For a value out of physical range, or times that do not ascend.
    """
    times = np.asarray(times_utc)
    given = {"outdoor_c": outdoor_c, "outdoor_dew_c": outdoor_dew_c}
    given |= {"inside_c": inside_c, "inside_dew_c": inside_dew_c}
    outdoor, dew, inside, inside_dew = (
        np.broadcast_to(within(name, values, -90.0, 80.0, "degC"), times.shape) for name, values in given.items()
    )
    sun = np.broadcast_to(np.asarray(0.0 if sun_w_m2 is None else sun_w_m2, dtype=np.float64), times.shape)
    hours = (times - times[0]) / np.timedelta64(3600, "s")
    if not np.all(np.diff(hours) > 0.0):
        raise ValueError("times_utc needs to ascend strictly")
    outdoor, dew, sun = (_bridged(hours, values) for values in (outdoor, dew, sun))

    warmth = _Course(hours, outdoor + enclosure.heat_k, inside, extra=None if sun_w_m2 is None else sun)
    refused = _too_little(warmth)
    if refused is not None:
        return refused
    found = _found(warmth, (1.0 / LAGS_H[1], 1.0 / LAGS_H[0]))
    lag_h = 1.0 / found.rate
    at_once = lag_h <= LAGS_H[0] * 1.001
    if found.unexplained > _FOLLOWS or lag_h >= LAGS_H[1] / 1.001:
        return Refused(Refusal.NOT_DETERMINED, "the air inside does not follow the air outdoors")
    if not at_once and found.error > _WIDEST_ERROR and found.error * lag_h > _SMALL_LAG_H:
        return Refused(
            Refusal.NOT_DETERMINED,
            f"the lag is uncertain by {found.error:.0%} of itself; wanted {_WIDEST_ERROR:.0%} at most",
        )
    result = replace(enclosure, lag_h=0.0 if at_once else lag_h)
    errors = {"lag_h": np.nan if at_once else found.error * lag_h}
    if sun_w_m2 is not None:
        result = replace(result, sun_k_m2_w=float(np.clip(found.extra, 0.0, 0.1)))
        errors["sun_k_m2_w"] = found.extra_error if 0.0 < found.extra < 0.1 else np.nan
    changes, errors["air_changes_per_h"] = _changes_of_air(hours, dew, inside, inside_dew)
    if changes is not None:
        result = replace(result, air_changes_per_h=changes)
    air, inside_then = air_inside(times, outdoor, dew, result, sun_w_m2=0.0 if sun_w_m2 is None else sun)
    return EnclosureFit(
        enclosure=result,
        errors=errors,
        warmer_k=found.more,
        air=(_score(outdoor - inside), _score(air - inside)),
        dew_point=(_score(dew - inside_dew), _score(inside_then - inside_dew)),
    )


@dataclass(frozen=True)
class _Found:
    """A rate, its error over itself, what else was solved for, and what share of the variance is left."""

    rate: float
    error: float
    more: float
    extra: float
    extra_error: float
    unexplained: float


class _Course:
    """What follows what, as least squares for any one rate."""

    def __init__(self, hours: FloatArray, target: FloatArray, read: FloatArray, extra: FloatArray | None) -> None:
        known = np.isfinite(target) & (True if extra is None else np.isfinite(extra))
        self.anew = ~known
        self.anew[0] = True
        self.anew[1:] |= ~known[:-1]
        run = np.cumsum(self.anew) - 1
        begins = hours[self.anew]
        lasts_h = np.zeros(begins.size)
        np.maximum.at(lasts_h, run, hours - begins[run])
        self.step_h = np.diff(hours)
        self.used = known & np.isfinite(read) & (lasts_h[run] >= _RUN_H)
        self.hours, self.since_h = hours[self.used], (hours - begins[run])[self.used]
        self.runs = np.unique(run[self.used])[:, np.newaxis] == run[self.used]
        self.target, self.read = np.where(known, target, 0.0), read[self.used]
        self.extra = None if extra is None else np.where(known, extra, 0.0)

    def follow(self, target: FloatArray, rate: float) -> FloatArray:
        keep, term = followed(self.step_h, target, rate, self.anew)
        course: FloatArray = affine_scan(keep, term, 0.0)[self.used]
        return course

    def columns(self, rate: float) -> FloatArray:
        """Return what may be more or less of it, shape (columns, readings)."""
        parts = [np.ones((1, self.read.size)), self.runs * np.exp(-self.since_h * rate)]
        if self.extra is not None:
            parts.insert(1, self.follow(self.extra, rate)[np.newaxis])
        return np.concatenate(parts)

    def solved(self, rate: float) -> tuple[FloatArray, FloatArray]:
        """Return the residuals, and how much of each column there is."""
        columns, left = self.columns(rate), self.read - self.follow(self.target, rate)
        shares = np.linalg.lstsq(columns.T, left)[0]
        return left - shares @ columns, shares


def _found(course: _Course, rates: tuple[float, float]) -> _Found:
    """Return the rate of the least squares."""
    low, high = np.log(rates)
    for _ in range(_ROUNDS):
        trials = np.linspace(low, high, _TRIALS)
        squares = [float(np.sum(course.solved(float(np.exp(trial)))[0] ** 2)) for trial in trials]
        best, apart = trials[int(np.argmin(squares))], trials[1] - trials[0]
        low, high = max(best - apart, np.log(rates[0])), min(best + apart, np.log(rates[1]))
    rate, nudge = float(np.exp(best)), 1e-3
    residuals, shares = course.solved(rate)
    # The slope as all else keeps its share: the columns take up theirs in the normal matrix.
    columns = course.columns(rate)
    moved = course.follow(course.target, rate * np.exp(nudge)) + shares @ course.columns(rate * np.exp(nudge))
    slope = (moved - course.follow(course.target, rate) - shares @ columns) / nudge
    everything = np.concatenate([slope[np.newaxis], columns])
    size = np.maximum(np.sqrt(np.sum(everything**2, axis=1)), 1e-12)
    inverse = np.linalg.pinv((everything / size[:, np.newaxis]) @ (everything / size[:, np.newaxis]).T)
    total = float(residuals @ residuals)
    correlation = float(np.clip(residuals[1:] @ residuals[:-1] / max(total, 1e-300), 0.0, 0.99))
    variance = total / max(residuals.size - size.size, 1) * (1.0 + correlation) / (1.0 - correlation)
    errors = np.sqrt(np.maximum(variance * np.diag(inverse), 0.0)) / size
    has_extra = course.extra is not None
    return _Found(
        rate=rate,
        error=float(errors[0]),
        more=float(shares[0]),
        extra=float(shares[1]) if has_extra else 0.0,
        extra_error=float(errors[2]) if has_extra else np.nan,
        unexplained=float(np.var(residuals) / max(float(np.var(course.read)), 1e-12)),
    )


def _too_little(course: _Course) -> Refused | None:
    """Return why the readings are too little, None where they are not."""
    count = course.read.size
    lasting_h = float(course.hours[-1] - course.hours[0]) if count else 0.0
    if lasting_h < _SHORTEST_H or count < _FEWEST:
        return Refused(
            Refusal.TOO_SHORT,
            f"{count} readings with known weather over {lasting_h:.0f} h; wanted {_FEWEST} over {_SHORTEST_H:.0f} h",
        )
    change = float(np.std(course.target[course.used]))
    if change < _LEAST_CHANGE_K:
        return Refused(
            Refusal.NOT_DETERMINED,
            f"outdoors it changed by {change:.1f} K (standard deviation); wanted {_LEAST_CHANGE_K:g} to tell a lag",
        )
    return None


def _changes_of_air(
    hours: FloatArray, dew_c: FloatArray, inside_c: FloatArray, inside_dew_c: FloatArray
) -> tuple[float | None, float]:
    """Return the changes of air in an hour and their standard error; None and NaN where they are not told."""
    with np.errstate(invalid="ignore"):
        vapour = saturation_vapour_pressure(inside_dew_c)
        damp = vapour > _DAMP_PCT / 100.0 * saturation_vapour_pressure(inside_c)
    course = _Course(hours, saturation_vapour_pressure(dew_c), np.where(damp, np.nan, vapour), extra=None)
    if course.read.size < _FEWEST or course.hours[-1] - course.hours[0] < _SHORTEST_H:
        return None, np.nan
    found = _found(course, CHANGES_PER_H)
    if found.rate >= CHANGES_PER_H[1] / 1.001:
        return np.inf, np.nan
    if found.unexplained > _FOLLOWS or found.error > _WIDEST_ERROR or found.rate <= CHANGES_PER_H[0] * 1.001:
        return None, np.nan
    return found.rate, found.error * found.rate


def _bridged(hours: FloatArray, values: FloatArray) -> FloatArray:
    """Return the values with short gaps filled in, straight from side to side."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    at = np.flatnonzero(known)
    after = np.searchsorted(at, np.arange(values.size))
    low, high = at[np.maximum(after - 1, 0)], at[np.minimum(after, at.size - 1)]
    short = (hours[high] - hours[low] <= _GAP_H) & (after > 0) & (after < at.size)
    return np.where(~known & short, np.interp(hours, hours[known], values[known]), values)


def _score(error_k: FloatArray) -> Score:
    known = error_k[np.isfinite(error_k)]
    if known.size == 0:
        return Score(np.nan, np.nan, 0)
    return Score(float(np.sqrt(np.mean(known**2))), float(np.mean(known)), known.size)
