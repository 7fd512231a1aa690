"""Makes an ensemble of a single forecast: members that differ from it as it is wont to be wrong."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from statistics import NormalDist

import numpy as np

from dryspell.science import air, sun
from dryspell.weather.checks import as_instant
from dryspell.weather.clearness import CLOUD, GLOBAL
from dryspell.weather.error_model import GUST, ErrorModel, with_error
from dryspell.weather.noise import courses
from dryspell.weather.recent import AIR, DEW, HOUR, WIND
from dryspell.weather.showers import RAIN, rain_of
from dryspell.weather.table import VARIABLES, FloatArray, WeatherTable

_HUMIDITY, _SURFACE = "relative_humidity", "surface_temperature"
_SUNSHINE = (
    GLOBAL,
    "surface_direct_downwelling_shortwave_flux_in_air",
    "surface_diffuse_downwelling_shortwave_flux_in_air",
)
# Each has its own stream of random numbers, whichever of the others a table has.
_STREAMS = {AIR: 1, DEW: 2, WIND: 3, CLOUD: 4, RAIN: 5}
_FARTHEST_SCORE = 3.0
_SCORE_OF_90_PCT = NormalDist().inv_cdf(0.9)


def members_of(table: WeatherTable, now: datetime, errors: ErrorModel, *, count: int = 20, seed: int) -> WeatherTable:
    """Return the forecast as an ensemble of `count` members, the first of which is the forecast itself.

    An error of temperature, dew point, wind or cloud lasts as long, and is as large at each lead time, as the model
    says; that of the dew point goes partly with that of temperature. Gusts go with the wind, humidity with temperature
    and dew point, sunshine with cloud. Rain comes and goes as its stated chance has it (`showers.rain_of`). What is
    unknown stays so in every member. Longwave and pressure are as forecast.

    Parameters
    ----------
    table
        A forecast; one of several members is returned as it is.
    now
        Up to here the members do not differ.
    errors
        Lead times are counted from when the table was issued.
    count
        Members, two at the least.
    seed
        See `noise.seed_of`. With the same seed a member is wrong in the same way at the same hour, whichever forecast
        it is of: the errors only grow with lead time.

    Raises
    ------
    ValueError
        For less than two members.
    """
    if count < 2:
        raise ValueError(f"odds need two members at the least, got {count}")
    if table.members > 1:
        return table
    lead_h = np.maximum((table.times - as_instant(table.issued_at)) / HOUR, 0.0)
    ahead = table.times > as_instant(now)

    def course(name: str, memory_h: float) -> FloatArray:
        return courses(seed, _STREAMS[name], table.times, memory_h, count - 1)

    made = _warmth(table, errors, lead_h, {name: course(name, errors.memory_h[name]) for name in (AIR, DEW)})
    gusty = np.clip(course(WIND, errors.memory_h[WIND]), -_FARTHEST_SCORE, _FARTHEST_SCORE)
    for name in (WIND, GUST):
        if table.knows(name):
            off = errors.at(name if name in errors.errors else WIND, lead_h, gusty)
            assumed = with_error(name, table.columns[name], off)
            made[name] = table.columns[name] + _said(table, name, gusty, assumed - table.columns[name])
    if WIND in made and GUST in made:
        made[GUST] = np.where(np.isfinite(made[WIND]), np.fmax(made[GUST], made[WIND]), made[GUST])
    if table.knows(CLOUD):
        made |= _sky(table, errors, lead_h, course(CLOUD, errors.memory_h[CLOUD]))
    if table.knows(RAIN):
        made[RAIN] = rain_of(table, lead_h, lambda memory_h: course(RAIN, memory_h))

    columns = {}
    for name, column in table.columns.items():
        bounds = VARIABLES[name]
        others = np.clip(made[name], bounds.low, bounds.high) if name in made else column
        # Unknown in the forecast is unknown in its members; nothing is made up in its place.
        others = np.where(ahead & np.isfinite(column), others, column)
        columns[name] = np.concatenate([column, np.broadcast_to(others, (count - 1, column.shape[1]))])
    note = f"{count - 1} members made from the one forecast, for the odds, by {errors.source}"
    return replace(table, columns=columns, notes=(*table.notes, note))


def _said(table: WeatherTable, name: str, score: FloatArray, assumed: FloatArray) -> FloatArray:
    """Return errors by what the source itself says of its spread, or as assumed where it says nothing.

    Its 10 and 90 % lie at 1.28 standard deviations; each side goes by the normal curve from there.
    """
    if name not in table.spread:
        return assumed
    low, high = table.spread[name] / _SCORE_OF_90_PCT
    said = np.where(score < 0.0, -low, high) * score
    return np.where(np.isfinite(said), said, assumed)


def _warmth(
    table: WeatherTable, errors: ErrorModel, lead_h: FloatArray, course: Mapping[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return temperatures, dew points and humidities of the other members."""
    follows = errors.dew_follows
    score = {AIR: course[AIR], DEW: follows * course[AIR] + np.sqrt(1.0 - follows**2) * course[DEW]}
    off = {}
    for name, part in score.items():
        near = np.clip(part, -_FARTHEST_SCORE, _FARTHEST_SCORE)
        off[name] = _said(table, name, near, errors.at(name, lead_h, near))
    made = {}
    for name in (AIR, _SURFACE):
        bounds = VARIABLES[name]
        made[name] = np.clip(table.column(name) + off[AIR], bounds.low, bounds.high)
    derived = air.dew_point(table.column(AIR), np.minimum(table.column(_HUMIDITY), 100.0))
    dew = np.where(np.isfinite(table.column(DEW)), table.column(DEW), derived)
    known = np.where(np.isfinite(made[AIR]), made[AIR], np.inf)
    made[DEW] = np.clip(np.minimum(dew + off[DEW], known), VARIABLES[DEW].low, VARIABLES[DEW].high)
    made[_HUMIDITY] = air.relative_humidity(made[AIR], made[DEW])
    return made


def _sky(table: WeatherTable, errors: ErrorModel, lead_h: FloatArray, course: FloatArray) -> dict[str, FloatArray]:
    """Return cloud of the other members, and the sunshine that such cloud lets through."""
    score = np.clip(course, -_FARTHEST_SCORE, _FARTHEST_SCORE)
    cloud = np.clip(table.columns[CLOUD] + errors.at(CLOUD, lead_h, score), 0.0, 100.0)
    through = sun.cloud_transmission(cloud / 100.0) / sun.cloud_transmission(table.columns[CLOUD] / 100.0)
    made = {CLOUD: cloud}
    for name in _SUNSHINE:
        if table.knows(name):
            # Where the cloud is not known its change is not either, and the sunshine stays as forecast.
            made[name] = table.columns[name] * np.where(np.isfinite(through), through, 1.0)
    return made
