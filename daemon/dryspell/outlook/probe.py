"""What a surface probe reads of how a piece stands in the weather, in the words of its configuration."""

from dataclasses import dataclass

import numpy as np

from dryspell.outlook.conditions import face_weather, needed_variables, sees_sky
from dryspell.outlook.exposure import SHELTERS, exposure_of
from dryspell.science.fit import USUAL, Fit, Refused, fit_exposure
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

READING = "surface_temperature"
_LONGEST_AWAY = np.timedelta64(1800, "s")


@dataclass(frozen=True)
class Key:
    """A key of a piece as the probe would have it, and its standard error; NaN at the edge of its range."""

    name: str
    value: float
    error: float
    unit: str


def fit_piece(piece: Piece, site: Site, log: WeatherTable, weather: WeatherTable) -> Fit | Refused:
    """Find wind share, back conductance and sky of a piece from a log of its surface temperature.

    Parameters
    ----------
    log
        With the column surface_temperature.
    weather
        At the site while the log was kept: the log itself, or what was kept of the forecasts.

    Raises
    ------
    ValueError
        Where the weather lacks what it takes; the text names the variables.
    """
    lacking = weather.unknown_of(needed_variables(piece, weather))
    if lacking:
        raise ValueError(f"does not know {', '.join(lacking)}")
    w = face_weather(piece, site, weather)
    return fit_exposure(
        w.times,
        w.air_c[0],
        w.dew_point_c[0],
        w.wind_10m_m_s[0],
        w.plane_w_m2[0],
        w.sky_w_m2[0],
        on_grid(log.times, log.column(READING)[0], w.times),
        exposure_of(piece, site),
        find=USUAL if sees_sky(piece) else tuple(name for name in USUAL if name != "openness"),
        diffuse_w_m2=w.diffuse_w_m2[0],
        rain_mm=w.rain_mm[0],
        pressure_hpa=w.pressure_hpa,
    )


def keys_of(found: Fit, piece: Piece) -> list[Key]:
    """Return what was found as keys of the piece."""
    keys = [
        Key("wind_share", 100.0 * found.values["wind_factor"], 100.0 * found.errors["wind_factor"], "%"),
        Key(
            "back_conductance",
            found.values["back_conductance_w_m2_k"],
            found.errors["back_conductance_w_m2_k"],
            "W/m^2/K",
        ),
    ]
    if "openness" in found.values:
        share = 100.0 / SHELTERS[piece.shelter].sky
        keys.append(Key("sky", min(share * found.values["openness"], 100.0), share * found.errors["openness"], "%"))
    return keys


def on_grid(times: TimeArray, values: FloatArray, grid: TimeArray) -> FloatArray:
    """Return readings at the grid's instants, NaN where there is none within half an hour on each side.

    Parameters
    ----------
    times, values
        The readings, ascending, shape (n,); NaN is none.
    """
    read = np.isfinite(values)
    times, values = times[read], values[read]
    if times.size < 2:
        return np.full(grid.size, np.nan)
    after = np.clip(np.searchsorted(times, grid), 1, times.size - 1)
    near = (np.abs(grid - times[after - 1]) <= _LONGEST_AWAY) & (np.abs(times[after] - grid) <= _LONGEST_AWAY)
    within = (grid >= times[0]) & (grid <= times[-1])
    between = np.interp(_seconds(grid), _seconds(times), values)
    return np.where(near & within, between, np.nan)


def _seconds(times: TimeArray) -> FloatArray:
    return times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
