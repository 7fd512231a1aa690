"""The weather of the days ahead as a document: hour by hour, as it is foreseen at a site or as it reaches a piece."""

from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from pydantic import Field

from dryspell.answers.common import WeatherPart, Whole, edition
from dryspell.answers.part import Instant, Part
from dryspell.outlook.cloud import every_way
from dryspell.outlook.columns import dew_point_at
from dryspell.outlook.conditions import face_weather
from dryspell.outlook.sight import met_by
from dryspell.outlook.spans import IndexArray
from dryspell.science.air import relative_humidity
from dryspell.trade.piece import Piece, Site
from dryspell.weather.resample import at_points, even_grid, most_in_cells, over_cells
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

BEFORE = timedelta(hours=24)
HOUR_S = 3600
_SUN = "surface_downwelling_shortwave_flux_in_air"
_MIDDLE = "of several ways the weather may go the middle one"


class _Hour(Part):
    at: Instant = Field(description="the instant; sums, means and the most are of the hour that ends there")
    air_c: float | None = Field(description=f"air temperature, {_MIDDLE}")
    dew_point_c: float | None = Field(description="dew point")
    humidity_pct: float | None = Field(description="relative humidity")
    wind_m_s: float | None = Field(description="wind at 10 m; at a piece as it reaches it, a gust for two thirds")
    rain_mm: float | None = Field(description="rain in the hour, the mean of the ways it may go")
    rain_chance_pct: float | None = Field(description="how likely rain is in the hour, where the source says so")
    sun_w_m2: float | None = Field(description="the sun's power in the mean of the hour; on a piece on its face")


class SiteHour(_Hour):
    """The weather at a site at one hour."""

    gust_m_s: float | None = Field(description="the strongest gust of the hour")
    cloud_pct: float | None = Field(description="how much of the sky is cloud")


class PieceHour(_Hour):
    """The weather as it reaches a piece at one hour."""

    surface_c: float | None = Field(description="temperature of its surface")
    margin_k: float | None = Field(description="surface temperature over the dew point")
    margin_low_k: float | None = Field(description="what a tenth of the ways are under")
    margin_high_k: float | None = Field(description="what a tenth of the ways are over")
    water_mm: float | None = Field(description="dew and rain that lie on it")


class _Weather(Whole):
    site: str = Field(description="the key of the site")
    timezone: str = Field(description="the zone of the site's clocks")
    members: int = Field(description="how many ways the weather may go; 1 is a single forecast")
    weather: WeatherPart | None = Field(description="whose weather it is; null where there is none")


class SiteWeather(_Weather):
    """The weather of the days ahead at a site."""

    schema_: Literal["dryspell.site_weather/1"] = edition("dryspell.site_weather/1")
    hours: list[SiteHour] = Field(description="hour by hour, from a day before the present on")


class PieceWeather(_Weather):
    """The weather of the days ahead as it reaches a piece; worked out, not measured."""

    schema_: Literal["dryspell.piece_weather/1"] = edition("dryspell.piece_weather/1")
    piece: str = Field(description="the key of the piece")
    hours: list[PieceHour] = Field(description="hour by hour, from a day before the present on")


def site_weather(site: Site, table: WeatherTable | None, now: datetime) -> SiteWeather:
    """Return the weather of the days ahead at a site."""
    hours: list[SiteHour] = []
    if table is not None:
        grid = even_grid(table.times, HOUR_S)
        air_c = at_points(table, "air_temperature", grid)
        dew_c = dew_point_at(table, grid, air_c)
        columns = {
            "air_c": middle(air_c),
            "dew_point_c": middle(dew_c),
            "humidity_pct": middle(relative_humidity(air_c, dew_c)),
            "wind_m_s": middle(at_points(table, "wind_speed", grid)),
            "rain_mm": _mean(over_cells(table, "precipitation_amount", grid, mean=False)),
            "rain_chance_pct": middle(most_in_cells(table, "probability_of_precipitation", grid)),
            "sun_w_m2": middle(over_cells(table, _SUN, grid, mean=True)),
            "gust_m_s": middle(most_in_cells(table, "wind_speed_of_gust", grid)),
            "cloud_pct": middle(at_points(table, "cloud_area_fraction", grid)),
        }
        hours = [SiteHour.model_validate(row) for row in _rows(grid, columns, now)]
    return SiteWeather(
        generated_at=now,
        site=site.key,
        timezone=site.zone.key,
        members=table.members if table else 1,
        weather=table and _whose(table, now),
        hours=hours,
    )


