"""The forecast of Open-Meteo, over the network."""

from datetime import datetime

from dryspell.weather.sources.open_meteo_answer import ATTRIBUTION, read_answer
from dryspell.weather.sources.open_meteo_ask import read_refusal
from dryspell.weather.sources.open_meteo_columns import NAMES
from dryspell.weather.sources.open_meteo_forecast import OpenMeteoForecast
from dryspell.weather.sources.open_meteo_json import decode
from dryspell.weather.table import WeatherTable

__all__ = ["ATTRIBUTION", "OpenMeteo", "decode", "read_answer", "read_refusal"]


class OpenMeteo(OpenMeteoForecast):
    """Asks the forecast service of Open-Meteo."""

    name = "open-meteo"
    host = "https://api.open-meteo.com"
    path = "forecast"
    variables = NAMES

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the forecast; its `issued_at` is when it was fetched, for the service does not tell its model runs.

        Raises
        ------
        WeatherError
            The service has no forecast to give, and there is no earlier one on disk.
        """
        # The window starts at midnight, and the last hours of the last day are often not known.
        least_days = self._days - 2.0

        def read(data: object, fetched_at: datetime) -> WeatherTable:
            return read_answer(data, fetched_at, least_days=least_days)

        return self._ask(now, read)
