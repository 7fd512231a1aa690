"""The forecast of Open-Meteo, over the network."""

from datetime import datetime

from dryspell.weather.http import HttpCache
from dryspell.weather.sources.open_meteo_answer import ATTRIBUTION, read_answer
from dryspell.weather.sources.open_meteo_ask import ask, params_for, read_refusal
from dryspell.weather.sources.open_meteo_columns import NAMES
from dryspell.weather.sources.open_meteo_json import decode
from dryspell.weather.table import WeatherTable

__all__ = ["ATTRIBUTION", "OpenMeteo", "decode", "read_answer", "read_refusal"]


class OpenMeteo:
    """Asks the forecast service of Open-Meteo, or one of the same kind that somebody runs himself.

    Parameters
    ----------
    latitude_deg, longitude_deg
        The place; sent with four decimals, some ten metres.
    http
        Asks and keeps the answers.
    base_url
        The host of the service.
    api_key
        Of a paying customer, for the host that goes with it; empty for none.
    sea
        Prefer a grid cell of water, for a boat afloat; otherwise one of land.
    forecast_days, past_days
        How far to look ahead, 16 at the most, and back: a coat that is drying needs the weather it has met.
    """

    name = "open-meteo"
    attribution = ATTRIBUTION

    def __init__(
        self,
        latitude_deg: float,
        longitude_deg: float,
        http: HttpCache,
        *,
        base_url: str = "https://api.open-meteo.com",
        api_key: str = "",
        sea: bool = False,
        forecast_days: int = 16,
        past_days: int = 2,
    ) -> None:
        self._http = http
        self._url = f"{base_url.rstrip('/')}/v1/forecast"
        self._api_key = api_key
        self._params = params_for(latitude_deg, longitude_deg, NAMES, sea=sea) | {
            "forecast_days": str(forecast_days),
            "past_days": str(past_days),
        }
        # The window starts at midnight, and the last hours of the last day are often not known.
        self._least_days = forecast_days - 2.0

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the forecast; its `issued_at` is when it was fetched, for the service does not tell its model runs.

        Raises
        ------
        WeatherError
            The service has no forecast to give, and there is no earlier one on disk.
        """

        def read(data: object, fetched_at: datetime) -> WeatherTable:
            return read_answer(data, fetched_at, least_days=self._least_days)

        return ask(self._http, self._url, self._params, now, read, api_key=self._api_key)