def piece_weather(piece: Piece, site: Site, table: WeatherTable | None, now: datetime) -> PieceWeather:
    """Return the weather of the days ahead as it reaches a piece, with its shade and its cover where it has them."""
    hours: list[PieceHour] = []
    if table is not None and table.times[-1] - table.times[0] > np.timedelta64(2 * HOUR_S, "s"):
        ways = every_way(table, site)
        bare, met = met_by(piece, site, ways)
        sun = face_weather(piece, site, ways, shaded=piece.shade).plane_w_m2
        every = HOUR_S // met.step_s
        first = int(-(met.times[0] - np.datetime64(0, "s")) / np.timedelta64(met.step_s, "s") % every)
        points = np.arange(first, met.times.size, every)
        low, high = np.percentile(met.margin_k, (10, 90), axis=0)
        columns = {
            "air_c": middle(met.air_c),
            "dew_point_c": middle(met.dew_point_c),
            "humidity_pct": middle(met.humidity_pct),
            "wind_m_s": middle(met.wind_m_s),
            "rain_chance_pct": middle(met.rain_chance_pct),
            "surface_c": middle(met.surface_c),
            "margin_k": middle(met.margin_k),
            "margin_low_k": low,
            "margin_high_k": high,
            "water_mm": middle(bare.water_mm),
        }
        columns = {name: column[points] for name, column in columns.items()}
        columns["rain_mm"] = _of_hours(_mean(met.rain_mm), points, every) * every
        columns["sun_w_m2"] = _of_hours(middle(sun), points, every)
        hours = [PieceHour.model_validate(row) for row in _rows(met.times[points], columns, now)]
    return PieceWeather(
        generated_at=now,
        site=site.key,
        piece=piece.key,
        timezone=site.zone.key,
        members=table.members if table else 1,
        weather=table and _whose(table, now),
        hours=hours,
    )


def middle(values: FloatArray) -> FloatArray:
    """Return the middle of the ways the weather may go; NaN where one of them is not known."""
    return np.asarray(np.median(values, axis=0))


def _mean(values: FloatArray) -> FloatArray:
    return np.asarray(values.mean(axis=0))


def _of_hours(cells: FloatArray, points: IndexArray, every: int) -> FloatArray:
    """Return the mean of the cells of the hour that ends at each point; NaN where it is not all known."""
    before = np.concatenate((np.full(every - 1, np.nan), cells))
    return np.asarray(np.lib.stride_tricks.sliding_window_view(before, every).mean(axis=1)[points])


def _rows(times: TimeArray, columns: dict[str, FloatArray], now: datetime) -> list[dict[str, object]]:
    since = np.datetime64(int((now - BEFORE).timestamp()), "s")
    names = list(columns)
    found = np.round(np.array([columns[name] for name in names])[:, times >= since], 2)
    instants = [datetime.fromtimestamp(int(at), tz=UTC) for at in times[times >= since].astype(np.int64)]
    return [
        {"at": at, **dict(zip(names, row, strict=True))} for at, row in zip(instants, found.T.tolist(), strict=True)
    ]


def _whose(table: WeatherTable, now: datetime) -> WeatherPart:
    age_h = round((now - table.issued_at).total_seconds() / 3600.0, 2)
    return WeatherPart(
        source=table.source,
        attribution=table.attribution,
        issued_at=table.issued_at,
        age_h=age_h,
        reaches=datetime.fromtimestamp(int(table.times[-1].astype(np.int64)), tz=UTC),
        notes=list(table.notes),
    )
