"""The temperature of an exposed face through time, with the dew and rain that lie on it.

The balance of `dryspell.science.balance` is an ordinary differential equation in the temperature. It is solved for all
instants at once. About a trial trajectory the balance is made linear, C dT/dt = g (E - T), with a conductance g and an
equilibrium E at every instant; in each step that is solved exactly, for E running straight and g at its mean; the steps
are chained by a scan, and the outcome is the next trial. This is Newton's method on the whole trajectory: a dry one is
settled after four or five sweeps, one with films that come and go after ten to twenty. There is no loop over time.

The water on the face is the clamped sum of what condenses, falls and evaporates. In a step the face gives off no more
water than it holds and gets: the share of it that counts as wet in the step is held over potential evaporation, 1 at
most. So the share goes from 1 to 0 without a jump as a film runs out, heat and water always agree, the film ends at an
instant, and the sweeps do not flip between wet and dry. (Real films break into drops and wet less of the face before
they are gone, and rain brings its own temperature; both are left out.)
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.science.balance import (
    LATENT_HEAT_J_KG,
    STANDARD_PRESSURE_HPA,
    HeatBalance,
    energy_residual,
    heat_balance,
    steady_temperature,
)
from dryspell.science.bounds import FloatArray, within
from dryspell.science.face import Exposure
from dryspell.science.longwave import sky_longwave
from dryspell.science.recurrence import affine_scan, clamp_scan

__all__ = [
    "Exposure",
    "SurfaceState",
    "energy_residual",
    "sky_longwave",
    "solve",
    "steady_temperature",
    "surface_temperature",
    "trailing_day_mean",
]

TimeArray = npt.NDArray[np.datetime64]
BoolArray = npt.NDArray[np.bool_]

_DAY_S = 86400.0
_SETTLED_K = 1e-6
_MOST_SWEEPS = 24


@dataclass(frozen=True)
class SurfaceState:
    """A face through time, in the shape of its weather; the last axis is time.

    Attributes
    ----------
    temperature_c
        Of the face. [degC]
    water_mm
        Dew and rain lying on it. [mm, or kg m-2]
    """

    temperature_c: FloatArray
    water_mm: FloatArray


def surface_temperature(
    times_utc: TimeArray,
    air_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    wind_10m_m_s: npt.ArrayLike,
    plane_w_m2: npt.ArrayLike,
    sky_w_m2: npt.ArrayLike,
    exposure: Exposure,
    *,
    rain_mm: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
    start_water_mm: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Return the temperature of an exposed face at each instant [degC]; everything else is as in `solve`."""
    return solve(
        times_utc,
        air_c,
        dew_point_c,
        wind_10m_m_s,
        plane_w_m2,
        sky_w_m2,
        exposure,
        rain_mm=rain_mm,
        pressure_hpa=pressure_hpa,
        start_water_mm=start_water_mm,
    ).temperature_c


