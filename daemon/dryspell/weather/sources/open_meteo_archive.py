"""What the weather has been, out of the historical archive of Open-Meteo: for what lies beyond any forecast.

Facts of its documentation: hours since 1940, worked out again from measurements (ERA5, and since 2017 the analyses of
ECMWF's IFS); they arrive some two to five days late. Seen in its refusals only, as others report them: it takes dates
up to today. From memory, not confirmed: the last two to three months are preliminary and may still change a little.
"""

import calendar
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import numpy as np

from dryspell.errors import WeatherError
from dryspell.weather.checks import as_instant
from dryspell.weather.http import HttpCache
from dryspell.weather.sources.open_meteo_answer import ATTRIBUTION as OPEN_METEO
from dryspell.weather.sources.open_meteo_answer import read_answer
from dryspell.weather.sources.open_meteo_ask import ask, params_for
from dryspell.weather.sources.open_meteo_columns import NAMES
from dryspell.weather.table import WeatherTable
from dryspell.weather.waits import instant_text

ATTRIBUTION = f"{OPEN_METEO}; contains modified Copernicus Climate Change Service information"
"""The second part is the notice that the licence of the Copernicus products (5.1.2) asks for."""

FIRST = date(1940, 1, 1)
MOST_DAYS_AHEAD = 330
"""The same days of last year have then been over for a month, and have arrived."""

_HOUR = timedelta(hours=1)
_DAY_S = 86_400.0
# The age of the last day asked for, and how long the answer to it holds.
_ARRIVING, _PRELIMINARY = timedelta(days=10), timedelta(days=100)
_KEEP_ARRIVING_S, _KEEP_PRELIMINARY_S, _KEEP_SETTLED_S = _DAY_S, 10 * _DAY_S, 365 * _DAY_S


class OpenMeteoArchive:
    """Asks the historical archive of Open-Meteo for what has been.

    Parameters
    ----------
    latitude_deg, longitude_deg, http, api_key, sea
        As for `OpenMeteo`.
    base_url
        The host of the service.
    """

    name = "open-meteo-archive"
    attribution = ATTRIBUTION

    def __init__(
        self,
        latitude_deg: float,
        longitude_deg: float,
        http: HttpCache,
        *,
        base_url: str = "https://archive-api.open-meteo.com",
        api_key: str = "",
        sea: bool = False,
    ) -> None:
        self._http = http
        self._url = f"{base_url.rstrip('/')}/v1/archive"
        self._api_key = api_key
        variables = [name for name in NAMES if name != "precipitation_probability"]  # the past has none
        self._params = params_for(latitude_deg, longitude_deg, variables, sea=sea)

    def past(self, start: datetime, end: datetime, now: datetime) -> WeatherTable:
        """Return the hours from `start` to `end`, both included, or up to `now`; one request.

        Hours that have not arrived yet are NaN. `issued_at` is when the answer was fetched.

        Raises
        ------
        ValueError
            For an instant without its offset from UTC, or an `end` that is not after `start`.
        WeatherError
            There is nothing to give, and no earlier answer on disk.
        """
        if start.tzinfo is None or end.tzinfo is None or end <= start:
            raise ValueError("start and end need their offsets from UTC, and end to be after start")
        start, last = start.astimezone(UTC), min(end, now).astimezone(UTC)
        if last <= start:
            raise WeatherError(f"the archive of Open-Meteo holds what has been, and {instant_text(start)} is to come")
        if start.date() < FIRST:
            raise WeatherError(f"the archive of Open-Meteo begins in {FIRST.year}, and not by {instant_text(start)}")
        return _cut(self._days(start.date(), last.date(), now), start, last)

    def same_days(self, now: datetime, days_ahead: int, years: int = 10) -> list[WeatherTable]:
        """Return the days from `now` on as they were in each of the past years, last year first.

        Each table has the hours from the same date and hour, in UTC, of its own year; from 29 February, where a year
        has none, from the 28th. It is as long as the time ahead, so that behind a leap day that only one of the two
        years has, the dates differ by one. To lay it on the time ahead, add `now` less the first of its times.

        Whole calendar years are asked for, one request each: they stay the same from day to day and are kept for a
        year, so that years past are asked for once (11 variables over a year weigh 29 of the 10 000 a day of the free
        service). Of the present year, which a look across the New Year needs, the months that are over.

        Raises
        ------
        ValueError
            For a `now` without its offset, for years before 1940, or more than `MOST_DAYS_AHEAD` days.
        WeatherError
            One of the years cannot be had; those that came are kept for the next time.
        """
        if now.tzinfo is None or not 1 <= days_ahead <= MOST_DAYS_AHEAD or not 1 <= years < now.year - FIRST.year:
            raise ValueError(f"now needs its offset, days_ahead to be 1 to {MOST_DAYS_AHEAD}, years to be after 1940")
        now = now.astimezone(UTC)
        hour = now.replace(minute=0, second=0, microsecond=0)
        begins = [years_before(hour, ago) for ago in range(1, years + 1)]
        spans = [(begin, begin + timedelta(days=days_ahead)) for begin in begins]
        wanted = sorted({year for begin, end in spans for year in range(begin.year, end.year + 1)}, reverse=True)
        tables = {year: self._year(year, now) for year in wanted}
        return [
            _cut(_joined([tables[year] for year in range(begin.year, end.year + 1)]), begin, end)
            for begin, end in spans
        ]

    def _year(self, year: int, now: datetime) -> WeatherTable:
        month_before = now.date().replace(day=1) - timedelta(days=1)
        return self._days(date(year, 1, 1), min(date(year, 12, 31), month_before), now)

    def _days(self, first: date, last: date, now: datetime) -> WeatherTable:
        age = now.astimezone(UTC).date() - last
        keep_s = _KEEP_SETTLED_S
        if age < _PRELIMINARY:
            keep_s = _KEEP_ARRIVING_S if age < _ARRIVING else _KEEP_PRELIMINARY_S
        params = self._params | {"start_date": first.isoformat(), "end_date": last.isoformat()}
        return ask(self._http, self._url, params, now, _read, api_key=self._api_key, keep_s=keep_s)


def _read(data: object, fetched_at: datetime) -> WeatherTable:
    table = read_answer(data, fetched_at, least_days=None)
    return replace(table, source="Open-Meteo archive", attribution=ATTRIBUTION)


def years_before(moment: datetime, years: int) -> datetime:
    """Return the same moment of an earlier year; of 29 February, where that has none, the 28th."""
    year = moment.year - years
    day = min(moment.day, calendar.monthrange(year, moment.month)[1])
    return moment.replace(year=year, day=day)


def _joined(tables: list[WeatherTable]) -> WeatherTable:
    """Put tables that follow one another into one."""
    names = dict.fromkeys(name for table in tables for name in table.columns)
    return replace(
        tables[-1],
        times=np.concatenate([table.times for table in tables]),
        columns={name: np.concatenate([table.column(name) for table in tables], axis=1) for name in names},
        issued_at=min(table.issued_at for table in tables),
        notes=tuple(dict.fromkeys(note for table in tables for note in table.notes)),
    )


def _cut(table: WeatherTable, start: datetime, end: datetime) -> WeatherTable:
    rows = (table.times >= as_instant(start)) & (table.times <= as_instant(end))
    if np.count_nonzero(rows) < 2:
        span = f"{instant_text(start)} to {instant_text(end)}"
        raise WeatherError(f"the archive of Open-Meteo gave less than two hours of {span}")
    columns = {name: values[:, rows] for name, values in table.columns.items()}
    return replace(table, times=table.times[rows], columns=columns)
