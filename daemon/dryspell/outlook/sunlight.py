"""The sun on a face: what the forecast or a clear sky gives, less what shelter, skyline and hours told keep off."""

import numpy as np

from dryspell.outlook.daytime import in_hours
from dryspell.outlook.exposure import ROOF_HIDES_ABOVE_DEG, Shelter
from dryspell.outlook.spans import BoolArray
from dryspell.science import sun
from dryspell.science.horizon import stands_clear
from dryspell.trade.piece import Piece, Site
from dryspell.weather.resample import at_points, over_cells
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

GLOBAL = "surface_downwelling_shortwave_flux_in_air"
_DIRECT = "surface_direct_downwelling_shortwave_flux_in_air"


def sun_on_face(
    piece: Piece, site: Site, table: WeatherTable, grid: TimeArray, shelter: Shelter
) -> tuple[FloatArray, FloatArray]:
    """Return beam and diffuse sun on the face at the instants of an even grid [W m-2], shape (members, times)."""
    if shelter.diffuse == 0.0 and shelter.beam == 0.0:
        none = np.zeros((table.members, grid.size))
        return none, none
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
    tilt, facing = piece.plane_deg
    plane = sun.plane_irradiance(zenith, azimuth, normal, diffuse, total, tilt, facing)
    beam_share = shelter.beam * beam_reaches(piece, site, middle, zenith, azimuth)
    return _at_instants(plane.beam * beam_share), _at_instants(plane.diffuse * shelter.diffuse * piece.sky_pct / 100.0)


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