def solve(
    times_utc: TimeArray,
    air_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    wind_10m_m_s: npt.ArrayLike,
    plane_w_m2: npt.ArrayLike,
    sky_w_m2: npt.ArrayLike,
    exposure: Exposure,
    *,
    rain_mm: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
    start_water_mm: npt.ArrayLike = 0.0,
) -> SurfaceState:
    """Work out temperature and water of an exposed face at each instant.

    Parameters
    ----------
    times_utc
        Instants, strictly ascending, any steps, shape (times,).
    air_c, dew_point_c, wind_10m_m_s, plane_w_m2, sky_w_m2, pressure_hpa
        The weather at the instants as in `dryspell.science.balance.heat_balance`: shape (members, times), (times,) or a
        single figure.
    exposure
        The face.
    rain_mm
        Rain on the face in the step that ends at the instant; left out, none. Its first value is not used. [mm]
    start_water_mm
        Water on the face at the first instant, shape (members,) or a single figure. [mm]

    Returns
    -------
    SurfaceState
        NaN where a value of the weather is. The trajectory starts from the steady temperature of its first instant, and
        anew so after each gap; the water is then not known and taken as what the step before brought in rain, else 0.

    Raises
    ------
    ValueError
        For times that do not ascend or a value out of physical range; the text names the argument.
    """
    seconds = _elapsed(times_utc)
    back_c = trailing_day_mean(times_utc, air_c) if exposure.back == "mean_air" else None
    balance = heat_balance(
        air_c, dew_point_c, wind_10m_m_s, plane_w_m2, sky_w_m2, exposure, back_c=back_c, pressure_hpa=pressure_hpa
    )
    rain = within("rain_mm", 0.0 if rain_mm is None else rain_mm, 0.0, 1000.0, "mm")
    start = np.minimum(within("start_water_mm", start_water_mm, 0.0, 1000.0, "mm"), exposure.wet_absorbs_mm)
    shape = np.broadcast_shapes(balance.gain_w_m2.shape, rain.shape, (*start.shape, 1), seconds.shape)
    unknown = np.broadcast_to(np.isnan(balance.gain_w_m2 + balance.vapour_w_m2_hpa + balance.vapour_hpa), shape).copy()
    unknown[..., 1:] |= np.isnan(np.broadcast_to(rain, shape)[..., 1:])
    anew = unknown.copy()
    anew[..., 0] = True
    anew[..., 1:] |= unknown[..., :-1]

    rained = np.where(unknown, 0.0, rain)
    found = np.where(anew, np.minimum(rained, exposure.wet_absorbs_mm), 0.0)
    found[..., 0] = np.where(unknown[..., 0], 0.0, start)
    whole = _without_gaps(balance, unknown)
    temperature, water = _settle(
        _Course(
            balance=whole,
            exposure=exposure,
            step_s=np.diff(seconds),
            rained_mm=rained[..., 1:],
            anew=anew,
            found_c=whole.settled(np.where(found > 0.0, 1.0, exposure.evaporating_share)),
            found_mm=found,
        )
    )
    return SurfaceState(np.where(unknown, np.nan, temperature), np.where(unknown, np.nan, water))


def trailing_day_mean(times_utc: TimeArray, air_c: npt.ArrayLike) -> FloatArray:
    """Return the mean of the air temperature over the 24 hours before each instant, as far as it is known [degC].

    Parameters
    ----------
    times_utc
        Instants, strictly ascending, shape (times,).
    air_c
        Air temperature at the instants, straight between them; shape (..., times) or a single figure. Steps with a gap
        at an end do not count; where nothing is known of the 24 hours, the temperature of the instant itself is
        returned. [degC]

    Raises
    ------
    ValueError
        For times that do not ascend.
    """
    seconds = _elapsed(times_utc)
    air = np.asarray(air_c, dtype=np.float64)
    air = np.broadcast_to(air, np.broadcast_shapes(air.shape, seconds.shape))
    if seconds.size == 1:
        return air.copy()
    means = (air[..., :-1] + air[..., 1:]) / 2.0
    known_s = np.where(np.isnan(means), 0.0, np.diff(seconds))
    a_day_ago = np.maximum(seconds - _DAY_S, 0.0)
    step = np.clip(np.searchsorted(seconds, a_day_ago, side="right") - 1, 0, seconds.size - 2)
    into_step = (a_day_ago - seconds[step]) / np.diff(seconds)[step]

    def over_day(amounts: FloatArray) -> FloatArray:
        run = np.concatenate([np.zeros((*air.shape[:-1], 1)), np.cumsum(amounts, axis=-1)], axis=-1)
        return run - (run[..., step] + amounts[..., step] * into_step)

    span_s = over_day(known_s)
    known = ~np.isnan(air) & (span_s > 1.0)
    total = over_day(np.where(known_s > 0.0, means * known_s, 0.0))
    return np.where(known, total / np.where(known, span_s, 1.0), air)


@dataclass(frozen=True)
class _Course:
    """What stays the same from sweep to sweep, without gaps in it.

    `anew` is where an instant does not follow from the one before: the first, those in a gap, whose outcome is of no
    account, and the one after it. There temperature and water are `found_c` and `found_mm`.
    """

    balance: HeatBalance
    exposure: Exposure
    step_s: FloatArray
    rained_mm: FloatArray
    anew: BoolArray
    found_c: FloatArray
    found_mm: FloatArray


