"""A sensor at the site that reads the weather as it comes, beside the forecasts for it."""

from contextlib import suppress
from datetime import datetime, timedelta

import numpy as np

from dryspell.errors import WeatherError
from dryspell.store import Store
from dryspell.store.readings import Checked
from dryspell.weather.checks import as_datetime, as_instant
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable

BEFORE = timedelta(days=30)
"""How long it has been there when the replay begins, and the daemon with it."""
NAME = "station"
_NOT_READ = {"cloud_area_fraction", "probability_of_precipitation", "surface_downwelling_longwave_flux_in_air"}
"""What a sensor in a garden does not read."""


class Station:
    """Hands the readings of one site to the store as their time comes.

    Parameters
    ----------
    truth
        The weather as it came, of one member.
    begin
        When it is put up.
    """

    def __init__(self, store: Store, site: str, truth: WeatherTable, begin: datetime) -> None:
        self._store = store
        self._site = site
        self._truth = truth
        self._next = int(np.searchsorted(truth.times, as_instant(begin)))

    def read(self, now: datetime) -> None:
        """Read what has come by now."""
        end = int(np.searchsorted(self._truth.times, as_instant(now), side="right"))
        if end <= self._next:
            return
        stamps = [as_datetime(at) for at in self._truth.times[self._next : end]]
        self._store.keep_readings(
            [
                Checked(self._site, "", Reading(NAME, name, at, value), Flag.GOOD)
                for name, column in self._truth.columns.items()
                if name not in _NOT_READ
                for at, value in zip(stamps, column[0, self._next : end].tolist(), strict=True)
                if np.isfinite(value)
            ]
        )
        self._next = end


def live_through(store: Store, site: str, source: Source, begin: datetime, end: datetime, every: timedelta) -> None:
    """Keep the forecasts issued before a replay, as far as there are any."""
    at = begin
    while at < end:
        with suppress(WeatherError):
            store.keep_issue(site, source.fetch(at), at)
        at += every
