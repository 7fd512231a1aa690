"""Reads the answers of the US National Weather Service: the grid forecast of a place, and which grid a place is on."""

import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from urllib.parse import urlsplit

import numpy as np

from dryspell.errors import WeatherError
from dryspell.weather.checks import Columns, as_datetime, disagreement, short_horizon, within_bounds
from dryspell.weather.sources.fields import instant, shown, table
from dryspell.weather.sources.nws_layers import SERVICE, IntArray, Layer, read_layer
from dryspell.weather.table import VARIABLES, WeatherTable
from dryspell.weather.waits import length_text

NAME = "US National Weather Service"
ATTRIBUTION = "Forecast by the US National Weather Service (NOAA), https://www.weather.gov, public domain"
OLD = timedelta(hours=12)
"""Copies of the service on its way to us have been seen to be days old; a forecast is made anew several times a day."""
CYCLE_H = 6.0
"""A forecast office goes over its grid at least that often, as a rule (from memory)."""
HOUR_S = 3600

# The layers, and ours. Its wind is "the maximum prevailing speed" as documented. Its layer of pressure is empty, and
# there is none of radiation.
LAYERS: Mapping[str, str] = {
    "temperature": "air_temperature",
    "relativeHumidity": "relative_humidity",
    "dewpoint": "dew_point_temperature",
    "windSpeed": "wind_speed",
    "windGust": "wind_speed_of_gust",
    "quantitativePrecipitation": "precipitation_amount",
    "probabilityOfPrecipitation": "probability_of_precipitation",
    "skyCover": "cloud_area_fraction",
}

# How far from its making a forecast may reach back and ahead; the service documents some seven days and a half.
_BACK, _AHEAD = timedelta(days=1), timedelta(days=16)
_GRID = re.compile(r"/gridpoints/[A-Z]{3}/\d{1,4},\d{1,4}")


def read_points(data: object) -> str:
    """Return the path of a place's grid forecast, such as "/gridpoints/TAE/58,65", out of an answer of /points.

    Raises
    ------
    WeatherError
        The answer names none.
    """
    properties = table(table(data, f"{SERVICE}'s answer").get("properties"), f"{SERVICE}'s answer: properties")
    written = properties.get("forecastGridData")
    try:
        path = urlsplit(written).path if isinstance(written, str) else ""
    except ValueError:
        path = ""
    found = _GRID.search(path)
    if found is None or not path.endswith(found[0]):
        raise WeatherError(f"{SERVICE}'s answer names no forecast grid for this place: {shown(written)}")
    return found[0]


def read_nws(data: object, fetched_at: datetime, *, least_days: float = 6.0) -> WeatherTable:
    """Read a grid forecast.

    Parameters
    ----------
    data
        The decoded JSON.
    fetched_at
        When it was fetched, aware.
    least_days
        A forecast that reaches less far ahead of `fetched_at` gets a note.

    Returns
    -------
    WeatherTable
        Hours in UTC, and instants between them where a value begins or ends there. What the service gives over several
        hours holds at each of them, and a sum is shared out evenly; a probability is that of its whole interval, an
        upper bound of each hour's. A layer that ends early, or has a gap, is not known there. There is no pressure and
        no radiation in it. `issued_at` is when the service says it was made.

    Raises
    ------
    WeatherError
        The answer is not of the documented shape; the message names what is wrong.
    """
    properties = table(table(data, f"{SERVICE}'s answer").get("properties"), f"{SERVICE}'s answer: properties")
    if not any(name in properties for name in LAYERS):
        raise WeatherError(f"{SERVICE}'s answer has no grid forecast in it")
    made_at = as_datetime(instant(properties.get("updateTime"), f"{SERVICE}'s answer: updateTime"))
    # A clock that is wrong here or there does not make the forecast younger than its arrival.
    made_at = min(made_at, fetched_at.astimezone(UTC))
    layers: dict[str, Layer] = {}
    notes: tuple[str, ...] = ()
    for name, ours in LAYERS.items():
        layer, lost = read_layer(name, properties.get(name), ours, fetched_at, _span(made_at))
        notes += lost
        if layer is not None:
            layers[ours] = layer
    if not layers:
        raise WeatherError(f"{SERVICE}'s answer holds no value near the time it was made at")
    stamps = _stamps(layers)
    columns, bound_notes = within_bounds(_columns(layers, stamps))
    times = stamps.astype("datetime64[s]")
    notes += (*bound_notes, *disagreement(columns), *short_horizon(times, columns, fetched_at, least_days))
    age = fetched_at - made_at
    if age > OLD:
        notes += (f"the forecast was made {length_text(age.total_seconds())} before it was fetched",)
    return WeatherTable(times, columns, NAME, made_at, ATTRIBUTION, notes, cycle_h=CYCLE_H)


def _span(made_at: datetime) -> tuple[datetime, datetime]:
    try:
        return made_at - _BACK, made_at + _AHEAD
    except OverflowError:
        raise WeatherError(f"{SERVICE}'s answer: updateTime is out of this world: {made_at}") from None


def _stamps(layers: Mapping[str, Layer]) -> IntArray:
    """Return every full hour and every instant at which a value begins or ends: no step reaches beyond an interval."""
    bounds = np.concatenate([np.concatenate([layer.starts, layer.ends]) for layer in layers.values()])
    hours = np.arange(-(-bounds.min() // HOUR_S) * HOUR_S, bounds.max() + 1, HOUR_S)
    return np.unique(np.concatenate([bounds, hours]))


def _columns(layers: Mapping[str, Layer], stamps: IntArray) -> Columns:
    columns: Columns = {}
    for ours, layer in layers.items():
        over = {"point": layer.at, "sum": layer.shared, "maximum": layer.over, "mean": layer.over}
        columns[ours] = over[VARIABLES[ours].cell](stamps)[np.newaxis]
    return columns
