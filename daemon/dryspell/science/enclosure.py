"""The air in a tent, a shed or another enclosure, from the air outdoors.

Its temperature follows the outdoor air with a lag, as everything that it holds and is made of has to be warmed first:
dT/dt = (To + heat + k S - T) / lag. That delays the course of a day and flattens it, by 1 / sqrt(1 + (w lag)^2). Its
vapour comes in and goes out with the air that is changed, de/dt = n (eo - e), and what is more than saturation falls
out as water. So warm damp air makes cold things sweat: the vapour comes in within an hour or so, the warmth of the
things takes longer. Warming the air takes no vapour out of it and adds none: a heater with an open flame is another
thing.

The sun S that falls on roof and walls, to the square metre of floor, warms it by k S in the end: what is taken up
inside over what goes out again, k = a / (U A + 0.33 n h), with a the share of S that becomes heat inside, U the
conductance and A the area of roof and walls to the square metre of floor, n the changes of air in an hour and h the
height of the room. A small tent of clear film has a = 0.6, U = 6 W/m2K (greenhouse film; from memory), A = 4.3, n = 1
and h = 2 m: 0.023.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.science.air import dew_point, saturation_vapour_pressure
from dryspell.science.bounds import FloatArray, within
from dryspell.science.recurrence import affine_scan, capped_scan

TimeArray = npt.NDArray[np.datetime64]


@dataclass(frozen=True, kw_only=True)
class Enclosure:
    """An enclosure as the figures of its air.

    Attributes
    ----------
    lag_h
        Time in which its air comes 63 % of the way to a new outdoor temperature; 0 for at once. [h]
    air_changes_per_h
        How often in an hour its air is replaced by outdoor air; infinite for at once. [h-1]
    heat_k
        How much warmer than the outdoor air a heater without flame keeps it. [K]
    sun_k_m2_w
        How much the sun warms it for each watt on roof and walls to the square metre of floor. [K W-1 m2]

    Raises
    ------
    ValueError
        For a value out of its range; the text names the field.
    """

    lag_h: float
    air_changes_per_h: float
    heat_k: float = 0.0
    sun_k_m2_w: float = 0.0

    def __post_init__(self) -> None:
        ranges = {
            "lag_h": (0.0, 500.0),
            "air_changes_per_h": (0.001, np.inf),
            "heat_k": (0.0, 60.0),
            "sun_k_m2_w": (0.0, 0.1),
        }
        for name, (low, high) in ranges.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is out of range: {value:g} is not within {low:g} to {high:g}")


def air_inside(
    times_utc: TimeArray,
    outdoor_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    enclosure: Enclosure,
    *,
    sun_w_m2: npt.ArrayLike = 0.0,
) -> tuple[FloatArray, FloatArray]:
    """Return temperature and dew point of the air in an enclosure [degC].

    Parameters
    ----------
    times_utc
        Instants, strictly ascending, shape (times,).
    outdoor_c, dew_point_c
        Of the outdoor air at the instants, straight between them; (times,) or (members, times). [degC]
    enclosure
        The enclosure.
    sun_w_m2
        On its roof and walls, to the square metre of floor, at the instants, straight between them; the same shape or a
        single figure. [W m-2]

    Returns
    -------
    tuple
        NaN where a value of the weather outdoors is. At the first instant and after each gap the enclosure is taken to
        have settled to the weather of that instant.

    Raises
    ------
    ValueError
        For a value out of physical range, or times that do not ascend.
    """
    outdoor = within("outdoor_c", outdoor_c, -90.0, 80.0, "degC")
    dew = within("dew_point_c", dew_point_c, -100.0, 80.0, "degC")
    sun = within("sun_w_m2", sun_w_m2, -20.0, 5000.0, "W/m2")
    outdoor, dew, sun, _ = np.broadcast_arrays(outdoor, dew, sun, np.empty(np.shape(times_utc)))
    step_h = np.diff(np.asarray(times_utc)) / np.timedelta64(3600, "s")
    if not np.all(step_h > 0.0):
        raise ValueError("times_utc needs to ascend strictly")
    unknown = np.isnan(outdoor + dew + sun)
    anew = unknown.copy()
    anew[..., 0] = True
    anew[..., 1:] |= unknown[..., :-1]

    target_c = np.where(unknown, 0.0, outdoor + enclosure.heat_k + enclosure.sun_k_m2_w * sun)
    keep, term = followed(step_h, target_c, 1.0 / enclosure.lag_h if enclosure.lag_h else np.inf, anew)
    air = affine_scan(keep, term, 0.0)
    most = saturation_vapour_pressure(air)
    outdoor_hpa = saturation_vapour_pressure(np.where(unknown, 0.0, dew))
    keep, term = followed(step_h, outdoor_hpa, enclosure.air_changes_per_h, anew)
    vapour = capped_scan(keep, term, most, 0.0)
    inside_dew = np.minimum(dew_point(air, 100.0 * vapour / most), air)
    return np.where(unknown, np.nan, air), np.where(unknown, np.nan, inside_dew)


def followed(
    step_h: FloatArray, target: FloatArray, rate_per_h: float, anew: npt.NDArray[np.bool_]
) -> tuple[FloatArray, FloatArray]:
    """Return a and b of x1 = a x0 + b, for dx/dt = rate (E - x) with E straight between the targets.

    Where it begins `anew` x is the target of that instant.
    """
    factor, mean = np.zeros_like(step_h), np.zeros_like(step_h)
    if np.isfinite(rate_per_h):
        passed = step_h * rate_per_h
        factor = np.exp(-passed)
        mean = -np.expm1(-passed) / passed
    term = target.copy()
    term[..., 1:] = target[..., :-1] * (mean - factor) + target[..., 1:] * (1.0 - mean)
    keep = np.concatenate([[0.0], factor])
    return np.where(anew, 0.0, keep), np.where(anew, target, term)
