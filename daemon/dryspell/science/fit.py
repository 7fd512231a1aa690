"""Finds how a face stands in the weather from the temperatures that a probe on it has read.

Least squares over a few figures of an `Exposure`, each within bounds: Levenberg's and Marquardt's damped steps, with
slopes from small changes of one figure at a time. What the readings cannot tell is refused by name, and not guessed.

The errors are one standard error. Readings minutes apart are wrong together, so that each counts for less than one: the
residuals' correlation from one to the next says for how much (a first-order process; from memory).
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
import numpy.typing as npt

from dryspell.science.balance import STANDARD_PRESSURE_HPA
from dryspell.science.bounds import FloatArray, within
from dryspell.science.face import Exposure
from dryspell.science.longwave import KELVIN, STEFAN_BOLTZMANN
from dryspell.science.surface import BoolArray, TimeArray, surface_temperature

USUAL = ("wind_factor", "back_conductance_w_m2_k", "openness")
"""What is found for a coated piece."""

DARK_W_M2 = 5.0
"""With less sun than this on the face it is night."""

_SHORTEST_H, _FEWEST = 48.0, 96
_NIGHT_H, _NIGHTS = 4.0, 2
_CLEAR_H, _CLEAR_DEFICIT_W_M2 = 4.0, 45.0  # of longwave under that of a sky as warm as the air: under half covered
_WIND_SPREAD_M_S = 0.5
_WORST_CONDITION = 1e6  # of the normal matrix, figures counted in their own ranges
_WIDEST_ERROR = 0.3  # of a figure's range: with a larger one it is not determined
_MOST_STEPS = 40
_NUDGE = 1e-3


class Refusal(StrEnum):
    """Why readings do not say how a piece stands."""

    TOO_SHORT = "too short"
    NO_NIGHTS = "no nights"
    NO_CLEAR_NIGHTS = "no clear nights"
    LITTLE_WIND = "little wind"
    NOT_DETERMINED = "not determined"


@dataclass(frozen=True)
class Refused:
    """A fit that the readings do not carry."""

    reason: Refusal
    detail: str


@dataclass(frozen=True)
class Score:
    """How far a face's computed temperatures are from those read: root mean square and mean [K], and of how many."""

    rmse_k: float
    bias_k: float
    readings: int


@dataclass(frozen=True)
class Fit:
    """What was found.

    Attributes
    ----------
    exposure
        The face with the figures found.
    values, errors
        The figures by name, and their standard errors; NaN for one that lies at the edge of its range.
    night, day
        How far off the temperatures are, before and after.
    """

    exposure: Exposure
    values: Mapping[str, float]
    errors: Mapping[str, float]
    night: tuple[Score, Score]
    day: tuple[Score, Score]


@dataclass(frozen=True)
class _Figure:
    """A figure that can be found: its range, how it is read from a face and put into one."""

    low: float
    high: float
    get: Callable[[Exposure], float]
    put: Callable[[Exposure, float], Exposure]


def _sky_of_tilt(exposure: Exposure) -> float:
    return float((1.0 + np.cos(np.radians(exposure.tilt_deg))) / 2.0)


_FIGURES = {
    "wind_factor": _Figure(0.0, 2.0, lambda face: face.wind_factor, lambda face, v: replace(face, wind_factor=v)),
    "back_conductance_w_m2_k": _Figure(
        0.0,
        30.0,
        lambda face: face.back_conductance_w_m2_k,
        lambda face, v: replace(face, back_conductance_w_m2_k=v),
    ),
    # Share of the sky the tilt leaves that is open.
    "openness": _Figure(
        0.0,
        1.0,
        lambda face: face.sky_view / max(_sky_of_tilt(face), 1e-9),
        lambda face, v: replace(face, sky_view=v * _sky_of_tilt(face)),
    ),
    # Both parts of h, in four: 1 is the textbook's 4 + 4 v.
    "convection_scale": _Figure(
        0.1, 20.0, lambda face: face.convection[0] / 4.0, lambda face, v: replace(face, convection=(4.0 * v, 4.0 * v))
    ),
    "evaporating_share": _Figure(
        0.0, 1.0, lambda face: face.evaporating_share, lambda face, v: replace(face, evaporating_share=v)
    ),
}


