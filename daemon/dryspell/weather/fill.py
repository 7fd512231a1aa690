"""What one table of weather lacks, taken from another one, with a mark on all that is."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from dryspell.science import air
from dryspell.weather.checks import as_instant, known_at
from dryspell.weather.resample import at_points, most_in_cells, over_cells
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

BoolArray = npt.NDArray[np.bool_]

_AIR, _HUMIDITY, _DEW = "air_temperature", "relative_humidity", "dew_point_temperature"
_SUN = (
    "surface_downwelling_shortwave_flux_in_air",
    "surface_direct_downwelling_shortwave_flux_in_air",
    "surface_diffuse_downwelling_shortwave_flux_in_air",
)
# Without these nothing is judged, so that their age is the table's age.
_NEEDED = (_AIR, _DEW, "precipitation_amount", "wind_speed", "cloud_area_fraction")
# These are judged by where they are known; sunshine is worked out from cloud where they are not.
_HELPFUL = ("wind_speed_of_gust", "probability_of_precipitation", _SUN[0])

WITHIN = timedelta(days=7)
"""A hole further ahead than this is filled, but nobody is asked for its sake."""


def lacking(table: WeatherTable, now: datetime) -> list[str]:
    """Return what a judgement would want and the table does not know from `now` on, for all members.

    Counted are the hours of the coming `WITHIN` up to the table's last temperature. Where there is either humidity or
    dew point, both are known.
    """
    near = (table.times <= as_instant(now + WITHIN)) & _reach(table)
    full = {**table.columns, _DEW: dew_point_of(table)}
    return [
        name
        for name in (*_NEEDED, *_HELPFUL)
        if (near & _ahead(table, name, now) & ~_known(full, name, table.times.size)).any()
    ]


def filled_in(table: WeatherTable, other: WeatherTable, now: datetime) -> WeatherTable:
    """Return a table with what it does not know of the time ahead, as far as another one knows it.

    What is there already stays. A variable that is not known somewhere between `now` and the last temperature is filled
    in wherever it is not known up to there, also in the past. Moisture comes as the dew point, which is the air's own,
    and never over the temperature. Direct and diffuse sunshine come with the global they are parts of; sunshine that
    nobody gives for the whole time is left out, for cloud tells it in that case. Of several members of the other the
    first is taken, and it is that of all members here.

    `issued_at` is that of the oldest part that a judgement needs. What was taken stands in `filled` and in the notes.
    """
    reach, air_c = _reach(table), table.column(_AIR)
    theirs = _brought(replace(other, columns={**other.columns, _DEW: dew_point_of(other)}), table.times)
    mine = {**table.columns, _DEW: dew_point_of(table)}
    taken: dict[str, BoolArray] = {}
    parts: tuple[str, ...] = ()
    for name in (*_NEEDED, *_HELPFUL):
        values = np.broadcast_to(theirs[name], air_c.shape)
        own = mine.get(name, np.full(air_c.shape, np.nan))
        if name == _DEW:
            values = np.fmin(values, mine.get(_AIR, air_c))
        holes = np.isnan(own) & np.isfinite(values) & reach
        if name == _SUN[0] and not table.knows(name) and (reach & ~np.isfinite(values).all(axis=0)).any():
            continue
        if (holes & _ahead(table, name, now)).any():
            mine[name] = np.where(holes, values, own)
            taken[name] = np.asarray(holes.any(axis=0))
            if name == _SUN[0]:
                parts = _SUN[1:]
    if not taken:
        return table
    mine |= {part: np.where(taken[_SUN[0]], theirs[part], table.column(part)) for part in parts}
    if _DEW not in taken and _DEW not in table.columns:
        del mine[_DEW]
    elif _DEW not in taken:
        mine[_DEW] = table.columns[_DEW]
    oldest = min((table, other), key=_due) if set(taken) & set(_NEEDED) else table
    return replace(
        table,
        columns=mine,
        issued_at=oldest.issued_at,
        cycle_h=oldest.cycle_h,
        attribution="; ".join(dict.fromkeys(credit for credit in (table.attribution, other.attribution) if credit)),
        notes=(*table.notes, *(_note(name, where, other.source) for name, where in taken.items())),
        filled={**table.filled, **{name: _and(table.filled.get(name), other.source) for name in (*taken, *parts)}},
        coarse=_coarse(table, other, np.any(list(taken.values()), axis=0)),
    )


def _due(table: WeatherTable) -> datetime:
    """Return when a newer one is to be had."""
    return table.issued_at + timedelta(hours=table.cycle_h)


def dew_point_of(table: WeatherTable) -> FloatArray:
    """Return the dew point [degC], worked out from temperature and humidity where only those are known."""
    humidity = np.clip(table.column(_HUMIDITY), 1.0, 100.0)
    given = table.column(_DEW)
    return np.where(np.isfinite(given), given, air.dew_point(table.column(_AIR), humidity))


def _brought(other: WeatherTable, times: TimeArray) -> dict[str, FloatArray]:
    """Return the first member of what may be taken, on another time axis; NaN outside its own."""
    first = replace(other, columns={name: column[:1] for name, column in other.columns.items()})
    return {name: onto(first, name, times) for name in (*_NEEDED, *_HELPFUL, *_SUN[1:])}


def onto(table: WeatherTable, name: str, times: TimeArray) -> FloatArray:
    """Return a variable on another time axis, shape (members, times): NaN where the table does not reach.

    Points are interpolated; sums, means and maxima are over the steps that end at the stamps, the first of which is
    taken to be as long as the second. Nothing is known between stamps too far apart (`resample.LONGEST_STEP`).
    """
    cell = VARIABLES[name].cell
    if cell == "point":
        inside = (times >= table.times[0]) & (times <= table.times[-1])
        return np.where(inside, at_points(table, name, times), np.nan)
    ends, own = _with_begin(times), _with_begin(table.times)
    column = np.concatenate([np.full((table.members, 1), np.nan), table.column(name)], axis=1)
    steps = replace(table, times=own, columns={name: column}, coarse=None)
    inside = (ends[:-1] >= own[0]) & (times <= own[-1])
    if cell == "maximum":
        values = most_in_cells(steps, name, ends)
    else:
        values = over_cells(steps, name, ends, mean=cell == "mean")
    return np.where(inside, values[:, 1:], np.nan)


def _with_begin(stamps: TimeArray) -> TimeArray:
    """Return stamps with the beginning of the first step before them."""
    return np.concatenate([stamps[:1] - (stamps[1] - stamps[0]), stamps])


def _reach(table: WeatherTable) -> BoolArray:
    """Return the times up to the last temperature."""
    known = np.broadcast_to(known_at(table.columns, (_AIR,)), table.times.shape)
    reach: BoolArray = np.cumsum(known[::-1])[::-1] > 0
    return reach


def _ahead(table: WeatherTable, name: str, now: datetime) -> BoolArray:
    """Return the times that tell of what is ahead: of points also the last one before `now`, which they go on from."""
    at = as_instant(now)
    last = table.times[max(int(np.searchsorted(table.times, at, side="right")) - 1, 0)]
    ahead: BoolArray = table.times >= (min(last, at) if VARIABLES[name].cell == "point" else at)
    return ahead


def _known(columns: Mapping[str, FloatArray], name: str, size: int) -> BoolArray:
    if name not in columns:
        return np.zeros(size, dtype=np.bool_)
    return np.asarray(np.isfinite(columns[name]).all(axis=0))


def _coarse(table: WeatherTable, other: WeatherTable, taken: BoolArray) -> BoolArray | None:
    if other.coarse is None:
        return table.coarse
    own = np.zeros(table.times.size, dtype=np.bool_) if table.coarse is None else table.coarse
    right = np.clip(np.searchsorted(other.times, table.times, side="left"), 0, other.times.size - 1)
    left = np.clip(np.searchsorted(other.times, table.times, side="right") - 1, 0, other.times.size - 1)
    return own | (taken & (other.coarse[left] | other.coarse[right]))


def _note(name: str, where: BoolArray, source: str) -> str:
    part = "" if where.all() else f" at {int(np.count_nonzero(where))} of {where.size} times"
    return f"{name}{part} from {source}"


def _and(before: str | None, source: str) -> str:
    return source if before in {None, source} else f"{before} and {source}"
