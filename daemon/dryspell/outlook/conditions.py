"""The weather as one piece meets it: at its surface, in its shelter, in its finisher's hours, on a 15-minute grid."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from dryspell.outlook.cover import CoverTimes, cover_times
from dryspell.outlook.daytime import in_daylight, in_hours
from dryspell.outlook.exposure import SHELTERS, cover_wind, enclosure_of, exposure_of, wind_factor
from dryspell.outlook.spans import BoolArray, Looks
from dryspell.outlook.sunlight import GLOBAL, cloud_cover, sun_on_face, sun_on_walls
from dryspell.science import air, longwave, sun, surface
from dryspell.science.enclosure import Enclosure, air_inside
from dryspell.trade.piece import Piece, Site
from dryspell.weather.resample import at_points, even_grid, most_in_cells, over_cells
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

STEP_S = 900
GUST_SHARE = 1.5
"""A gust counts as a wind of two thirds its speed: 9 m/s gusts stop where 6 m/s wind does (common practice)."""
STANDARD_PRESSURE_HPA = 1013.25
HOTTEST_C = 80.0
"""No air in a tent is taken for hotter: what the heat balance holds for, and far beyond any coat."""

_LONGWAVE = "surface_downwelling_longwave_flux_in_air"
_KEPT_OFF = ("precipitation_amount", "cloud_area_fraction", _LONGWAVE, GLOBAL)
"""What need not be known while a cover is on."""


@dataclass(frozen=True)
class Conditions:
    """What reaches a piece. Arrays have shape (members, times) unless said; NaN is not known.

    Attributes
    ----------
    times
        The grid, datetime64[s] UTC, even steps, shape (times,).
    air_c, humidity_pct, dew_point_c, surface_c
        At the piece [degC, %].
    wind_m_s
        At the piece; a gust counts for two thirds.
    rain_mm, rain_chance_pct
        In the cell that ends at the instant. The chance is NaN where nobody gives one.
    water_mm
        Dew and rain lying on the surface.
    in_hours, in_daylight
        Whether the finisher works and sees, shape (times,).
    under_cover
        Where a cover keeps the brush out, shape (times,); None for nowhere.
    coarse
        Where the weather lies between stamps too far apart to show a night, shape (times,), or empty for nowhere.
    given
        Where each weather variable that is needed is known, by its CF name, shape (times,).
    """

    times: TimeArray
    air_c: FloatArray
    humidity_pct: FloatArray
    dew_point_c: FloatArray
    surface_c: FloatArray
    wind_m_s: FloatArray
    rain_mm: FloatArray
    rain_chance_pct: FloatArray
    water_mm: FloatArray
    in_hours: BoolArray
    in_daylight: BoolArray
    coarse: BoolArray = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))
    given: Mapping[str, BoolArray] = field(default_factory=dict)
    under_cover: BoolArray | None = None

    @cached_property
    def looks(self) -> Looks:
        """The least and the greatest of its series in spans."""
        return Looks()

    @property
    def margin_k(self) -> FloatArray:
        """Surface temperature over the dew point [K]."""
        return self.surface_c - self.dew_point_c

    @property
    def step_s(self) -> int:
        """Length of a step of the grid [s]."""
        return int((self.times[1] - self.times[0]) / np.timedelta64(1, "s"))

    @property
    def known(self) -> BoolArray:
        """Where everything a verdict needs is known."""
        needed = (self.air_c, self.humidity_pct, self.surface_c, self.dew_point_c, self.wind_m_s, self.rain_mm)
        known: BoolArray = np.isfinite(np.sum(needed, axis=0) + self.water_mm)
        return known


def sees_sky(piece: Piece) -> bool:
    """Say whether any open sky is over the piece."""
    return SHELTERS[piece.shelter].sky > 0 and piece.sky_pct > 0


def needed_variables(piece: Piece, table: WeatherTable) -> list[str]:
    """Return the weather variables a verdict on this piece needs, as far as the table can choose between them."""
    shelter = SHELTERS[piece.shelter]
    needed = ["air_temperature", "wind_speed"]
    needed.append("dew_point_temperature" if table.knows("dew_point_temperature") else "relative_humidity")
    if shelter.rain:
        needed.append("precipitation_amount")
    if sees_sky(piece) and not table.knows(_LONGWAVE):
        needed.append("cloud_area_fraction")
    if (shelter.diffuse > 0 or piece.shut_by_day) and not table.knows(GLOBAL) and "cloud_area_fraction" not in needed:
        needed.append("cloud_area_fraction" if table.knows("cloud_area_fraction") else GLOBAL)
    return needed


@dataclass(frozen=True)
class FaceWeather:
    """The weather as the heat balance of a piece's face takes it, on the grid; shape (members, times)."""

    times: TimeArray
    air_c: FloatArray
    dew_point_c: FloatArray
    wind_10m_m_s: FloatArray
    beam_w_m2: FloatArray
    diffuse_w_m2: FloatArray
    sky_w_m2: FloatArray
    rain_mm: FloatArray
    pressure_hpa: float

    @property
    def plane_w_m2(self) -> FloatArray:
        """The sun's power on the face. [W m-2]"""
        return self.beam_w_m2 + self.diffuse_w_m2