def fit_exposure(
    times_utc: TimeArray,
    air_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    wind_10m_m_s: npt.ArrayLike,
    plane_w_m2: npt.ArrayLike,
    sky_w_m2: npt.ArrayLike,
    measured_c: npt.ArrayLike,
    exposure: Exposure,
    *,
    find: Sequence[str] = USUAL,
    diffuse_w_m2: npt.ArrayLike = 0.0,
    rain_mm: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
) -> Fit | Refused:
    """Find figures of a face from the temperatures read on it, or say why these do not tell.

    Parameters
    ----------
    times_utc, air_c, dew_point_c, wind_10m_m_s, plane_w_m2, sky_w_m2, rain_mm, pressure_hpa
        The weather as in `dryspell.science.surface.solve`, each of shape (times,) or a single figure.
    measured_c
        Temperatures of the face, shape (times,), NaN where none was read. [degC]
    exposure
        The face as it is thought to be; what is not to be found is taken from it.
    find
        Names of the figures to find: "wind_factor", "back_conductance_w_m2_k", "openness", "convection_scale" (both
        parts of h over those of 4 + 4 v) and "evaporating_share".

    diffuse_w_m2
        What of `plane_w_m2` grows and shrinks with the openness of the face. [W m-2]

    Returns
    -------
    Fit or Refused
        Refused for readings of less than two days or a hundred, with less than two nights of four hours, without four
        hours of clear night sky (where openness is asked for), with hardly any change of wind (where what depends on it
        is), or where figures cannot be told from each other.

    Raises
    ------
    ValueError
        For a value out of physical range, an unknown figure to find, or times that do not ascend.
    """
    unknown = [name for name in find if name not in _FIGURES]
    if unknown or not find:
        raise ValueError(f"find has {', '.join(unknown) or 'nothing'}; wanted some of {', '.join(_FIGURES)}")
    measured = within("measured_c", measured_c, -90.0, 110.0, "degC")
    sun, diffuse = np.asarray(plane_w_m2, dtype=np.float64), np.asarray(diffuse_w_m2, dtype=np.float64)

    def courses(faces: Sequence[Exposure]) -> FloatArray:
        seen = [face.sky_view / exposure.sky_view if exposure.sky_view > 0.0 else 1.0 for face in faces]
        return surface_temperature(
            times_utc,
            air_c,
            dew_point_c,
            wind_10m_m_s,
            sun + diffuse * (np.reshape(seen, (-1, 1, 1)) - 1.0),
            sky_w_m2,
            faces,
            rain_mm=rain_mm,
            pressure_hpa=pressure_hpa,
        )[:, 0]

    before = courses([exposure])[0]
    used = np.isfinite(measured + before)
    dark = np.broadcast_to(sun < DARK_W_M2, used.shape)
    wind = np.broadcast_to(np.asarray(wind_10m_m_s, dtype=np.float64), used.shape)
    around = STEFAN_BOLTZMANN * (np.asarray(air_c, dtype=np.float64) + KELVIN) ** 4
    clear = np.broadcast_to(around - np.asarray(sky_w_m2, dtype=np.float64) > _CLEAR_DEFICIT_W_M2, used.shape)
    refused = _too_little(times_utc, used, dark, clear, wind, find)
    if refused is not None:
        return refused

    figures = [_FIGURES[name] for name in find]
    found = _least_squares(lambda faces: (courses(faces) - measured)[:, used], exposure, figures)
    if isinstance(found, Refused):
        return found
    face, errors = found
    after = courses([face])[0]

    def scored(when: BoolArray) -> tuple[Score, Score]:
        return _score((before - measured)[used & when]), _score((after - measured)[used & when])

    return Fit(
        exposure=face,
        values={name: figure.get(face) for name, figure in zip(find, figures, strict=True)},
        errors=dict(zip(find, errors, strict=True)),
        night=scored(dark),
        day=scored(~dark),
    )


def _score(error_k: FloatArray) -> Score:
    if error_k.size == 0:
        return Score(np.nan, np.nan, 0)
    return Score(float(np.sqrt(np.mean(error_k**2))), float(np.mean(error_k)), error_k.size)


def _too_little(
    times_utc: TimeArray, used: BoolArray, dark: BoolArray, clear: BoolArray, wind: FloatArray, find: Sequence[str]
) -> Refused | None:
    """Return why the readings are too little, None where they are not."""
    at = np.asarray(times_utc)[used]
    span_h = float((at[-1] - at[0]) / np.timedelta64(1, "h")) if at.size else 0.0
    if span_h < _SHORTEST_H or at.size < _FEWEST:
        return Refused(
            Refusal.TOO_SHORT,
            f"{at.size} readings with known weather over {span_h:.0f} h; wanted {_FEWEST} over {_SHORTEST_H:.0f} h",
        )
    # A reading stands for the time since the one before, as long as that is no gap.
    lasting_h = np.minimum(np.diff(at, prepend=at[:1]) / np.timedelta64(1, "h"), 1.0)
    by_night = np.bincount(_night_number(dark[used]), np.where(dark[used], lasting_h, 0.0))
    nights = int((by_night >= _NIGHT_H).sum())
    if nights < _NIGHTS:
        return Refused(Refusal.NO_NIGHTS, f"{nights} nights with {_NIGHT_H:.0f} h of readings; wanted {_NIGHTS}")
    clear_h = float(lasting_h[dark[used] & clear[used]].sum())
    if "openness" in find and clear_h < _CLEAR_H:
        return Refused(
            Refusal.NO_CLEAR_NIGHTS,
            f"{clear_h:.1f} h of readings under a clear night sky; wanted {_CLEAR_H:.0f} to tell what is seen of it",
        )
    spread = float(np.std(wind[used]))
    if {"wind_factor", "convection_scale"} & set(find) and spread < _WIND_SPREAD_M_S:
        return Refused(
            Refusal.LITTLE_WIND,
            f"the wind differs by {spread:.1f} m/s (standard deviation); wanted {_WIND_SPREAD_M_S:g} to tell its share",
        )
    return None


