"""The temperature of an exposed face through time, with the dew and rain that lie on it.

`dryspell.science.balance` says what a face takes up and gives off, `dryspell.science.course` follows it through time.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from dryspell.science.balance import (
    STANDARD_PRESSURE_HPA,
    HeatBalance,
    energy_residual,
    fitting,
    heat_balance,
    steady_temperature,
)
from dryspell.science.bounds import FloatArray, within
from dryspell.science.course import Anew, Body, Course, settle
from dryspell.science.face import Exposure, Faces, OneOrMore
from dryspell.science.longwave import sky_longwave

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


@dataclass(frozen=True)
class SurfaceState:
    """A face through time, in the shape of its weather; the last axis is time. Several: (pieces, members, times).

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
    exposure: OneOrMore,
    *,
    rain_mm: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
    start_water_mm: npt.ArrayLike = 0.0,
) -> FloatArray:
    """Return the temperature of exposed faces at each instant [degC]; everything else is as in `solve`."""
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
    exposure: OneOrMore,
    *,
    rain_mm: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
    start_water_mm: npt.ArrayLike = 0.0,
) -> SurfaceState:
    """Work out temperature and water of an exposed face at each instant, or of several faces at once.

    Parameters
    ----------
    times_utc
        Instants, strictly ascending, any steps, shape (times,).
    air_c, dew_point_c, wind_10m_m_s, plane_w_m2, sky_w_m2, pressure_hpa
        The weather at the instants as in `dryspell.science.balance.heat_balance`: shape (members, times), (times,) or a
        single figure; for several faces also (pieces, members, times), with 1 in place of what is the same for all.
    exposure
        The face, or several. Then the outcome has the shape (pieces, members, times), also for one member; each piece
        is the same as if it were worked out alone.
    rain_mm
        Rain on the face in the step that ends at the instant; left out, none. Its first value is not used. [mm]
    start_water_mm
        Water on the face at the first instant, shape (members,) or a single figure; for several faces also
        (pieces, members). [mm]

    Returns
    -------
    SurfaceState
        NaN where a value of the weather is. The trajectory starts from the steady temperature of its first instant, and
        anew so after each gap; the water is then not known and taken as what the step before brought in rain, else 0.

    Raises
    ------
    ValueError
        For times that do not ascend, a value out of physical range or one whose shape does not fit; the text names the
        argument.
    """
    seconds, faces = _elapsed(times_utc), Faces.of(exposure)
    start = within("start_water_mm", start_water_mm, 0.0, 1000.0, "mm")[..., None]
    rain = within("rain_mm", 0.0 if rain_mm is None else rain_mm, 0.0, 1000.0, "mm")
    shape = fitting(
        np.broadcast_shapes(faces.shape, seconds.shape),
        air_c=air_c,
        dew_point_c=dew_point_c,
        wind_10m_m_s=wind_10m_m_s,
        plane_w_m2=plane_w_m2,
        sky_w_m2=sky_w_m2,
        pressure_hpa=pressure_hpa,
        rain_mm=rain,
        start_water_mm=start,
    )
    if shape[-1] != seconds.size:
        raise ValueError(f"times_utc has one instant, where the weather has {shape[-1]}")
    back_c = None
    if "mean_air" in faces.back:
        back_c = faces.behind(np.asarray(air_c, dtype=np.float64), trailing_day_mean(times_utc, air_c))
    balance = heat_balance(
        air_c, dew_point_c, wind_10m_m_s, plane_w_m2, sky_w_m2, faces, back_c=back_c, pressure_hpa=pressure_hpa
    )

    def rows(column: npt.NDArray[Any]) -> npt.NDArray[Any]:
        """Return a column as (rows, times), with 1 in place of either where it is the same for all."""
        if column.ndim < 2:
            return column.reshape(1, -1)
        return np.broadcast_to(column, (*shape[:-1], column.shape[-1])).reshape(-1, column.shape[-1])

    balance = balance.each(rows)
    start_mm = np.broadcast_to(np.minimum(start, faces.wet_absorbs_mm), (*shape[:-1], 1)).reshape(-1)
    body = Body(rows(faces.heat_capacity_j_m2_k), rows(faces.wet_absorbs_mm), rows(faces.evaporating_share))
    unknown = np.isnan(balance.gain_w_m2 + balance.vapour_w_m2_hpa + balance.vapour_hpa)
    rained = None if rain_mm is None else rows(np.broadcast_to(rain, (*rain.shape[:-1], seconds.size)))[:, 1:]
    if rained is not None:
        unknown = unknown | np.pad(np.isnan(rained), ((0, 0), (1, 0)))
    course = Course(balance, body, np.diff(seconds), rained, start_mm, start_mm)
    if unknown.any():
        course = _with_gaps(course, np.broadcast_to(unknown, (start_mm.size, shape[-1])))
    wet_share = np.where(course.start_mm > 0.0, 1.0, body.evaporating_share[:, 0])
    first = course.balance.each(lambda column: column[:, 0])
    temperature, water = settle(replace(course, start_c=first.settled(wet_share)))
    if unknown.any():
        temperature, water = np.where(unknown, np.nan, temperature), np.where(unknown, np.nan, water)
    return SurfaceState(temperature.reshape(shape), water.reshape(shape))


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


def _with_gaps(course: Course, unknown: BoolArray) -> Course:
    """Return the course with harmless figures in its gaps, and with what is found where it begins anew.

    That is in a gap, whose outcome is of no account, and at the instant after it.
    """
    balance, body = course.balance, course.body
    whole = HeatBalance(
        air_c=np.where(unknown, 0.0, balance.air_c),
        gain_w_m2=np.where(unknown, 300.0, balance.gain_w_m2),
        loss_w_m2_k=np.where(unknown, 5.0, balance.loss_w_m2_k),
        vapour_w_m2_hpa=np.where(unknown, 0.0, balance.vapour_w_m2_hpa),
        vapour_hpa=np.where(unknown, 1.0, balance.vapour_hpa),
        emissivity=balance.emissivity,
    )
    anew = unknown.copy()
    anew[:, 1:] |= unknown[:, :-1]
    found_mm, rained = np.zeros(unknown.shape), course.rained_mm
    if rained is not None:
        rained = np.where(unknown[:, 1:], 0.0, rained)
        found_mm[:, 1:] = np.where(anew[:, 1:], np.minimum(rained, body.wet_absorbs_mm), 0.0)
    found_c = whole.settled(np.where(found_mm > 0.0, 1.0, body.evaporating_share))
    return replace(
        course,
        balance=whole,
        rained_mm=rained,
        start_mm=np.where(unknown[:, 0], 0.0, course.start_mm),
        anew=Anew(anew, found_c, found_mm),
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
