"""Forecast cells: sites that share their weather, and where that is from."""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

from dryspell.config import Config
from dryspell.errors import WeatherError
from dryspell.tick.sources import sources_of
from dryspell.trade.piece import Site
from dryspell.weather.sources.table_file import TableFile
from dryspell.weather.table import WeatherTable

CELL_DEG = 0.1
"""Forecast models of a coast have cells of 2 to 25 km; half a cell is 6 km here, or 12 seconds of the sun's course."""
BAND_M = 100.0
"""Sites are taken for this high or low; half of it is worth 0.3 K (standard atmosphere, ISO 2533)."""
_FORMS = (".csv", ".jsonl", ".ndjson")


@dataclass(frozen=True)
class Place:
    """One forecast cell.

    Attributes
    ----------
    latitude_deg, longitude_deg
        Its middle.
    elevation_m
        The middle of its band of heights; None where sites do not say theirs, and the service knows it.
    afloat
        Whether it is one of the sea.
    """

    latitude_deg: float
    longitude_deg: float
    elevation_m: float | None
    afloat: bool

    @property
    def key(self) -> str:
        """What it is called in results, and the name of its weather table: 54.3_10.2_100m_afloat."""
        height = [] if self.elevation_m is None else [f"{self.elevation_m:g}m"]
        return "_".join([self.corner, *height, *(["afloat"] if self.afloat else [])])

    @property
    def corner(self) -> str:
        """The part of its key that is common to all heights: 54.3_10.2."""
        return f"{self.latitude_deg:.9g}_{self.longitude_deg:.9g}"

    @property
    def order(self) -> tuple[float, float, bool, float]:
        """Cells that ask a service for the same come one after the other."""
        height_m = float("-inf") if self.elevation_m is None else self.elevation_m
        return self.latitude_deg, self.longitude_deg, self.afloat, height_m


class Grid:
    """Tells the cell of a site. Cells are squares of so many degrees, in bands of height.

    Parameters
    ----------
    cell_deg
        Size of a cell. [deg]
    """

    def __init__(self, cell_deg: float = CELL_DEG) -> None:
        self._cell_deg = cell_deg
        self._sites: dict[tuple[Place, str, str], Site] = {}

    def of(self, site: Site) -> tuple[Place, Site]:
        """Return the cell of a site, and the site as it is judged: in the middle of the cell."""
        east = (self._middle(site.longitude_deg) + 180.0) % 360.0 - 180.0
        height_m = round(site.elevation_m / BAND_M) * BAND_M + 0.0 if "elevation_m" in site.model_fields_set else None
        place = Place(self._middle(site.latitude_deg), round(east, 6) + 0.0, height_m, site.afloat)
        return place, self._sites.setdefault((place, site.zone.key, site.diffuse_sky), _moved(site, place))

    def _middle(self, degrees: float) -> float:
        """Return the middle of the cell that holds a coordinate; never -0."""
        return round(round(degrees / self._cell_deg) * self._cell_deg, 6) + 0.0


def _moved(site: Site, place: Place) -> Site:
    north = min(max(place.latitude_deg, -90.0), 90.0)
    where = {"latitude_deg": north, "longitude_deg": place.longitude_deg, "key": place.key}
    if place.elevation_m is not None:
        where["elevation_m"] = place.elevation_m
    return site.model_copy(update=where)


class Weather(Protocol):
    """Where the weather of cells is from."""

    def fetch(self, place: Place, now: datetime) -> WeatherTable:
        """Return the weather of a cell; WeatherError says why there is none."""
        ...


class ConfiguredWeather:
    """The weather of the sources that a configuration names, asked as for a site in the middle of each cell.

    Their keys stay in this process, and so does what they answered: a cell is not asked about again before its time.
    """

    def __init__(self, config: Config, sites: Iterable[Site]) -> None:
        by_key = {site.key: site for site in sites}
        self._sources = sources_of(replace(config, site=by_key), None)

    def fetch(self, place: Place, now: datetime) -> WeatherTable:
        """Return the weather of a cell; WeatherError says why there is none."""
        return self._sources[place.key].fetch(now)


class FileWeather:
    """Weather tables on disk: one for every cell, or a folder with one for each, by the key of the cell.

    A table named without height and water, such as 54.3_10.2.csv, is that of all cells there that have none of their
    own.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        if not path.exists():
            raise WeatherError(f"{path} is not there; wanted a weather table, or a folder of them")

    def fetch(self, place: Place, now: datetime) -> WeatherTable:
        """Return the weather of a cell; WeatherError says why there is none."""
        if not self._path.is_dir():
            return TableFile(self._path).fetch(now)
        names = [name + form for name in dict.fromkeys((place.key, place.corner)) for form in _FORMS]
        found = next((self._path / name for name in names if (self._path / name).exists()), None)
        if found is None:
            raise WeatherError(f"{self._path} holds no weather table of this cell; wanted {place.corner}.csv")
        return TableFile(found).fetch(now)
