"""Reads an answer of MET Norway's Locationforecast 2.0, compact or complete."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime

import numpy as np

from dryspell.errors import WeatherError
from dryspell.science import air
from dryspell.weather.checks import Columns, as_datetime, disagreement, gaps, in_order, short_horizon, within_bounds
from dryspell.weather.sources.fields import instant, number, shown, table
from dryspell.weather.sources.met_norway_hours import Hours, pressure_at
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

SERVICE = "MET Norway"
ATTRIBUTION = "Data from MET Norway (https://api.met.no/doc/License), CC BY 4.0 or NLOD 2.0; adapted"
CYCLE_H = 6.0
"""Outside the Nordic countries a forecast is made four times a day."""

_AIR, _HUMIDITY, _DEW = "air_temperature", "relative_humidity", "dew_point_temperature"
_WIND, _GUST, _CLOUD = "wind_speed", "wind_speed_of_gust", "cloud_area_fraction"
_RAIN, _CHANCE, _PRESSURE = "precipitation_amount", "probability_of_precipitation", "surface_air_pressure"
_IN_PERCENTILES = (_AIR, _WIND)

# Block and name in the answer, and the variable of ours that it is a value of. Its names are CF's, as ours are.
_FIELDS: tuple[tuple[str, str, str], ...] = (
    *(("instant", name, name) for name in (_AIR, _HUMIDITY, _DEW, _WIND, _GUST, _CLOUD)),
    ("instant", "air_pressure_at_sea_level", _PRESSURE),
    *(("instant", f"{name}_percentile_{part}", name) for name in _IN_PERCENTILES for part in (10, 90)),
    ("next_1_hours", _RAIN, _RAIN),
    ("next_1_hours", _CHANCE, _CHANCE),
    ("next_6_hours", _RAIN, _RAIN),
    ("next_6_hours", _CHANCE, _CHANCE),
    ("next_6_hours", "air_temperature_min", _AIR),
    ("next_6_hours", "air_temperature_max", _AIR),
    ("next_12_hours", _CHANCE, _CHANCE),
)
_UNITS: Mapping[object, str] = {"celsius": "degC", "%": "percent", "m/s": "m/s", "mm": "mm", "hPa": "hPa"}


@dataclass(frozen=True)
class Percentiles:
    """The spread that the service itself gives, for the Nordic area and its first days.

    Attributes
    ----------
    times
        Those of the table.
    low, high
        10th and 90th percentile by CF name, in the unit of `VARIABLES`, shape (times,); NaN where not given.
    """

    times: TimeArray
    low: Mapping[str, FloatArray]
    high: Mapping[str, FloatArray]


def read_met_norway(
    data: object, fetched_at: datetime, *, height_m: float | None = None, least_days: float = 8.0
) -> WeatherTable:
    """Return the table of `read_with_percentiles`, whose parameters and errors these are."""
    return spread_of(*read_with_percentiles(data, fetched_at, height_m=height_m, least_days=least_days))


def spread_of(table: WeatherTable, percentiles: Percentiles | None) -> WeatherTable:
    """Return the table with how far its percentiles lie from its values."""
    if percentiles is None:
        return table
    values = {name: table.columns[name][0] for name in percentiles.low if name in table.columns}
    spread = {
        name: np.stack(
            [np.minimum(percentiles.low[name] - value, 0.0), np.maximum(percentiles.high[name] - value, 0.0)]
        )
        for name, value in values.items()
    }
    return replace(table, spread=spread)


def read_with_percentiles(
    data: object, fetched_at: datetime, *, height_m: float | None = None, least_days: float = 8.0
) -> tuple[WeatherTable, Percentiles | None]:
    """Read an answer.

    Parameters
    ----------
    data
        The decoded JSON.
    fetched_at
        When it was fetched, aware.
    height_m
        Height of the place above the sea, to bring the pressure there; without it the height that the answer tells.
    least_days
        A forecast that reaches less far ahead of `fetched_at` gets a note.

    Returns
    -------
    WeatherTable
        Hours in UTC. What falls in the hour after the answer's stamp T stands at T + 1 h. Where the answer goes by six
        hours the hours between are filled in and marked as coarse: instants on a straight line, through the middle of
        the six hours at their lowest temperature where that lies below both ends; sums shared out. A probability is
        that of the shortest span given. There is no radiation in it. `issued_at` is when the service says it was made.
    Percentiles or None
        Where any are given.

    Raises
    ------
    WeatherError
        The answer is not of the documented shape; the message names what is wrong.
    """
    root = table(data, f"{SERVICE}'s answer")
    properties = table(root.get("properties"), f"{SERVICE}'s answer: properties")
    meta, series = table(properties.get("meta"), f"{SERVICE}'s answer: meta"), properties.get("timeseries")
    if not isinstance(series, list):
        raise WeatherError(f"{SERVICE}'s answer has no forecast in it: no properties.timeseries")
    made_at = as_datetime(instant(meta.get("updated_at"), f"{SERVICE}'s answer: updated_at"))
    entries, raw, notes = _entries(series, table(meta.get("units"), f"{SERVICE}'s answer: units"))
    entries, raw, order_notes = in_order(entries, raw)
    if entries.size < 2:
        raise WeatherError(f"{SERVICE}'s answer holds {entries.size} instant(s); two at the least are needed")
    if not raw:
        raise WeatherError(f"{SERVICE}'s answer holds no value of a variable that is known here")
    if height_m is None:
        height_m = _height(root)
    hours = Hours.between(entries)
    columns, percentiles = _columns(hours, raw, height_m)
    columns, bound_notes = within_bounds(columns)
    if "instant/air_pressure_at_sea_level" in raw and height_m is None:
        bound_notes += ("the air pressure is left out: the height of the place is not known",)
    coarse = hours.coarse
    notes = (*notes, *order_notes, *gaps(hours.times), *bound_notes, *disagreement(columns))
    notes += short_horizon(hours.times, columns, fetched_at, least_days)
    return (
        WeatherTable(
            hours.times,
            columns,
            SERVICE,
            # A clock that is wrong here or there does not make the forecast younger than its arrival.
            min(made_at, fetched_at).astimezone(UTC),
            ATTRIBUTION,
            notes,
            coarse=coarse if coarse.any() else None,
            cycle_h=CYCLE_H,
        ),
        percentiles,
    )


def _entries(series: list[object], units: Mapping[str, object]) -> tuple[TimeArray, Columns, tuple[str, ...]]:
    """Return the entries' instants, the values known in them by "block/name" in our units, and notes."""
    place = f"{SERVICE}'s answer: timeseries"
    times = []
    details: dict[str, list[dict[str, object]]] = {block: [] for block, _, _ in _FIELDS}
    for written in series:
        entry = table(written, place)
        times.append(instant(entry.get("time"), f"{place}, time"))
        blocks = table(entry.get("data"), f"{place}, data")
        for block, found in details.items():
            found.append(table(table(blocks.get(block), f"{place}, {block}").get("details"), f"{place}, {block}"))
    raw: Columns = {}
    notes: tuple[str, ...] = ()
    for block, name, ours in _FIELDS:
        values = np.array([[number(found.get(name), f"{place}, {name}") for found in details[block]]])
        if not np.isfinite(values).any():
            continue
        unit = units.get(name)
        if not isinstance(unit, str) or _UNITS.get(unit) != VARIABLES[ours].unit:
            note = f"{name} left out: its unit {shown(unit)} is not known for it"
            notes += () if note in notes else (note,)
            continue
        kept, lost = within_bounds({ours: values})
        raw[f"{block}/{name}"] = kept[ours]
        notes += lost
    return np.array(times, dtype="datetime64[s]"), raw, notes


