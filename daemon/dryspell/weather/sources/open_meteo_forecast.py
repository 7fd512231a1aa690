"""What the forecast services of Open-Meteo have in common: a place, how far to look, and how they are asked."""

from collections.abc import Iterable
from datetime import datetime
from typing import ClassVar

from dryspell.weather.http import HttpCache
from dryspell.weather.sources.open_meteo_answer import ATTRIBUTION
from dryspell.weather.sources.open_meteo_ask import Read, ask, params_for
from dryspell.weather.table import WeatherTable


class OpenMeteoForecast:
    """One of them, or one of the same kind that somebody runs himself.

    Parameters
    ----------
    latitude_deg, longitude_deg
        The place; sent with four decimals, some ten metres.
    http
        Asks and keeps the answers.
    model
        The service's name for a weather model; empty leaves the choice to the service.
    base_url
        The host of the service; empty for the usual one.
    api_key
        Of a paying customer, for the host that goes with it; empty for none.
    sea
        Prefer a grid cell of water, for a boat afloat; otherwise one of land.
    forecast_days, past_days
        How far to look ahead, 16 at the most, and back, about three days at the most for an ensemble: a coat that is
        drying needs the weather it has met.
    """

    attribution = ATTRIBUTION
    host: ClassVar[str]
    path: ClassVar[str]
    variables: ClassVar[Iterable[str]]
    usual_model: ClassVar[str] = ""

    def __init__(
        self,
        latitude_deg: float,
        longitude_deg: float,
        http: HttpCache,
        *,
        model: str = "",
        base_url: str = "",
        api_key: str = "",
        sea: bool = False,
        forecast_days: int = 16,
        past_days: int = 2,
    ) -> None:
        self._http = http
        self._url = f"{(base_url or self.host).rstrip('/')}/v1/{self.path}"
        self._api_key = api_key
        self._days = forecast_days
        self._params = params_for(latitude_deg, longitude_deg, self.variables, sea=sea)
        if model := model or self.usual_model:
            self._params["models"] = model
        self._params |= {"forecast_days": str(forecast_days), "past_days": str(past_days)}

    def _ask(self, now: datetime, read: Read) -> WeatherTable:
        return ask(self._http, self._url, self._params, now, read, api_key=self._api_key)
