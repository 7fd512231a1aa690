"""The moisture that wood comes to in still air, and about how long it takes to dry."""

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within

# Days for each per cent over the limit, of stock of 20 to 30 mm under a roof in moving air: the least and the most.
_DRYING_C = (10.0, 18.0, 25.0)
_LEAST_DAYS, _MOST_DAYS = (2.0, 1.0, 1.0), (4.0, 2.0, 1.0)
_HALVING_K = 8.0  # the step from 18 to 10 degC
_FULL_SPEED_PCT = 4.0  # this far above what it comes to in the end, wood dries at that speed; nearer, in proportion


def equilibrium_moisture_pct(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return the moisture content that wood comes to if it stays in air of that state [% of the dry mass].

    Sorption model of Hailwood and Horrobin with the coefficients of the Wood Handbook [1]_ in their metric form [2]_,
    for wood of any species. Thick wood follows the air by weeks (common practice, no source).

    Parameters
    ----------
    t_c
        Air temperature; below 0 degC the fit is carried on. [degC]
    rh_pct
        Relative humidity, broadcast against it. Above 100 up to 105 % it counts as 100 %. [%]

    Raises
    ------
    ValueError
        For a temperature outside -40 to 100 degC or a humidity outside 0 to 105 %.

    References
    ----------
    .. [1] USDA Forest Products Laboratory, Wood Handbook, chapter 4, equation for the equilibrium moisture content.
    .. [2] W. T. Simpson, Equilibrium moisture content of wood in outdoor locations in the United States and worldwide,
       USDA FPL-RN-0268 (1998).
    """
    t = within("t_c", t_c, -40.0, 100.0, "degC")
    h = np.minimum(within("rh_pct", rh_pct, 0.0, 105.0, "%"), 100.0) / 100.0
    w = 349.0 + t * (1.29 + t * 0.0135)
    k = 0.805 + t * (0.000736 - t * 0.00000273)
    k1 = 6.27 - t * (0.00938 + t * 0.000303)
    k2 = 1.91 + t * (0.0407 - t * 0.000293)
    dissolved = k * h / (1.0 - k * h)
    hydrated = (k1 * k * h + 2.0 * k1 * k2 * (k * h) ** 2) / (1.0 + k1 * k * h + k1 * k2 * (k * h) ** 2)
    return 1800.0 / w * (dissolved + hydrated)


def days_to_dry(
    moisture_pct: npt.ArrayLike, target_pct: npt.ArrayLike, t_c: npt.ArrayLike, rh_pct: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return about the least and the most days that bare wood takes to dry to a moisture content [d]. Rough.

    Of stock 20 to 30 mm thick, under a roof, with air moving past it: 2 to 4 days for each per cent at 10 degC, 1 to 2
    at 18 degC, 1 at 25 degC and above, the logarithm even between (common practice, no source). The nearer the wood is
    to what it comes to in that air, the slower: from 4 % above it on in proportion (our own choice, no source). The
    meter decides, not this.

    Parameters
    ----------
    moisture_pct, target_pct
        Where it is and where it is to be, broadcast against each other. [% of the dry mass]
    t_c, rh_pct
        The air it will stand in, as a mean. Under 10 degC the last factor is carried on. [degC], [%]

    Returns
    -------
    least, most
        0 where it is dry enough already; inf where the air is too damp for it ever to get there.

    Raises
    ------
    ValueError
        For moisture outside 0 to 200 % or a target outside 1 to 60 %, or air outside the bounds of
        `equilibrium_moisture_pct`.
    """
    wet = within("moisture_pct", moisture_pct, 0.0, 200.0, "%")
    target = within("target_pct", target_pct, 1.0, 60.0, "%")
    end = equilibrium_moisture_pct(t_c, rh_pct)
    wet, target, end = np.broadcast_arrays(wet, target, end)
    near = end + _FULL_SPEED_PCT
    full_speed = np.maximum(wet - np.maximum(target, near), 0.0)
    with np.errstate(divide="ignore", invalid="ignore"):
        slowing = _FULL_SPEED_PCT * np.log((np.minimum(wet, near) - end) / (target - end))
    per_cents = full_speed + np.where(target < near, slowing, 0.0)
    per_cents = np.where(target <= end, np.inf, per_cents)
    per_cents = np.where(wet <= target, 0.0, np.where(np.isnan(wet + target + end), np.nan, per_cents))
    return per_cents * _days_each(t_c, _LEAST_DAYS), per_cents * _days_each(t_c, _MOST_DAYS)


def _days_each(t_c: npt.ArrayLike, days: tuple[float, float, float]) -> FloatArray:
    """Return the days for each per cent at a temperature; below the coldest of the table twice for each 8 K."""
    t = np.asarray(t_c, dtype=np.float64)
    colder_k = np.maximum(_DRYING_C[0] - t, 0.0)
    return np.exp(np.interp(t, _DRYING_C, np.log(days))) * 2.0 ** (colder_k / _HALVING_K)