def face_weather(piece: Piece, site: Site, table: WeatherTable, *, shaded: bool = False) -> FaceWeather:
    """Work out the weather at the face of a piece; parameters and errors are those of `conditions_at`."""
    grid = even_grid(table.times, STEP_S)
    if grid.size < 2:
        raise ValueError("the weather spans less than half an hour")
    shelter = SHELTERS[piece.shelter]
    if shaded:
        shelter = replace(shelter, beam=0.0)
    cover = cover_times(piece, site, grid)
    outdoor_c = at_points(table, "air_temperature", grid)
    outdoor_dew_c = dew_point_at(table, grid, outdoor_c)
    sky = _sky(table, grid, outdoor_c, outdoor_dew_c, seen=sees_sky(piece))
    rain = over_cells(table, "precipitation_amount", grid, mean=False) if shelter.rain else np.zeros_like(outdoor_c)
    pressure = at_points(table, "surface_air_pressure", grid)
    beam, diffuse = sun_on_face(piece, site, table, grid, shelter)
    found = FaceWeather(
        times=grid,
        air_c=outdoor_c,
        dew_point_c=outdoor_dew_c,
        wind_10m_m_s=cover.wind(at_points(table, "wind_speed", grid), cover_wind(piece)),
        beam_w_m2=beam,
        diffuse_w_m2=diffuse,
        sky_w_m2=cover.sky(sky, outdoor_c),
        rain_mm=cover.off(rain),
        pressure_hpa=float(np.nanmean(pressure)) if np.isfinite(pressure).any() else _pressure_at(site.elevation_m),
    )
    enclosure = enclosure_of(piece)
    if enclosure is None:
        return found
    if not piece.shut_by_day:
        return _inside(found, enclosure, 0.0)
    sun_w_m2 = sun_on_walls(piece, site, table, grid, shaded=shaded)
    if piece.sun_warmth_k_m2_w is not None:
        return _inside(found, enclosure, sun_w_m2)
    # How far the sun warms the air in a shut tent nobody knows: from not at all, which is the worst for dew and drying,
    # to as far as in one of clear film. Both ways are members, and both have to do.
    without = np.where(np.isnan(sun_w_m2), np.nan, 0.0)
    return _both_ways(_inside(found, enclosure, without), _inside(found, enclosure, sun_w_m2))


def _inside(w: FaceWeather, enclosure: Enclosure, sun_w_m2: npt.ArrayLike) -> FaceWeather:
    """Return the weather with the air of the enclosure in place of that outdoors."""
    air_c, dew_c = air_inside(w.times, w.air_c, w.dew_point_c, enclosure, sun_w_m2=sun_w_m2)
    air_c = np.minimum(air_c, HOTTEST_C)
    return replace(w, air_c=air_c, dew_point_c=np.minimum(dew_c, air_c))


def _both_ways(one: FaceWeather, other: FaceWeather) -> FaceWeather:
    """Return the members of both."""
    names = [each.name for each in fields(FaceWeather) if each.name not in ("times", "pressure_hpa")]
    columns: dict[str, Any] = {name: np.concatenate([getattr(one, name), getattr(other, name)]) for name in names}
    return replace(one, **columns)