def _settle(course: _Course) -> tuple[FloatArray, FloatArray]:
    """Sweep until nothing changes any more; return temperature and water [degC, mm]."""
    temperature, water = course.found_c, course.found_mm
    change = np.zeros_like(temperature)
    for _ in range(_MOST_SWEEPS):
        last = change
        swept, water = _sweep(course, temperature)
        change = swept - temperature
        # Where a film is about to end, a sweep can overshoot and the next one come back: there the secant through both
        # says how far to go.
        ratio = np.divide(change, last, out=np.zeros_like(change), where=np.abs(last) > _SETTLED_K)
        temperature = temperature + change / (1.0 - np.clip(ratio, -1.5, 0.0))
        if np.max(np.abs(change)) < _SETTLED_K:
            break
    return temperature, water


def _sweep(course: _Course, trial_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the trajectory of the balance made linear about a trial trajectory, and the water of the trial."""
    dry, dry_slope = course.balance.dry(trial_c)
    latent, latent_slope = course.balance.latent(trial_c)
    evaporating = np.maximum(latent, 0.0)
    condensing = evaporating - latent

    kg_per_w = course.step_s / (2.0 * LATENT_HEAT_J_KG)
    got = (condensing[..., :-1] + condensing[..., 1:]) * kg_per_w + course.rained_mm
    could_lose = (evaporating[..., :-1] + evaporating[..., 1:]) * kg_per_w
    water = clamp_scan(
        _after_first(got - could_lose, trial_c, course.anew, 0.0),
        np.where(course.anew, course.found_mm, 0.0),
        np.where(course.anew, course.found_mm, course.exposure.wet_absorbs_mm),
        0.0,
    )
    held = water[..., :-1] + got
    film = np.divide(held, could_lose, out=np.ones_like(held), where=could_lose > held)
    share = film + (1.0 - film) * course.exposure.evaporating_share
    # What the vapour adds to g. By rights it would jump where condensing begins and where a film runs out, and the
    # sweeps would go to and fro over the jump. The cube keeps it smooth, and settled soonest of the powers tried; the
    # heat itself is not touched.
    slope_share = share**3

    ends = []
    for side in (np.s_[..., :-1], np.s_[..., 1:]):
        heat = dry[side] - share * evaporating[side] + condensing[side]
        conductance = dry_slope[side] + slope_share * latent_slope[side]
        ends.append((conductance, trial_c[side] + heat / conductance))
    (g_0, e_0), (g_1, e_1) = ends

    # T' = (E - T) g/C with E straight from E0 to E1 and y = g dt/C:
    #   T1 = T0 exp(-y) + E0 (m - exp(-y)) + E1 (1 - m),  m = (1 - exp(-y)) / y
    y = (g_0 + g_1) * (course.step_s / (2.0 * course.exposure.heat_capacity_j_m2_k))
    gone = -np.expm1(-y)
    mean = gone / y
    factor = _after_first(1.0 - gone, trial_c, course.anew, 0.0)
    term = _after_first(e_0 * (mean - 1.0 + gone) + e_1 * (1.0 - mean), trial_c, course.anew, course.found_c)
    return affine_scan(factor, term, 0.0), water


def _after_first(steps: FloatArray, like: FloatArray, anew: BoolArray, there: npt.ArrayLike) -> FloatArray:
    """Return what belongs to steps at the instants that end them, and `there` where an instant begins anew."""
    whole = np.empty_like(like)
    whole[..., 1:] = steps
    return np.where(anew, there, whole)


def _without_gaps(balance: HeatBalance, unknown: BoolArray) -> HeatBalance:
    """Return the balance in the shape of `unknown`, with harmless figures where that is true."""
    return HeatBalance(
        air_c=np.where(unknown, 0.0, balance.air_c),
        gain_w_m2=np.where(unknown, 300.0, balance.gain_w_m2),
        loss_w_m2_k=np.where(unknown, 5.0, balance.loss_w_m2_k),
        vapour_w_m2_hpa=np.where(unknown, 0.0, balance.vapour_w_m2_hpa),
        vapour_hpa=np.where(unknown, 1.0, balance.vapour_hpa),
        emissivity=balance.emissivity,
    )


def _elapsed(times_utc: TimeArray) -> FloatArray:
    """Return seconds since the first instant."""
    times = np.asarray(times_utc)
    if times.ndim != 1 or times.dtype.kind != "M" or times.size == 0:
        raise ValueError("times_utc needs a list of instants, at least one")
    seconds: FloatArray = (times - times[0]) / np.timedelta64(1, "s")
    if not np.all(np.diff(seconds) > 0.0):
        raise ValueError("times_utc needs to ascend strictly, without a gap in it")
    return seconds
