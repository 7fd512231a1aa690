"""The sun on a face: what the forecast or a clear sky gives, less what shelter, skyline and hours told keep off."""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryspell.outlook.daytime import in_hours
from dryspell.outlook.exposure import ROOF_HIDES_ABOVE_DEG, Shelter
from dryspell.outlook.spans import BoolArray
from dryspell.science import sun
from dryspell.science.horizon import stands_clear
from dryspell.trade.piece import DiffuseSky, Piece, Site
from dryspell.weather.resample import at_points, over_cells
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

GLOBAL = "surface_downwelling_shortwave_flux_in_air"
_DIRECT = "surface_direct_downwelling_shortwave_flux_in_air"
WALL_SHARE, DIFFUSE_SHARE = 0.7, 1.5
"""Of a tent or small shed as wide as high: the area of its side, and what sky its roof and walls see together, over its
floor (reckoned for a box of 2 x 3 x 2 m, less for light at a slant)."""
_SKIES: dict[DiffuseSky, Literal["isotropic", "hay-davies"]] = {
    "even": "isotropic",
    "brighter round the sun": "hay-davies",
}


@dataclass(frozen=True)
class Sunlight:
    """The sun at a site over the cells of a grid: where it stands at their middle, and what comes down [W m-2]."""

    middle: TimeArray
    zenith_deg: FloatArray
    azimuth_deg: FloatArray
    above_air: FloatArray
    normal: FloatArray
    diffuse: FloatArray
    total: FloatArray


def sun_on_face(piece: Piece, site: Site, light: Sunlight, shelter: Shelter) -> tuple[FloatArray, FloatArray]:
    """Return beam and diffuse sun on the face at the instants of an even grid [W m-2], shape (members, times).

    What comes from close round the sun, where the site's sky is brighter there, counts with the beam.
    """
    plane = sun.plane_irradiance(
        light.zenith_deg,
        light.azimuth_deg,
        light.normal,
        light.diffuse,
        light.total,
        *piece.plane_deg,
        sky=_SKIES[site.diffuse_sky],
        extraterrestrial=light.above_air,
    )
    bare = ~in_hours(light.middle, piece.cover, site.zone)
    reaches = beam_reaches(piece, site, light.middle, light.zenith_deg, light.azimuth_deg)
    beam = (plane.beam + plane.round_sun) * (shelter.beam * reaches)
    diffuse = (plane.diffuse - plane.round_sun) * (shelter.diffuse * piece.sky_pct / 100.0)
    # Under the cover there is none, whether it is known outside or not.
    return _at_instants(np.where(bare, beam, 0.0)), _at_instants(np.where(bare, diffuse, 0.0))


def sun_on_walls(piece: Piece, site: Site, light: Sunlight, *, shaded: bool) -> FloatArray:
    """Return the sun that falls on roof and walls of a piece's tent or shed, to the square metre of its floor [W m-2].

    Of shape (members, times). Walls catch what a low sun does not give level ground: in December a clear tunnel of film
    gets as warm as in March. Skyline, hours told and a shade keep the beam off as they do from a face.
    """
    zenith = np.radians(light.zenith_deg)
    caught = np.maximum(np.cos(zenith), 0.0) + WALL_SHARE * np.sin(zenith)
    reaches = beam_reaches(piece, site, light.middle, light.zenith_deg, light.azimuth_deg)
    beam = np.where(reaches & (not shaded), light.normal * caught, 0.0)
    return _at_instants(light.diffuse * DIFFUSE_SHARE * piece.sky_pct / 100.0 + beam)


def sunlight(site: Site, table: WeatherTable, grid: TimeArray) -> Sunlight:
    """Return the sun at a site over the cells of an even grid."""
    middle = grid - (grid[1] - grid[0]) // 2
    zenith, azimuth = sun.position(middle, site.latitude_deg, site.longitude_deg)
    above_air = sun.extraterrestrial_normal(middle)
    if table.knows(GLOBAL):
        clock = _sun_clock(table.times, grid, site)
        total = np.clip(over_cells(table, GLOBAL, grid, clock=clock, mean=True), 0.0, above_air)
        direct = np.clip(over_cells(table, _DIRECT, grid, clock=clock, mean=True), 0.0, total)
        normal, diffuse = sun.split_global(total, zenith, above_air)
        given = np.isfinite(direct)
        normal = np.where(given, sun.direct_normal(direct, zenith), normal)
        # What a beam too low to count leaves is not lost: it comes from the sky.
        height = np.maximum(np.cos(np.radians(zenith)), 0.0)
        diffuse = np.where(given, total - normal * height, diffuse)
    else:
        total = sun.clear_sky_global(zenith) * sun.cloud_transmission(cloud_cover(table, grid))
        normal, diffuse = sun.split_global(total, zenith, above_air)
    return Sunlight(middle, zenith, azimuth, above_air, normal, diffuse, total)


def _at_instants(cells: FloatArray) -> FloatArray:
    """Return the values at the instants between cells, from means over the cells."""
    return np.concatenate([(cells[:, :-1] + cells[:, 1:]) / 2.0, cells[:, -1:]], axis=1)


def beam_reaches(
    piece: Piece, site: Site, times: TimeArray, zenith_deg: FloatArray, azimuth_deg: FloatArray
) -> BoolArray:
    """Return where roof, skyline and the hours told let the sun's beam through to the piece, shape (times,)."""
    reaches = np.ones(times.shape, dtype=np.bool_)
    if piece.shelter == "roof":
        flat = piece.plane_deg[0] < 30.0
        reaches &= not flat and 90.0 - zenith_deg <= ROOF_HIDES_ABOVE_DEG
    if piece.horizon:
        reaches &= stands_clear(piece.horizon, zenith_deg, azimuth_deg)
    if piece.sun:
        reaches &= in_hours(times, piece.sun, site.zone)
    return reaches


def cloud_cover(table: WeatherTable, grid: TimeArray) -> FloatArray:
    """Return the share of the sky that is covered, 0 to 1; interpolation must not carry it past either by rounding."""
    return np.clip(at_points(table, "cloud_area_fraction", grid) / 100.0, 0.0, 1.0)


def _sun_clock(stamps: TimeArray, grid: TimeArray, site: Site) -> FloatArray:
    """Return a clock that runs with the height of the sun, at the stamps and then the grid's instants.

    An hour's mean of sunshine is shared out by it, so that the first minutes after sunrise get little of it.
    """
    fine = np.arange(stamps[0], stamps[-1] + np.timedelta64(300, "s"), np.timedelta64(300, "s"))
    height = np.maximum(np.cos(np.radians(sun.position(fine, site.latitude_deg, site.longitude_deg)[0])), 0.0)
    run = np.concatenate([[0.0], np.cumsum((height[:-1] + height[1:]) / 2.0)])
    asked = np.concatenate([stamps, grid]).astype("datetime64[s]").astype(np.int64)
    ticks: FloatArray = np.interp(asked, fine.astype("datetime64[s]").astype(np.int64), run)
    return ticks
