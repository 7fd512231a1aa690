"""A site's own recent readings, hour by hour, and what has been usual at each hour of the day.

Nothing here looks ahead: the value of an hour is the last reading up to it, and what is usual at an hour is the mean of
the days before at the same hour. Hours a whole number of days apart are at the same solar hour to within half a minute
(the equation of time moves by no more), so the shape of the day follows the sun at any longitude, and no clock change
is seen.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.science import air
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable, in_bounds

AIR, DEW, WIND, PRESSURE = "air_temperature", "dew_point_temperature", "wind_speed", "surface_air_pressure"

HOUR = np.timedelta64(3600, "s")
HELD_H = 3
"""A reading stands for this long where none follows, as everywhere between stamps."""

# How many days what is usual is taken over, and after how many a day counts half: chosen on January to March at JFK.
USUAL_DAYS, _HALF_DAYS = 30, 10.0
_DAY = 24


@dataclass(frozen=True)
class Recent:
    """Hourly readings up to an hour, that one the last.

    Attributes
    ----------
    times
        The hours, shape (n,), n a multiple of 24.
    values
        By variable, shape (n,); NaN where no reading is younger than `HELD_H`.
    usual
        By variable the mean of the days before at the same hour, shape (n + 24,): it reaches a day ahead. NaN where no
        day before has that hour.
    read
        By variable, whether a reading was made within the hour, shape (n,).
    """

    times: TimeArray
    values: Mapping[str, FloatArray]
    usual: Mapping[str, FloatArray]
    read: Mapping[str, npt.NDArray[np.bool_]]

    def departure(self, name: str) -> FloatArray:
        """Return by how much a variable departs from what is usual, shape (n,)."""
        return self.values[name] - self.usual[name][: self.times.size]

    def usual_ahead(self, name: str, rows: npt.NDArray[np.int64], leads: int) -> FloatArray:
        """Return what is usual at leads 0 to `leads` (48 at most) from each of the rows, shape (rows, leads + 1).

        By what was read up to the row: beyond a day ahead the last known day is the same one as a day ahead.
        """
        ahead = np.arange(leads + 1)
        return np.asarray(self.usual[name][rows[:, None] + np.where(ahead > _DAY, ahead - _DAY, ahead)])


def recent_of(readings: WeatherTable, last: np.datetime64, days: int) -> Recent:
    """Bring readings of any step onto the hours up to `last` that are whole hours from it, `days` of them.

    The dew point is the read one, else that of temperature and humidity. A table of several members counts by its
    first.
    """
    times = last + np.arange(1 - days * _DAY, 1) * HOUR
    values, read = {}, {}
    for name in (AIR, DEW, WIND, PRESSURE):
        values[name], read[name] = _held(readings, name, times)
    humidity, humidity_read = _held(readings, "relative_humidity", times)
    derived = air.dew_point(values[AIR], humidity)
    read[DEW] = np.where(np.isfinite(values[DEW]), read[DEW], humidity_read & read[AIR])
    dew = np.where(np.isfinite(values[DEW]), values[DEW], derived)
    values[DEW] = np.where(dew > values[AIR], values[AIR], dew)
    return Recent(times, values, {name: _usual(series) for name, series in values.items()}, read)


def _held(table: WeatherTable, name: str, times: TimeArray) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    values = in_bounds(name, table.column(name)[0])
    known = np.isfinite(values)
    if not known.any():
        return np.full(times.size, np.nan), np.zeros(times.size, dtype=np.bool_)
    stamps, values = table.times[known], values[known]
    at = np.searchsorted(stamps, times, side="right") - 1
    age = times - stamps[np.maximum(at, 0)]
    held = (at >= 0) & (age <= HELD_H * HOUR)
    return np.where(held, values[np.maximum(at, 0)], np.nan), held & (age < HOUR)


def _usual(series: FloatArray) -> FloatArray:
    """Return the mean of the days before at each hour, the younger the more, from whole days; one day longer."""
    by_day = series.reshape(-1, _DAY)
    days = by_day.shape[0]
    back = np.arange(days + 1)[:, None] - np.arange(days)
    weight = np.where((back >= 1) & (back <= USUAL_DAYS), 0.5 ** (back / _HALF_DAYS), 0.0)
    known = np.isfinite(by_day)
    share = weight @ known
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = weight @ np.where(known, by_day, 0.0) / share
    return np.where(share > 0.0, mean, np.nan).ravel()
