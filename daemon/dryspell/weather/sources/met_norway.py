"""The forecast of MET Norway (Locationforecast 2.0), over the network."""

from dataclasses import replace
from datetime import datetime

from dryspell.errors import WeatherError
from dryspell.weather.exchange import Refusal
from dryspell.weather.http import HttpCache
from dryspell.weather.sources.fields import degrees_text
from dryspell.weather.sources.met_norway_answer import (
    ATTRIBUTION,
    SERVICE,
    Percentiles,
    read_met_norway,
    read_with_percentiles,
    spread_of,
)
from dryspell.weather.sources.open_meteo_json import decode
from dryspell.weather.table import WeatherTable

__all__ = ["ATTRIBUTION", "MetNorway", "Percentiles", "read_met_norway", "read_refusal", "read_with_percentiles"]

# Its documentation of status codes; the bodies are pages for people. A client that goes on asking after a 403 or 429 is
# shut out for good.
_REASONS = {
    400: "it does not understand what it was asked",
    403: "it wants to know who asks, and does not accept how we name ourselves: check the contact in the configuration",
    404: "there is no such forecast: check the address of the service in the configuration",
    422: "the place is outside the area it has forecasts for",
    429: "it wants to be left alone for a while",
}
_ALONE_S = 3600.0


class MetNorway:
    """Asks MET Norway's forecast service, by its terms.

    They want a User-Agent that says how to reach us, four decimals of a place at the most, no request before an answer
    has expired, and conditional requests after that: `HttpCache` does so.

    Parameters
    ----------
    latitude_deg, longitude_deg
        The place.
    http
        Asks and keeps the answers; it needs a contact.
    elevation_m
        Height of the place above the sea; without it the service takes one from its own map.
    base_url
        The host of the service.
    """

    name = "met-norway"
    attribution = ATTRIBUTION

    def __init__(
        self,
        latitude_deg: float,
        longitude_deg: float,
        http: HttpCache,
        *,
        elevation_m: float | None = None,
        base_url: str = "https://api.met.no",
    ) -> None:
        self._http = http
        self._url = f"{base_url.rstrip('/')}/weatherapi/locationforecast/2.0/complete"
        self._height_m = elevation_m
        self._params = {"lat": degrees_text(latitude_deg), "lon": degrees_text(longitude_deg)}
        if elevation_m is not None:
            self._params["altitude"] = f"{elevation_m:.0f}"

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the forecast; its `issued_at` is when the service says it was made.

        Raises
        ------
        WeatherError
            There is no contact, or the service has no forecast to give and there is no earlier one on disk.
        """
        return spread_of(*self.fetch_with_percentiles(now))

    def fetch_with_percentiles(self, now: datetime) -> tuple[WeatherTable, Percentiles | None]:
        """Return the forecast and the service's own spread of it where it gives one; errors as `fetch`."""
        if not self._http.contact:
            raise WeatherError(
                'MET Norway answers only those it can reach: set contact = "you@example.org" in the configuration'
            )

        def read(body: bytes, fetched_at: datetime) -> tuple[WeatherTable, Percentiles | None]:
            return read_with_percentiles(decode(body, SERVICE), fetched_at, height_m=self._height_m)

        def check(body: bytes) -> None:
            read(body, now)

        answer = self._http.get(self._url, self._params, now, check=check, read_refusal=read_refusal)
        table, percentiles = read(answer.body, answer.fetched_at)
        return replace(table, notes=answer.notes + table.notes), percentiles


def read_refusal(status: int, _body: bytes, _now: datetime) -> Refusal:
    """Say in words what a status of the service means."""
    wait_s = _ALONE_S if status in {403, 429} else None
    return Refusal(_REASONS.get(status, ""), wait_s, 600.0 if wait_s else 0.0)
