"""The weather as one piece meets it: at its surface, in its shelter, in its finisher's hours, on a 15-minute grid."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from dryspell.outlook.exposure import ROOF_HIDES_ABOVE_DEG, SHELTERS, Shelter, exposure_of, wind_factor
from dryspell.outlook.spans import BoolArray
from dryspell.science import air, longwave, recurrence, sun, surface
from dryspell.trade.hours import Span
from dryspell.trade.piece import Piece, Site
from dryspell.weather.resample import at_points, even_grid, most_in_cells, over_cells
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

STEP_S = 900
GUST_SHARE = 1.5
"""A gust counts as a wind of two thirds its speed: 9 m/s gusts stop where 6 m/s wind does (common practice)."""
STANDARD_PRESSURE_HPA = 1013.25

_GLOBAL = "surface_downwelling_shortwave_flux_in_air"
_DIRECT = "surface_direct_downwelling_shortwave_flux_in_air"
_DIFFUSE = "surface_diffuse_downwelling_shortwave_flux_in_air"
_LONGWAVE = "surface_downwelling_longwave_flux_in_air"


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
    given: Mapping[str, BoolArray] = field(default_factory=dict)

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
    if shelter.diffuse > 0 and not table.knows(_GLOBAL) and "cloud_area_fraction" not in needed:
        needed.append("cloud_area_fraction" if table.knows("cloud_area_fraction") else _GLOBAL)
    return needed


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
    grid = even_grid(table.times, STEP_S)
    if grid.size < 2:
        raise ValueError("the weather spans less than half an hour")
    shelter = SHELTERS[piece.shelter]
    if shaded:
        shelter = replace(shelter, beam=0.0)

    outdoor_c = at_points(table, "air_temperature", grid)
    dew_c = _dew_point(table, grid, outdoor_c)
    air_c = _lagged(grid, outdoor_c, shelter.lag_h)
    dew_c = np.minimum(dew_c, air_c)
    wind_10m = at_points(table, "wind_speed", grid)
    rain = over_cells(table, "precipitation_amount", grid, mean=False) if shelter.rain else np.zeros_like(air_c)
    pressure = at_points(table, "surface_air_pressure", grid)

    zenith, _ = sun.position(grid, site.latitude_deg, site.longitude_deg)
    state = surface.solve(
        grid,
        air_c,
        dew_c,
        wind_10m,
        _sun_on_face(piece, site, table, grid, shelter),
        _sky(table, grid, outdoor_c, dew_c, seen=sees_sky(piece)),
        exposure_of(piece, site),
        rain_mm=rain,
        pressure_hpa=float(np.nanmean(pressure)) if np.isfinite(pressure).any() else _pressure_at(site.elevation_m),
    )

    factor = wind_factor(piece, site)
    gust = most_in_cells(table, "wind_speed_of_gust", grid)
    chance = most_in_cells(table, "probability_of_precipitation", grid)
    return Conditions(
        times=grid,
        air_c=air_c,
        humidity_pct=air.relative_humidity(air_c, dew_c),
        dew_point_c=dew_c,
        surface_c=state.temperature_c,
        wind_m_s=np.where(np.isfinite(wind_10m), np.fmax(wind_10m, gust / GUST_SHARE), np.nan) * factor,
        rain_mm=rain,
        rain_chance_pct=chance if shelter.rain else np.zeros_like(air_c),
        water_mm=state.water_mm,
        in_hours=in_hours(grid, piece.hours, site.zone),
        in_daylight=in_daylight(grid, zenith, piece.after_sunrise_h),
        given={name: _given(table, name, grid) for name in needed_variables(piece, table)},
    )


def _given(table: WeatherTable, name: str, grid: TimeArray) -> BoolArray:
    cell = VARIABLES[name].cell
    values = at_points(table, name, grid) if cell == "point" else over_cells(table, name, grid, mean=cell == "mean")
    return np.asarray(np.isfinite(values).all(axis=0))


def _dew_point(table: WeatherTable, grid: TimeArray, air_c: FloatArray) -> FloatArray:
    dew_c = at_points(table, "dew_point_temperature", grid)
    humidity = np.clip(at_points(table, "relative_humidity", grid), 1.0, 100.0)
    known = np.where(np.isfinite(dew_c), dew_c, air.dew_point(air_c, humidity))
    return np.minimum(known, air_c)


def _lagged(grid: TimeArray, outdoor_c: FloatArray, lag_h: float) -> FloatArray:
    """Return the air in a shelter that follows the outdoor air with a lag; an unknown hour starts it anew."""
    if lag_h == 0.0:
        return outdoor_c
    keep = np.exp(-np.diff(grid) / np.timedelta64(1, "s") / (lag_h * 3600.0))
    keep = np.broadcast_to(np.concatenate([[0.0], keep]), outdoor_c.shape)
    fresh = ~np.isfinite(np.roll(outdoor_c, 1, axis=1))
    keep = np.where(fresh, 0.0, keep)
    followed = recurrence.affine_scan(keep, np.where(np.isfinite(outdoor_c), (1.0 - keep) * outdoor_c, 0.0), 0.0)
    return np.where(np.isfinite(outdoor_c), followed, np.nan)


def _sun_on_face(piece: Piece, site: Site, table: WeatherTable, grid: TimeArray, shelter: Shelter) -> FloatArray:
    """Return the sun's power on the face at the grid's instants [W m-2]."""
    shape = (table.members, grid.size)
    if shelter.diffuse == 0.0 and shelter.beam == 0.0:
        return np.zeros(shape)
    middle = grid - np.timedelta64(STEP_S // 2, "s")
    zenith, azimuth = sun.position(middle, site.latitude_deg, site.longitude_deg)
    above_air = sun.extraterrestrial_normal(middle)
    if table.knows(_GLOBAL):
        clock = _sun_clock(table.times, grid, site)
        total = np.clip(over_cells(table, _GLOBAL, grid, clock=clock, mean=True), 0.0, above_air)
        direct = np.clip(over_cells(table, _DIRECT, grid, clock=clock, mean=True), 0.0, total)
        normal, diffuse = sun.split_global(total, zenith, above_air)
        given = np.isfinite(direct)
        normal = np.where(given, sun.direct_normal(direct, zenith), normal)
        # What a beam too low to count leaves is not lost: it comes from the sky.
        height = np.maximum(np.cos(np.radians(zenith)), 0.0)
        diffuse = np.where(given, total - normal * height, diffuse)
    else:
        total = sun.clear_sky_global(zenith) * sun.cloud_transmission(_cloud(table, grid))
        normal, diffuse = sun.split_global(total, zenith, above_air)
    tilt, facing = piece.plane_deg
    plane = sun.plane_irradiance(zenith, azimuth, normal, diffuse, total, tilt, facing)
    beam_share = shelter.beam * _under_roof(piece, zenith)
    cell = plane.beam * beam_share + plane.diffuse * shelter.diffuse * piece.sky_pct / 100.0
    # From means over the cells to values at the instants between them.
    return np.concatenate([(cell[:, :-1] + cell[:, 1:]) / 2.0, cell[:, -1:]], axis=1)


def _under_roof(piece: Piece, zenith: FloatArray) -> FloatArray:
    if piece.shelter != "roof":
        return np.ones_like(zenith)
    flat = piece.plane_deg[0] < 30.0
    return np.where(flat | (90.0 - zenith > ROOF_HIDES_ABOVE_DEG), 0.0, 1.0)


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


def _cloud(table: WeatherTable, grid: TimeArray) -> FloatArray:
    """Return the share of the sky that is covered, 0 to 1; interpolation must not carry it past either by rounding."""
    return np.clip(at_points(table, "cloud_area_fraction", grid) / 100.0, 0.0, 1.0)


def _sky(table: WeatherTable, grid: TimeArray, air_c: FloatArray, dew_c: FloatArray, *, seen: bool) -> FloatArray:
    """Return the longwave from the sky [W m-2]: the forecast's own, else from air and cloud."""
    if not seen:
        # The value has no weight, and cloud need not be known.
        return np.where(np.isfinite(air_c), 300.0, np.nan)
    if table.knows(_LONGWAVE):
        return over_cells(table, _LONGWAVE, grid, mean=True)
    return longwave.sky_longwave(air_c, air.relative_humidity(air_c, dew_c), _cloud(table, grid))


