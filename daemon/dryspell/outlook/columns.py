"""The weather of a site on the 15-minute grid, each column worked out once however many pieces stand there."""

from functools import cached_property

import numpy as np

from dryspell.outlook.spans import BoolArray
from dryspell.outlook.sunlight import Sunlight, cloud_cover, sunlight
from dryspell.science import air, longwave, sun
from dryspell.trade.piece import Site
from dryspell.weather.resample import at_points, even_grid, most_in_cells, over_cells
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

STEP_S = 900
LONGWAVE = "surface_downwelling_longwave_flux_in_air"


class Columns:
    """The columns of a table on the grid: of shape (members, times), NaN where not known, and not to be written to.

    Raises
    ------
    ValueError
        When the table spans less than two steps of the grid.
    """

    def __init__(self, site: Site, table: WeatherTable) -> None:
        self.site, self.table = site, table
        self._points: dict[str, FloatArray] = {}
        self._given: dict[str, BoolArray] = {}

    @cached_property
    def grid(self) -> TimeArray:
        """The instants, datetime64[s] UTC, shape (times,)."""
        grid = even_grid(self.table.times, STEP_S)
        if grid.size < 2:
            raise ValueError("the weather spans less than half an hour")
        return grid

    def at_points(self, name: str) -> FloatArray:
        """Return a point variable at the instants."""
        if name not in self._points:
            self._points[name] = at_points(self.table, name, self.grid)
        return self._points[name]

    def given(self, name: str) -> BoolArray:
        """Return where a variable is known in all members, shape (times,)."""
        if name not in self._given:
            cell = VARIABLES[name].cell
            if cell == "point":
                values = self.at_points(name)
            else:
                values = over_cells(self.table, name, self.grid, mean=cell == "mean")
            self._given[name] = np.asarray(np.isfinite(values).all(axis=0))
        return self._given[name]

    @cached_property
    def air_c(self) -> FloatArray:
        """Outdoors. [degC]"""
        return self.at_points("air_temperature")

    @cached_property
    def dew_point_c(self) -> FloatArray:
        """Outdoors [degC]: the given one, else from the humidity."""
        return dew_point_at(self.table, self.grid, self.air_c)

    @cached_property
    def humidity_pct(self) -> FloatArray:
        """Of the air outdoors. [%]"""
        return air.relative_humidity(self.air_c, self.dew_point_c)

    @cached_property
    def sky_w_m2(self) -> FloatArray:
        """Longwave from the open sky: the forecast's own, else from air and cloud. [W m-2]"""
        if self.table.knows(LONGWAVE):
            return over_cells(self.table, LONGWAVE, self.grid, mean=True)
        return longwave.sky_longwave(self.air_c, self.humidity_pct, cloud_cover(self.table, self.grid))

    @cached_property
    def rain_mm(self) -> FloatArray:
        """In the cell that ends at the instant. [mm]"""
        return over_cells(self.table, "precipitation_amount", self.grid, mean=False)

    @cached_property
    def gust_m_s(self) -> FloatArray:
        """The strongest in the cell that ends at the instant. [m s-1]"""
        return most_in_cells(self.table, "wind_speed_of_gust", self.grid)

    @cached_property
    def rain_chance_pct(self) -> FloatArray:
        """The greatest in the cell that ends at the instant. [%]"""
        return most_in_cells(self.table, "probability_of_precipitation", self.grid)

    @cached_property
    def sunlight(self) -> Sunlight:
        """Over the cells."""
        return sunlight(self.site, self.table, self.grid)

    @cached_property
    def zenith_deg(self) -> FloatArray:
        """How far the sun is from overhead at the instants, shape (times,). [deg]"""
        return sun.position(self.grid, self.site.latitude_deg, self.site.longitude_deg)[0]

    @cached_property
    def coarse(self) -> BoolArray:
        """Where an instant, or the step of the table it lies in, is coarse, shape (times,)."""
        table = self.table
        if table.coarse is None:
            return np.zeros(self.grid.size, dtype=np.bool_)
        after = np.clip(np.searchsorted(table.times, self.grid, side="left"), 0, table.times.size - 1)
        return np.asarray(table.coarse[after])


def dew_point_at(table: WeatherTable, grid: TimeArray, air_c: FloatArray) -> FloatArray:
    """Return the dew point at instants [degC], shape (members, instants): the given one, else from the humidity."""
    dew_c = at_points(table, "dew_point_temperature", grid)
    humidity = np.clip(at_points(table, "relative_humidity", grid), 1.0, 100.0)
    known = np.where(np.isfinite(dew_c), dew_c, air.dew_point(air_c, humidity))
    return np.minimum(known, air_c)
