"""The grid forecast of the US National Weather Service, over the network."""

import logging
from dataclasses import replace
from datetime import datetime, timedelta

from dryspell.errors import WeatherError
from dryspell.weather.exchange import Refusal
from dryspell.weather.http import Answer, HttpCache
from dryspell.weather.sources.fields import degrees_text
from dryspell.weather.sources.nws_answer import ATTRIBUTION, read_nws, read_points
from dryspell.weather.sources.nws_layers import SERVICE
from dryspell.weather.sources.open_meteo_json import decode, one_line
from dryspell.weather.table import WeatherTable

__all__ = ["ATTRIBUTION", "NwsGrid", "read_nws", "read_points", "read_refusal"]

log = logging.getLogger(__name__)

MAPPED_FOR = timedelta(days=7)
"""Grids have been seen to move under their places."""
_GONE = 404
_HEADERS = {"Accept": "application/geo+json"}
# By the last part of a problem's type (RFC 9457): an address in older answers, a URN in newer ones.
_REASONS = {
    "InvalidPoint": "the place is outside the US, which is all that this service has forecasts for",
    "MarineForecastNotSupported": "it has no forecast for a place on the water; try one a little inland",
}


class NwsGrid:
    """Asks the US National Weather Service: first which square of its grid a place is in, then for the square.

    Parameters
    ----------
    latitude_deg, longitude_deg
        The place.
    http
        Asks and keeps the answers; it needs a contact.
    base_url
        The host of the service.
    """

    name = "nws"
    attribution = ATTRIBUTION

    def __init__(
        self, latitude_deg: float, longitude_deg: float, http: HttpCache, *, base_url: str = "https://api.weather.gov"
    ) -> None:
        self._http = http
        self._base = base_url.rstrip("/")
        self._points = f"/points/{degrees_text(latitude_deg)},{degrees_text(longitude_deg)}"
        self._mapped: tuple[str, datetime] | None = None

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the forecast; its `issued_at` is when the service says it was made.

        Raises
        ------
        WeatherError
            There is no contact, the place is outside the US, or the service has no forecast to give and there is no
            earlier one on disk.
        """
        if not self._http.contact:
            raise WeatherError(
                'the NWS answers only those it can reach: set contact = "you@example.org" in the configuration'
            )
        path, notes = self._grid(now)
        statuses: list[int] = []
        answer = self._ask_grid(path, now, statuses)
        if _GONE in statuses:
            self._mapped = None
            try:
                moved_to, notes = self._grid(now)
            except WeatherError as error:
                moved_to = path
                answer = answer if isinstance(answer, Answer) else error
            if moved_to != path:
                answer = self._ask_grid(moved_to, now, [])
        if isinstance(answer, WeatherError):
            raise answer
        table = read_nws(decode(answer.body, SERVICE), answer.fetched_at)
        return replace(table, notes=notes + answer.notes + table.notes)

    def _grid(self, now: datetime) -> tuple[str, tuple[str, ...]]:
        """Return the path of the place's grid forecast, and notes."""
        if self._mapped is not None and timedelta(0) <= now - self._mapped[1] < MAPPED_FOR:
            return self._mapped[0], ()

        def check(body: bytes) -> None:
            read_points(decode(body, SERVICE))

        answer = self._http.get(
            f"{self._base}{self._points}", {}, now, check=check, read_refusal=read_refusal, headers=_HEADERS
        )
        path = read_points(decode(answer.body, SERVICE))
        # A copy that has to serve because the service failed counts from its own day.
        self._mapped = (path, answer.fetched_at if answer.notes else now)
        return path, answer.notes

    def _ask_grid(self, path: str, now: datetime, statuses: list[int]) -> Answer | WeatherError:
        """Ask for the forecast, and add the status of every refusal to `statuses`."""

        def check(body: bytes) -> None:
            read_nws(decode(body, SERVICE), now)

        def refused(status: int, body: bytes, at: datetime) -> Refusal:
            statuses.append(status)
            return read_refusal(status, body, at)

        try:
            return self._http.get(f"{self._base}{path}", {}, now, check=check, read_refusal=refused, headers=_HEADERS)
        except WeatherError as error:
            return error


def read_refusal(status: int, body: bytes, _now: datetime) -> Refusal:
    """Read the reason out of a problem document (RFC 9457); its correlation id goes to the log, for the operator."""
    if status == 403:
        return Refusal("it wants to know who asks: check the contact in the configuration")
    try:
        problem = decode(body, SERVICE)
    except WeatherError:
        return Refusal()
    if not isinstance(problem, dict):
        return Refusal()
    kind = str(problem.get("type", "")).replace(":", "/").rpartition("/")[2]
    log.info(
        "the NWS answered %d, %s, correlation id %s",
        status,
        one_line(kind),
        one_line(str(problem.get("correlationId"))),
    )
    said = problem.get("detail") or problem.get("title") or ""
    return Refusal(_REASONS.get(kind) or one_line(str(said)))