def _pressure_at(elevation_m: float) -> float:
    """Return the pressure of the standard atmosphere (ISO 2533) [hPa]."""
    return STANDARD_PRESSURE_HPA * float((1.0 - 2.25577e-5 * elevation_m) ** 5.25588)


def in_hours(grid: TimeArray, spans: tuple[Span, ...], zone: ZoneInfo) -> BoolArray:
    """Return where the grid lies within working hours of the site's own days, both ends included."""
    inside = np.zeros(grid.size, dtype=np.bool_)
    day = _local_day(grid[0], zone) - timedelta(days=1)
    last = _local_day(grid[-1], zone)
    while day <= last:  # days, not steps
        for weekdays, start, end in spans:
            if day.weekday() in weekdays:
                inside |= (grid >= _instant(day, start, zone)) & (grid <= _instant(day, end, zone))
        day += timedelta(days=1)
    return inside


def in_daylight(grid: TimeArray, zenith_deg: FloatArray, after_sunrise_h: float) -> BoolArray:
    """Return where the sun is up and has been for `after_sunrise_h`."""
    up = sun.is_daylight(zenith_deg)
    index = np.arange(grid.size)
    last_dark = np.maximum.accumulate(np.where(up, -1, index))
    since_h = (grid - grid[np.maximum(last_dark, 0)]) / np.timedelta64(1, "h")
    return up & ((last_dark < 0) | (since_h > after_sunrise_h))


def _local_day(instant: np.datetime64, zone: ZoneInfo) -> datetime:
    moment = datetime.fromisoformat(f"{instant.astype('datetime64[s]')}+00:00").astimezone(zone)
    return datetime(moment.year, moment.month, moment.day)  # noqa: DTZ001  (a calendar day, not an instant)


def _instant(day: datetime, clock: time, zone: ZoneInfo) -> np.datetime64:
    local = datetime.combine(day.date(), clock, tzinfo=zone)
    return np.datetime64(int(local.timestamp()), "s")