def _night_number(dark: BoolArray) -> npt.NDArray[np.int64]:
    """Return which night each reading belongs to: nights begin where it turns dark."""
    return np.cumsum(np.diff(dark.astype(np.int64), prepend=0) == 1)


def _least_squares(
    residuals_of: Callable[[Sequence[Exposure]], FloatArray], exposure: Exposure, figures: Sequence[_Figure]
) -> tuple[Exposure, list[float]] | Refused:
    """Return the face with the least squares of residuals, and the standard errors of its figures.

    `residuals_of` returns a row for each face.
    """
    low, width = (
        np.array([figure.low for figure in figures]),
        np.array([figure.high - figure.low for figure in figures]),
    )

    def face_at(shares: FloatArray) -> Exposure:
        face = exposure
        for figure, value in zip(figures, low + width * shares, strict=True):
            face = figure.put(face, float(value))
        return face

    def slopes_at(shares: FloatArray, residuals: FloatArray) -> FloatArray:
        nudges = np.where(shares < 0.5, _NUDGE, -_NUDGE)
        moved = residuals_of([face_at(nudged) for nudged in shares + np.diag(nudges)])
        return (moved - residuals).T / nudges

    shares = np.clip((np.array([figure.get(exposure) for figure in figures]) - low) / width, 0.02, 0.98)
    residuals = residuals_of([face_at(shares)])[0]
    damping = 1e-2
    for _ in range(_MOST_STEPS):
        slopes = slopes_at(shares, residuals)
        normal, downhill = slopes.T @ slopes, -(slopes.T @ residuals)
        free = ~(((shares <= 0.0) & (downhill < 0.0)) | ((shares >= 1.0) & (downhill > 0.0)))
        step = np.zeros_like(shares)
        damped = normal + damping * np.diag(np.maximum(np.diag(normal), 1e-12))
        if free.any():
            step[free] = np.linalg.solve(damped[np.ix_(free, free)], downhill[free])
        trial = np.clip(shares + step, 0.0, 1.0)
        tried = residuals_of([face_at(trial)])[0]
        if tried @ tried < residuals @ residuals:
            moved = float(np.abs(trial - shares).max())
            shares, residuals, damping = trial, tried, damping / 5.0
            if moved < 1e-5:
                break
        else:
            damping *= 5.0
            if damping > 1e6:
                break
    return _with_errors(face_at(shares), shares, width, slopes_at(shares, residuals), residuals)


def _with_errors(
    face: Exposure, shares: FloatArray, width: FloatArray, slopes: FloatArray, residuals: FloatArray
) -> tuple[Exposure, list[float]] | Refused:
    """Return the face with the standard errors of its figures, or why they are not determined."""
    inside = (shares > 1e-6) & (shares < 1.0 - 1e-6)
    if not inside.any():
        return face, [np.nan] * shares.size
    normal = slopes[:, inside].T @ slopes[:, inside]
    scale = np.sqrt(np.maximum(np.diag(normal), 1e-300))
    condition = float(np.linalg.cond(normal / np.outer(scale, scale)))
    if condition > _WORST_CONDITION or scale.min() < 1e-6 * np.sqrt(residuals.size):
        return Refused(Refusal.NOT_DETERMINED, "the figures cannot be told from each other in these readings")
    squares = float(residuals @ residuals)
    correlation = float(np.clip(residuals[1:] @ residuals[:-1] / max(squares, 1e-300), 0.0, 0.99))
    variance = squares / max(residuals.size - int(inside.sum()), 1)
    variance *= (1.0 + correlation) / (1.0 - correlation)
    errors = np.full(shares.size, np.nan)
    errors[inside] = np.sqrt(variance * np.diag(np.linalg.inv(normal)))
    if np.nanmax(errors) > _WIDEST_ERROR:
        worst = float(np.nanmax(errors))
        return Refused(
            Refusal.NOT_DETERMINED,
            f"a figure is uncertain by {worst:.0%} of its range; wanted {_WIDEST_ERROR:.0%} at most",
        )
    return face, [float(error) for error in errors * width]