def conditions_at(piece: Piece, site: Site, table: WeatherTable, *, shaded: bool = False) -> Conditions:
    """Work out what reaches a piece from the weather at its site.

    Parameters
    ----------
    shaded
        With a shade hung: no beam of the sun reaches the face.

    Raises
    ------
    ValueError
        When the table spans less than two steps of the grid.
    """
    w = face_weather(piece, site, table, shaded=shaded)
    state = surface.solve(
        w.times,
        w.air_c,
        w.dew_point_c,
        w.wind_10m_m_s,
        w.plane_w_m2,
        w.sky_w_m2,
        exposure_of(piece, site),
        rain_mm=w.rain_mm,
        pressure_hpa=w.pressure_hpa,
    )
    zenith, _ = sun.position(w.times, site.latitude_deg, site.longitude_deg)
    cover = cover_times(piece, site, w.times)
    gust = cover.wind(most_in_cells(table, "wind_speed_of_gust", w.times), cover_wind(piece))
    chance = cover.off(most_in_cells(table, "probability_of_precipitation", w.times))
    ways = (w.air_c.shape[0] // gust.shape[0], 1)
    gust, chance = np.tile(gust, ways), np.tile(chance, ways)
    wind_10m = np.where(np.isfinite(w.wind_10m_m_s), np.fmax(w.wind_10m_m_s, gust / GUST_SHARE), np.nan)
    return Conditions(
        times=w.times,
        air_c=w.air_c,
        humidity_pct=air.relative_humidity(w.air_c, w.dew_point_c),
        dew_point_c=w.dew_point_c,
        surface_c=state.temperature_c,
        wind_m_s=wind_10m * wind_factor(piece, site),
        rain_mm=w.rain_mm,
        rain_chance_pct=chance if SHELTERS[piece.shelter].rain else np.zeros_like(w.air_c),
        water_mm=state.water_mm,
        in_hours=in_hours(w.times, piece.hours, site.zone),
        in_daylight=in_daylight(w.times, zenith, piece.after_sunrise_h),
        coarse=_coarse(table, w.times),
        given={name: _given(table, name, w.times, cover) for name in needed_variables(piece, table)},
        under_cover=cover.shuts_out if piece.cover else None,
    )


def _coarse(table: WeatherTable, grid: TimeArray) -> BoolArray:
    """Return where an instant of the grid, or the step of the table it lies in, is coarse."""
    if table.coarse is None:
        return np.zeros(grid.size, dtype=np.bool_)
    after = np.clip(np.searchsorted(table.times, grid, side="left"), 0, table.times.size - 1)
    return np.asarray(table.coarse[after])


def _given(table: WeatherTable, name: str, grid: TimeArray, cover: CoverTimes) -> BoolArray:
    cell = VARIABLES[name].cell
    values = at_points(table, name, grid) if cell == "point" else over_cells(table, name, grid, mean=cell == "mean")
    given = np.isfinite(values).all(axis=0)
    return np.asarray(given | cover.cells if name in _KEPT_OFF else given)


def dew_point_at(table: WeatherTable, grid: TimeArray, air_c: FloatArray) -> FloatArray:
    """Return the dew point at instants [degC], shape (members, instants): the given one, else from the humidity."""
    dew_c = at_points(table, "dew_point_temperature", grid)
    humidity = np.clip(at_points(table, "relative_humidity", grid), 1.0, 100.0)
    known = np.where(np.isfinite(dew_c), dew_c, air.dew_point(air_c, humidity))
    return np.minimum(known, air_c)


def _sky(table: WeatherTable, grid: TimeArray, air_c: FloatArray, dew_c: FloatArray, *, seen: bool) -> FloatArray:
    """Return the longwave from the sky [W m-2]: the forecast's own, else from air and cloud."""
    if not seen:
        # The value has no weight, and cloud need not be known.
        return np.where(np.isfinite(air_c), 300.0, np.nan)
    if table.knows(_LONGWAVE):
        return over_cells(table, _LONGWAVE, grid, mean=True)
    return longwave.sky_longwave(air_c, air.relative_humidity(air_c, dew_c), cloud_cover(table, grid))


def _pressure_at(elevation_m: float) -> float:
    """Return the pressure of the standard atmosphere (ISO 2533) [hPa]."""
    return STANDARD_PRESSURE_HPA * float((1.0 - 2.25577e-5 * elevation_m) ** 5.25588)
