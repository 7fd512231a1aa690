"""The forecast of Open-Meteo, over the network."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from dryspell.errors import WeatherError
from dryspell.weather.exchange import Refusal
from dryspell.weather.http import HttpCache
from dryspell.weather.sources.open_meteo_answer import ATTRIBUTION, read_answer
from dryspell.weather.sources.open_meteo_columns import NAMES
from dryspell.weather.sources.open_meteo_json import decode, reason_of
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
        sea: bool = False,
        forecast_days: int = 16,
        past_days: int = 2,
    ) -> None:
        self._http = http
        self._url = f"{base_url.rstrip('/')}/v1/forecast"
        self._params = {
            "latitude": f"{latitude_deg:.4f}",
            "longitude": f"{longitude_deg:.4f}",
            "hourly": ",".join(NAMES),
            "wind_speed_unit": "ms",
            "timeformat": "unixtime",
            "timezone": "GMT",
            "forecast_days": str(forecast_days),
            "past_days": str(past_days),
            "cell_selection": "sea" if sea else "land",
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

        def read(body: bytes, fetched_at: datetime) -> WeatherTable:
            return read_answer(decode(body), fetched_at, least_days=self._least_days)

        def check(body: bytes) -> None:
            table = read(body, now)
            if not any(table.knows(name) for name in table.columns):
                raise WeatherError("Open-Meteo knows nothing for this place: every value is missing")

        answer = self._http.get(self._url, self._params, now, check=check, read_refusal=read_refusal)
        table = read(answer.body, answer.fetched_at)
        return replace(table, notes=answer.notes + table.notes)


def read_refusal(status: int, body: bytes, now: datetime) -> Refusal:
    """Read the reason out of an error body, and out of a 429's wording how long to wait.

    The service sends no Retry-After; its counters are set back on a fixed clock: each minute, each full hour, and at
    midnight UTC.
    """
    try:
        reason = reason_of(decode(body)) or ""
    except WeatherError:
        return Refusal()
    return Refusal(reason, *_wait(reason.lower(), now.astimezone(UTC))) if status == 429 else Refusal(reason)


def _wait(wording: str, now: datetime) -> tuple[float | None, float]:
    """Return how long to wait by the wording of a 429, and the spread [s]."""
    hour = now.replace(minute=0, second=0, microsecond=0)
    if wording.startswith("minutely"):
        return 60.0, 30.0
    if wording.startswith("hourly"):
        return (hour + timedelta(hours=1, minutes=2) - now).total_seconds(), 30.0
    if wording.startswith("daily"):
        return (hour.replace(hour=0) + timedelta(days=1, minutes=2) - now).total_seconds(), 30.0
    if "concurrent" in wording:
        return 5.0, 25.0
    return None, 0.0