def _height(root: Mapping[str, object]) -> float | None:
    """Return the height [m] that an answer tells for its place, if it does: longitude, latitude, altitude."""
    written = table(root.get("geometry"), f"{SERVICE}'s answer: geometry").get("coordinates")
    if not isinstance(written, list) or len(written) < 3:
        return None
    height = number(written[2], f"{SERVICE}'s answer: altitude")
    return height if -500.0 <= height <= 9000.0 else None


def _columns(hours: Hours, raw: Columns, height_m: float | None) -> tuple[Columns, Percentiles | None]:
    """Return the columns on hours, without those of which nothing is known, and the percentiles."""
    unknown = np.full_like(next(iter(raw.values())), np.nan)

    def told(block: str, name: str) -> FloatArray:
        return raw.get(f"{block}/{name}", unknown)

    air_entries = told("instant", _AIR)
    low, high = (told("next_6_hours", f"air_temperature_{extreme}") for extreme in ("min", "max"))
    bend = hours.bend(air_entries, low, high)
    air_c = hours.linear(air_entries) + bend
    dew_c, humidity_pct = _moisture(hours, air_c, air_entries, told("instant", _HUMIDITY), told("instant", _DEW))
    columns: Columns = {
        _AIR: air_c,
        _HUMIDITY: humidity_pct,
        _DEW: dew_c,
        _WIND: hours.linear(told("instant", _WIND)),
        _GUST: hours.greater(told("instant", _GUST)),
        _CLOUD: hours.linear(told("instant", _CLOUD)),
        _RAIN: hours.amount(told("next_1_hours", _RAIN), told("next_6_hours", _RAIN)),
        _CHANCE: hours.chance(*(told(f"next_{span}_hours", _CHANCE) for span in (1, 6, 12))),
    }
    if height_m is not None:
        sea_level = hours.linear(told("instant", "air_pressure_at_sea_level"))
        columns[_PRESSURE] = pressure_at(height_m, sea_level, air_c)
    columns = {name: values for name, values in columns.items() if np.isfinite(values).any()}

    def percentile(name: str, part: int) -> FloatArray:
        on_hours: FloatArray = hours.linear(told("instant", f"{name}_percentile_{part}"))[0]
        return on_hours + bend[0] if name == _AIR else on_hours

    bands = [{name: percentile(name, part) for name in _IN_PERCENTILES} for part in (10, 90)]
    if not any(np.isfinite(values).any() for band in bands for values in band.values()):
        return columns, None
    return columns, Percentiles(hours.times, *bands)


def _moisture(
    hours: Hours, air_c: FloatArray, air_entries: FloatArray, humidity_entries: FloatArray, dew_entries: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return dew point [degC] and humidity [%] on hours.

    Between two entries the dew point goes straight, for the air keeps its water, and the humidity follows from it and
    the temperature: the three stay of one air where the temperature bends.
    """
    dew_c = hours.linear(dew_entries)
    from_humidity = hours.linear(air.dew_point(air_entries, np.clip(humidity_entries, 1.0, 100.0)))
    wet_c = np.minimum(np.where(np.isfinite(dew_c), dew_c, from_humidity), air_c)
    wet_c = np.maximum(wet_c, VARIABLES[_DEW].low)
    inside = hours.inside
    humidity_pct = np.where(inside, air.relative_humidity(air_c, wet_c), hours.linear(humidity_entries))
    return np.where(inside & np.isfinite(dew_c), wet_c, dew_c), humidity_pct
