"""What was forecast at each instant of a past period: sources of weather for a daemon that lives through it again."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from dryspell.errors import WeatherError
from dryspell.weather.checks import as_instant
from dryspell.weather.sources.table_file import TableFile
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

BEHIND = timedelta(days=2)
"""An issue begins so long before its instant, as those of services do that tell the hours just past as well."""
_DAY_S = 86_400


@dataclass(frozen=True)
class Perfect:
    """Forecasts that come true: at each instant the weather that was, and that which was to come.

    Attributes
    ----------
    truth
        The weather as it was.
    ahead
        How far a forecast reaches.
    """

    truth: WeatherTable
    ahead: timedelta
    name: str = "the weather that came"
    attribution: str = ""

    def fetch(self, now: datetime) -> WeatherTable:
        """Return what was known at an instant."""
        return replace(_cut(self.truth, now - BEHIND, now + self.ahead), source=self.name, issued_at=now, notes=())


@dataclass(frozen=True)
class Fading:
    """Forecasts made of a weather table that get worse the further they look ahead.

    At each instant the hours to come are those of the table, mixed with what it held at the same time of the last day
    that was known then. The weight of that day grows evenly from none at once to one at `fades`; beyond it the
    forecast holds nothing of what was to come.

    Attributes
    ----------
    table
        Of a place nearby, or of what was forecast for the next hours.
    fades
        How far ahead the table counts for nothing any more.
    ahead
        How far a forecast reaches.
    """

    table: WeatherTable
    fades: timedelta
    ahead: timedelta
    name: str = "a forecast that fades"
    attribution: str = ""

    def fetch(self, now: datetime) -> WeatherTable:
        """Return what was forecast at an instant."""
        part = _cut(self.table, now - BEHIND, now + self.ahead)
        lead_s = (part.times - as_instant(now)) / np.timedelta64(1, "s")
        ahead = lead_s > 0.0
        weight = np.clip(lead_s[ahead] / self.fades.total_seconds(), 0.0, 1.0)
        days_back = np.ceil(lead_s[ahead] / _DAY_S).astype(np.int64)
        before = part.times[ahead] - days_back * np.timedelta64(_DAY_S, "s")
        columns = {}
        for name, column in part.columns.items():
            mixed = column.copy()
            bounds = VARIABLES[name]
            came = _mix(column[:, ahead], self._at(name, before), weight)
            mixed[:, ahead] = np.clip(came, bounds.low, bounds.high)  # what the floats add to 100 % of cloud
            columns[name] = mixed
        return replace(part, columns=columns, source=self.name, issued_at=now, notes=())

    def _at(self, name: str, times: TimeArray) -> FloatArray:
        """Return a column at stamps of the table, NaN where it has none."""
        at = np.minimum(np.searchsorted(self.table.times, times), self.table.times.size - 1)
        found = self.table.times[at] == times
        return np.where(found, self.table.columns[name][:, at], np.nan)


def _mix(came: FloatArray, before: FloatArray, weight: FloatArray) -> FloatArray:
    """Return the one less its weight and the other by it; one of no weight need not be known."""
    parts = (np.where(weight < 1.0, (1.0 - weight) * came, 0.0), np.where(weight > 0.0, weight * before, 0.0))
    return parts[0] + parts[1]


class Filed:
    """Forecasts as they were issued, at each instant the last one by then.

    Parameters
    ----------
    issues
        At least one.
    """

    attribution = ""

    def __init__(self, issues: Sequence[WeatherTable], name: str) -> None:
        self.name = name
        self._issues = sorted(issues, key=lambda issue: issue.issued_at)

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the last forecast issued by an instant.

        Raises
        ------
        WeatherError
            There was none yet.
        """
        by_now = [issue for issue in self._issues if issue.issued_at <= now]
        if not by_now:
            raise WeatherError(f"{self.name} holds no forecast issued by {now:%Y-%m-%dT%H:%MZ}")
        return by_now[-1]


def issues_in(folder: Path) -> Filed:
    """Read a folder of weather tables, each a forecast that says when it was issued.

    Raises
    ------
    WeatherError
        There is none, or one cannot be read; the message names it.
    """
    files = sorted(path for path in folder.iterdir() if path.suffix.lower() in {".csv", ".jsonl", ".ndjson"})
    if not files:
        raise WeatherError(f"{folder} holds no weather table; wanted files ending in .csv, .jsonl or .ndjson")
    return Filed([TableFile(path).fetch(datetime.now(UTC)) for path in files], folder.name)


def _cut(table: WeatherTable, since: datetime, until: datetime) -> WeatherTable:
    first = int(np.searchsorted(table.times, as_instant(since)))
    end = int(np.searchsorted(table.times, as_instant(until), side="right"))
    if end - first < 2:
        raise WeatherError(f"{table.source} holds no weather about {until:%Y-%m-%dT%H:%MZ}")
    columns = {name: column[:, first:end] for name, column in table.columns.items()}
    coarse = None if table.coarse is None else table.coarse[first:end]
    return replace(table, times=table.times[first:end], columns=columns, coarse=coarse)
