"""Finds the columns of one model in an answer of Open-Meteo, and reads them in our units."""

import re
from collections.abc import Mapping

import numpy as np

from dryspell.errors import WeatherError
from dryspell.weather.checks import NEEDED, Columns, known_at
from dryspell.weather.sources.open_meteo_json import one_line
from dryspell.weather.table import VARIABLES, FloatArray

# Open-Meteo's hourly variables, as documented, and ours. Its direct radiation is on the horizontal, as CF means by
# "downwelling". Sea-level pressure is not the air pressure at the place, and is not read.
NAMES: Mapping[str, str] = {
    "temperature_2m": "air_temperature",
    "relative_humidity_2m": "relative_humidity",
    "dew_point_2m": "dew_point_temperature",
    "wind_speed_10m": "wind_speed",
    "wind_gusts_10m": "wind_speed_of_gust",
    "precipitation": "precipitation_amount",
    "precipitation_probability": "probability_of_precipitation",
    "shortwave_radiation": "surface_downwelling_shortwave_flux_in_air",
    "direct_radiation": "surface_direct_downwelling_shortwave_flux_in_air",
    "diffuse_radiation": "surface_diffuse_downwelling_shortwave_flux_in_air",
    "cloud_cover": "cloud_area_fraction",
    "surface_pressure": "surface_air_pressure",
}
# Older spellings, still in recorded answers.
LEGACY_NAMES: Mapping[str, str] = {
    "relativehumidity_2m": "relative_humidity",
    "dewpoint_2m": "dew_point_temperature",
    "windspeed_10m": "wind_speed",
    "windgusts_10m": "wind_speed_of_gust",
    "cloudcover": "cloud_area_fraction",
}
_NAMES = {**NAMES, **LEGACY_NAMES}

# Variable, then member, then model. Some longer names of variables begin like a shorter one: what follows it there is
# no model.
_COLUMN = re.compile(
    rf"(?P<variable>{'|'.join(sorted(_NAMES, key=len, reverse=True))})"
    r"(?:_member(?P<member>\d{2,}))?"
    r"(?:_(?!(?:instant|clear_sky|low|mid|high|spread|mean|max|min|previous_day\d+)(?:_|$))(?P<model>[a-z][a-z0-9_]*))?"
)

# Scale and offset to the unit of our table, by how Open-Meteo spells a unit; the knot and the mile are exact by
# definition (1852 m, 1609.344 m an hour).
_UNITS: Mapping[str, tuple[str, float, float]] = {
    "°C": ("degC", 1.0, 0.0),
    "°F": ("degC", 5 / 9, -160 / 9),
    "%": ("percent", 1.0, 0.0),
    "m/s": ("m/s", 1.0, 0.0),
    "km/h": ("m/s", 1 / 3.6, 0.0),
    "mp/h": ("m/s", 0.44704, 0.0),
    "kn": ("m/s", 1852 / 3600, 0.0),
    "mm": ("mm", 1.0, 0.0),
    "inch": ("mm", 25.4, 0.0),
    "W/m²": ("W/m^2", 1.0, 0.0),
    "W/m2": ("W/m^2", 1.0, 0.0),
    "hPa": ("hPa", 1.0, 0.0),
}

_Models = dict[str, dict[str, dict[int, str]]]


def _models(hourly: Mapping[str, object]) -> _Models:
    """Sort the columns into model, our name, member; "" is the model of columns that name none."""
    models: _Models = {}
    for column in hourly:
        match = _COLUMN.fullmatch(column)
        if match:
            members = models.setdefault(match["model"] or "", {}).setdefault(_NAMES[match["variable"]], {})
            members.setdefault(int(match["member"] or 0), column)
    return models


def columns_of(
    hourly: Mapping[str, object], units: Mapping[str, object], hours: int, wanted: str | None
) -> tuple[Columns, tuple[str, ...]]:
    """Return the columns (members, hours) of the model wanted, or of the one that knows the most, and notes.

    Raises
    ------
    WeatherError
        There is no column to read, or not the model wanted, or a column is not of the documented shape.
    """
    models = _models(hourly)
    if not models:
        raise WeatherError("Open-Meteo's answer holds no variable that is known here")
    if set(models) == {""}:  # the service drops the suffix when one model alone covers the place
        return _columns(hourly, units, hours, models[""])
    if wanted is not None:
        if wanted not in models:
            raise WeatherError(f"Open-Meteo's answer has no model {wanted!r}; it has {', '.join(sorted(models))}")
        return _columns(hourly, units, hours, models[wanted])
    read = {name: _columns(hourly, units, hours, columns) for name, columns in models.items()}
    given = [group for group in NEEDED if any(set(group) & set(columns) for columns, _ in read.values())]

    def hours_known(name: str) -> tuple[int, int]:
        columns = read[name][0]
        known = [np.broadcast_to(known_at(columns, group), hours) for group in given]
        everything = np.all(known, axis=0) if known else np.zeros(hours)
        return int(np.sum(everything)), sum(int(np.sum(np.isfinite(values))) for values in columns.values())

    best = max(read, key=hours_known)
    columns, notes = read[best]
    if len(models) > 1:
        choice = f"of {len(models)} models {best or 'the unnamed one'} is used: it knows the most hours"
        notes = (choice, *notes)
    return columns, notes


def _columns(
    hourly: Mapping[str, object], units: Mapping[str, object], hours: int, found: dict[str, dict[int, str]]
) -> tuple[Columns, tuple[str, ...]]:
    """Return the columns of one model in our units, members in ascending order along the first axis."""
    members = sorted({member for by_member in found.values() for member in by_member})
    columns: Columns = {}
    notes: tuple[str, ...] = ()
    for name, by_member in found.items():
        values = np.full((len(members), hours), np.nan)
        for member, column in by_member.items():
            read, note = _in_our_unit(column, _numbers(column, hourly[column], hours), units.get(column), name)
            notes += note
            # What an ensemble gives once, such as a probability, holds for every member.
            values[slice(None) if set(by_member) == {0} else members.index(member)] = read
        columns[name] = values
    return columns, notes


def _numbers(column: str, written: object, hours: int) -> FloatArray:
    if not isinstance(written, list):
        raise WeatherError(f"Open-Meteo's answer is not of the documented shape: {column} is no list")
    if len(written) != hours:
        raise WeatherError(
            f"Open-Meteo's answer does not fit together: {column} has {len(written)} values for {hours} times"
        )
    for row, value in enumerate(written):
        if value is not None and type(value) not in {int, float}:
            raise WeatherError(
                f"Open-Meteo's answer has a value that is no number: {column} holds {one_line(repr(value))} at {row}"
            )
    try:
        values = np.array(written, dtype=np.float64)
    except OverflowError:
        raise WeatherError(f"Open-Meteo's answer has a number in {column} that is too large to read") from None
    return np.where(np.isfinite(values), values, np.nan)


def _in_our_unit(column: str, values: FloatArray, unit: object, name: str) -> tuple[FloatArray, tuple[str, ...]]:
    ours, scale, offset = _UNITS.get(str(unit), ("", 1.0, 0.0))
    if ours == VARIABLES[name].unit:
        return values * scale + offset, ()
    # A model that does not cover the place is given with the unit "undefined" and nulls. A unit is never guessed.
    lost = np.isfinite(values).any()
    note = f"{column} left out: its unit {one_line(str(unit))!r} is not known for {name}"
    return np.full_like(values, np.nan), (note,) if lost else ()
