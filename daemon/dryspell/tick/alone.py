"""A site that goes by its own sensors alone."""

from datetime import datetime, timedelta

from dryspell.errors import WeatherError
from dryspell.store import Store
from dryspell.trade.piece import Site
from dryspell.weather.alone import foresee
from dryspell.weather.table import WeatherTable

LEARN_FROM = timedelta(days=90)


class SensorsAlone:
    """An outlook of a day and a half from what was read at a site.

    Parameters
    ----------
    store
        Where the readings are; None where nothing has been kept yet.
    assume_no_rain
        Put no rain in place of rain that nobody can foresee.
    """

    name = "sensors"
    attribution = ""

    def __init__(self, store: Store | None, site: Site, *, assume_no_rain: bool) -> None:
        self._store = store
        self._site = site
        self._assume_no_rain = assume_no_rain

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the outlook; its `issued_at` is the last reading."""
        readings = self._store.read_weather(self._site.key, now - LEARN_FROM, now) if self._store else None
        if readings is None:
            raise WeatherError("no sensor of this site has read anything yet")
        place = (self._site.latitude_deg, self._site.longitude_deg)
        return foresee(readings, now, place=place, assume_no_rain=self._assume_no_rain)
