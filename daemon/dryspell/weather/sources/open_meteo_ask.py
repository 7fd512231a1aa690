"""Asks any service of Open-Meteo: what its requests have in common, and what its refusals mean."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from dryspell.errors import WeatherError
from dryspell.weather.exchange import Refusal
from dryspell.weather.http import HttpCache
from dryspell.weather.sources.open_meteo_json import decode, reason_of
from dryspell.weather.table import WeatherTable

Read = Callable[[object, datetime], WeatherTable]


def params_for(latitude_deg: float, longitude_deg: float, variables: Iterable[str], *, sea: bool) -> dict[str, str]:
    """Return what every request says: the place with four decimals (some ten metres), SI wind, UTC throughout."""
    return {
        "latitude": f"{latitude_deg:.4f}",
        "longitude": f"{longitude_deg:.4f}",
        "hourly": ",".join(variables),
        "wind_speed_unit": "ms",
        "timeformat": "unixtime",
        "timezone": "GMT",
        "cell_selection": "sea" if sea else "land",
    }


def ask(
    http: HttpCache,
    url: str,
    params: dict[str, str],
    now: datetime,
    read: Read,
    *,
    api_key: str = "",
    keep_s: float | None = None,
) -> WeatherTable:
    """Return what a service answers, live or as kept.

    Parameters
    ----------
    read
        Makes a table of the decoded answer and the instant it was fetched at.
    api_key
        Of a paying customer; sent in a header, to this host alone.
    keep_s
        As for `HttpCache.get`.

    Raises
    ------
    WeatherError
        The service has nothing to give, and there is no earlier answer on disk.
    """

    def check(body: bytes) -> None:
        table = read(decode(body), now)
        if not any(table.knows(name) for name in table.columns):
            raise WeatherError("Open-Meteo knows nothing for this place: every value is missing")

    keys = {"X-Api-Key": api_key} if api_key else {}
    answer = http.get(url, params, now, check=check, read_refusal=read_refusal, secret_headers=keys, keep_s=keep_s)
    table = read(decode(answer.body), answer.fetched_at)
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
