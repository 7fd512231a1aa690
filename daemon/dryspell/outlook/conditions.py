"""The weather as one piece meets it: at its surface, in its shelter, in its finisher's hours, on a 15-minute grid."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from dryspell.outlook.columns import LONGWAVE, Columns
from dryspell.outlook.cover import CoverTimes, cover_times
from dryspell.outlook.daytime import in_daylight, in_hours
from dryspell.outlook.exposure import SHELTERS, cover_wind, enclosure_of, exposure_of, wind_factor
from dryspell.outlook.spans import BoolArray, Looks
from dryspell.outlook.sunlight import GLOBAL, sun_on_face, sun_on_walls
from dryspell.science import air, surface
from dryspell.science.enclosure import Enclosure, air_inside
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

GUST_SHARE = 1.5
"""A gust counts as a wind of two thirds its speed: 9 m/s gusts stop where 6 m/s wind does (common practice)."""
STANDARD_PRESSURE_HPA = 1013.25
HOTTEST_C = 80.0
"""No air in a tent is taken for hotter: what the heat balance holds for, and far beyond any coat."""

_KEPT_OFF = ("precipitation_amount", "cloud_area_fraction", LONGWAVE, GLOBAL)
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
    if sees_sky(piece) and not table.knows(LONGWAVE):
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


def face_weather(
    piece: Piece, site: Site, table: WeatherTable, *, shaded: bool = False, columns: Columns | None = None
) -> FaceWeather:
    """Work out the weather at the face of a piece; parameters and errors are those of `conditions_at`."""
    of = columns or Columns(site, table)
    grid = of.grid
    shelter = SHELTERS[piece.shelter]
    if shaded:
        shelter = replace(shelter, beam=0.0)
    cover = cover_times(piece, site, grid)
    # Where none is seen the value has no weight, and cloud need not be known.
    sky = of.sky_w_m2 if sees_sky(piece) else np.where(np.isfinite(of.air_c), 300.0, np.nan)
    pressure = of.at_points("surface_air_pressure")
    beam = diffuse = np.zeros((table.members, grid.size))
    if shelter.diffuse or shelter.beam:
        beam, diffuse = sun_on_face(piece, site, of.sunlight, shelter)
    found = FaceWeather(
        times=grid,
        air_c=of.air_c,
        dew_point_c=of.dew_point_c,
        wind_10m_m_s=cover.wind(of.at_points("wind_speed"), cover_wind(piece)),
        beam_w_m2=beam,
        diffuse_w_m2=diffuse,
        sky_w_m2=cover.sky(sky, of.air_c),
        rain_mm=cover.off(of.rain_mm if shelter.rain else np.zeros_like(of.air_c)),
        pressure_hpa=float(np.nanmean(pressure)) if np.isfinite(pressure).any() else _pressure_at(site.elevation_m),
    )
    enclosure = enclosure_of(piece)
    if enclosure is None:
        return found
    if not piece.shut_by_day:
        return _inside(found, enclosure, 0.0)
    sun_w_m2 = sun_on_walls(piece, site, of.sunlight, shaded=shaded)
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


def conditions_at(
    piece: Piece, site: Site, table: WeatherTable, *, shaded: bool = False, columns: Columns | None = None
) -> Conditions:
    """Work out what reaches a piece from the weather at its site.

    Parameters
    ----------
    shaded
        With a shade hung: no beam of the sun reaches the face.
    columns
        Those of the table there, where more pieces than one ask for them; left out, they are worked out.

    Raises
    ------
    ValueError
        When the table spans less than two steps of the grid.
    """
    of = columns or Columns(site, table)
    w = face_weather(piece, site, table, shaded=shaded, columns=of)
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
    cover = cover_times(piece, site, w.times)
    gust = cover.wind(of.gust_m_s, cover_wind(piece))
    chance = cover.off(of.rain_chance_pct)
    ways = (w.air_c.shape[0] // gust.shape[0], 1)
    gust, chance = np.tile(gust, ways), np.tile(chance, ways)
    wind_10m = np.where(np.isfinite(w.wind_10m_m_s), np.fmax(w.wind_10m_m_s, gust / GUST_SHARE), np.nan)
    return Conditions(
        times=w.times,
        air_c=w.air_c,
        humidity_pct=of.humidity_pct if w.air_c is of.air_c else air.relative_humidity(w.air_c, w.dew_point_c),
        dew_point_c=w.dew_point_c,
        surface_c=state.temperature_c,
        wind_m_s=wind_10m * wind_factor(piece, site),
        rain_mm=w.rain_mm,
        rain_chance_pct=chance if SHELTERS[piece.shelter].rain else np.zeros_like(w.air_c),
        water_mm=state.water_mm,
        in_hours=in_hours(w.times, piece.hours, site.zone),
        in_daylight=in_daylight(w.times, of.zenith_deg, piece.after_sunrise_h),
        coarse=of.coarse,
        given={name: _given(of, name, cover) for name in needed_variables(piece, table)},
        under_cover=cover.shuts_out if piece.cover else None,
    )


def _given(of: Columns, name: str, cover: CoverTimes) -> BoolArray:
    given = of.given(name)
    return np.asarray(given | cover.cells if name in _KEPT_OFF else given)


def _pressure_at(elevation_m: float) -> float:
    """Return the pressure of the standard atmosphere (ISO 2533) [hPa]."""
    return STANDARD_PRESSURE_HPA * float((1.0 - 2.25577e-5 * elevation_m) ** 5.25588)
