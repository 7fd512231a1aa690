"""Puts what was read in the place of what was forecast, so that the columns stay those of one air."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dryspell.science.air import dew_point, relative_humidity
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable, in_bounds

AIR, DEW, HUMIDITY = "air_temperature", "dew_point_temperature", "relative_humidity"
_GLOBAL = "surface_downwelling_shortwave_flux_in_air"
_PARTS = ("surface_direct_downwelling_shortwave_flux_in_air", "surface_diffuse_downwelling_shortwave_flux_in_air")

BoolArray = npt.NDArray[np.bool_]


def overlay(table: WeatherTable, read: Mapping[str, FloatArray]) -> WeatherTable:
    """Return a table with the readings where there are any.

    Where one of temperature, humidity and dew point is read and the others are not, those are worked out again: the
    vapour in the air is gone by as forecast, since it differs less from place to place than the temperature does. Where
    sunshine is read, its forecast parts are left out. No column is added, unless it is that of humidity or dew point
    and the table has neither: a column that ends now would seem to tell of the time ahead.

    Parameters
    ----------
    table
        What was forecast.
    read
        By variable, at the times of the table, shape (times,); NaN where nothing was read.
    """
    columns = {name: np.array(column) for name, column in table.columns.items()}
    for name, values in read.items():
        if name in columns and name not in {AIR, DEW, HUMIDITY}:
            columns[name] = np.where(np.isfinite(values), values, columns[name])
    if _GLOBAL in columns and _GLOBAL in read:
        for part in columns.keys() & set(_PARTS):
            columns[part] = np.where(np.isfinite(read[_GLOBAL]), read.get(part, np.nan), columns[part])
    return replace(table, columns=columns | _one_air(table, read))


def _one_air(table: WeatherTable, read: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
    """Return the columns of temperature, humidity and dew point, of those that the table has."""
    nothing = np.full(table.times.size, np.nan)
    air_read, dew_read, humid_read = (in_bounds(n, read.get(n, nothing)) for n in (AIR, DEW, HUMIDITY))
    there = np.isfinite(air_read) | np.isfinite(dew_read) | np.isfinite(humid_read)
    if AIR not in table.columns or not there.any():
        return {}
    air_said, dew_said, humid_said = (in_bounds(n, table.column(n)) for n in (AIR, DEW, HUMIDITY))
    dew_said = np.where(np.isfinite(dew_said), dew_said, dew_point(air_said, humid_said))
    # Where the dew point alone is read, it cannot be over the temperature.
    air = np.where(
        np.isfinite(air_read), air_read, np.fmax(air_said, np.where(np.isfinite(dew_read), dew_read, -np.inf))
    )
    air = np.where(np.isfinite(air_read) | np.isfinite(air_said), air, np.nan)
    dew = np.where(np.isfinite(humid_read), dew_point(air, humid_read), dew_said)
    dew = np.minimum(np.where(np.isfinite(dew_read), dew_read, dew), air)
    humid = np.where(np.isfinite(humid_read), humid_read, relative_humidity(air, dew))
    found = {AIR: np.where(there, air, table.column(AIR))}
    has_neither = DEW not in table.columns and HUMIDITY not in table.columns
    for name, values in ((DEW, dew), (HUMIDITY, humid)):
        if name in table.columns or (has_neither and name in read):
            found[name] = np.where(there, values, table.column(name))
    return found


def with_hours(table: WeatherTable, hours: TimeArray, longest: np.timedelta64) -> WeatherTable:
    """Return a table with rows of NaN for those hours that lie outside it or in a gap longer than `longest`.

    A sum, mean or maximum behind such a row is left out, unless the row lies one step of the table before it: it was of
    a longer time.
    """
    after = np.searchsorted(table.times, hours)
    inside = (after > 0) & (after < table.times.size)
    gaps = np.diff(table.times)[np.clip(after - 1, 0, table.times.size - 2)]
    new = np.setdiff1d(hours[~inside | (gaps > longest)], table.times)
    if not new.size:
        return table
    times = np.concatenate([table.times, new])
    order = np.argsort(times)
    is_new = (order >= table.times.size).astype(np.bool_)
    shorter = np.diff(times[order], prepend=times[order[0]]) != np.min(np.diff(table.times))
    behind = np.concatenate([[False], is_new[:-1]]) & ~is_new & shorter

    def spread(name: str, column: FloatArray) -> FloatArray:
        wide = np.concatenate([column, np.full((column.shape[0], new.size), np.nan)], axis=1)[:, order]
        return wide if VARIABLES[name].cell == "point" else np.where(behind, np.nan, wide)

    columns = {name: spread(name, column) for name, column in table.columns.items()}
    coarse = None if table.coarse is None else np.concatenate([table.coarse, np.zeros(new.size, np.bool_)])[order]
    return replace(table, times=times[order], columns=columns, coarse=coarse)
