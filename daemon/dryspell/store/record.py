"""Forecasts as they were issued, and how they compare with what was then read.

Issues are packed in chains, each as what differs from the one before it. Of each only what lay ahead is kept, rounded
to `dryspell.store.packing.STEPS`; of an ensemble the 10, 50 and 90 % of each hour.
"""

import logging
from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np

from dryspell.errors import StoreError
from dryspell.science import air
from dryspell.science.middle import middle
from dryspell.store.database import instant, seconds
from dryspell.store.packing import Coded, coded, decoded, pack_issue, unpack_issue
from dryspell.store.readings import ReadingShelf
from dryspell.weather.overlay import AIR, DEW, HUMIDITY
from dryspell.weather.stamped import at_stamps
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

if TYPE_CHECKING:
    from dryspell.weather.history import History

log = logging.getLogger(__name__)

CHAIN = 24
"""An issue is reached by way of at most this many before it."""
QUANTILES = (0.1, 0.5, 0.9)
HOUR = np.timedelta64(3600, "s")
LEARN_FROM = timedelta(days=60)


class Record(ReadingShelf):
    """Reads and writes forecasts as issued, and joins them to the readings."""

    def keep_issue(self, site: str, table: WeatherTable, now: datetime) -> bool:
        """Keep what a forecast said of the time ahead, and say whether it was news."""
        issued = seconds(table.issued_at)
        with self._transaction() as connection:
            query = "SELECT 1 FROM issues WHERE site = ? AND source = ? AND issued_at = ?"
            if connection.execute(query, (site, table.source, issued)).fetchone():
                return False
            last = connection.execute(
                "SELECT chain, count(*) FROM issues WHERE chain = (SELECT chain FROM issues WHERE site = ? "
                "AND source = ? ORDER BY id DESC LIMIT 1)",
                (site, table.source),
            ).fetchone()
            before = self._last_of(last[0]) if last[0] is not None and last[1] < CHAIN else None
            goes_on = before is not None
            added = connection.execute(
                "INSERT INTO issues (site, source, issued_at, kept_at, chain, body) VALUES (?, ?, ?, ?, ?, ?)",
                (
                    site, table.source, issued, seconds(now), last[0] if goes_on else 0,
                    pack_issue(_ahead(table), before),
                ),
            )  # fmt: skip
            if not goes_on:
                connection.execute("UPDATE issues SET chain = id WHERE id = ?", (added.lastrowid,))
        return True

    def issues_between(
        self, site: str, start: datetime, end: datetime, *, source: str | None = None
    ) -> Iterator[WeatherTable]:
        """Yield the forecasts issued for a site from `start` to `end`, in the order in which they were kept."""
        chains = self._rows(
            "SELECT DISTINCT chain FROM issues WHERE site = ? AND issued_at >= ? AND issued_at <= ? "
            "AND source = coalesce(?, source) ORDER BY chain",
            site,
            seconds(start),
            seconds(end),
            source,
        )
        for (chain,) in chains:
            try:
                for (maker, issued), issue in self._chain(chain):
                    if seconds(start) <= issued <= seconds(end):
                        yield _table(issue, maker, instant(issued))
            except StoreError as error:
                log.warning("%s; it is passed by, and so are those packed after it", error)

    def history(
        self,
        site: str,
        variables: Sequence[str],
        now: datetime,
        leads: Sequence[float],
        *,
        since: datetime | None = None,
        source: str | None = None,
        piece: str = "",
        sensors: Sequence[str] | None = None,
    ) -> "dict[str, History]":
        """Return what was forecast for the hours of which there are good readings, beside what was read.

        Parameters
        ----------
        variables
            What to look at.
        leads
            How far ahead, in hours: for each hour and each of these, the latest forecast made at least so far ahead,
            unless that was made more than half as much again and an hour ahead.
        since
            The first hour; default: 60 days before `now`.
        source
            Only forecasts of that source.
        piece, sensors
            As for `readings`.
        """
        start = seconds(since or now - LEARN_FROM)
        hours = np.arange(-(-start // 3600) * 3600, seconds(now) + 1, 3600).astype("datetime64[s]")
        if not hours.size:
            return {name: _nothing(name) for name in variables}

        def read_of(name: str) -> FloatArray:
            return self.read_at(site, name, hours, until=now, piece=piece, sensors=sensors)[0]

        read = {name: read_of(name) for name in variables}
        if DEW in read and not np.isfinite(read[DEW]).any():
            # Most sensors read humidity and leave the dew point to be worked out.
            read[DEW] = air.dew_point(read_of(AIR), np.clip(read_of(HUMIDITY), 1.0, 100.0))
        shape = (len(leads), hours.size)
        lead_h = {name: np.full(shape, np.inf) for name in variables}
        said = {name: np.full(shape, np.nan) for name in variables}
        first = instant(start) - timedelta(hours=max(leads, default=0.0) * 1.5 + 1.0)
        for issue in self.issues_between(site, first, now, source=source):
            _note(issue, hours, leads, lead_h, said)
        return {name: _history(name, hours, lead_h[name], said[name], read[name]) for name in variables}

    def read_at(
        self,
        site: str,
        variable: str,
        stamps: TimeArray,
        *,
        until: datetime | None = None,
        piece: str = "",
        sensors: Sequence[str] | None = None,
    ) -> tuple[FloatArray, dict[str, int]]:
        """Return what was read of a variable at the stamps of a table, shape (stamps,), and how many by which sensor.

        Of several sensors the first one that has good readings for a stamp is gone by. NaN is not known.

        Parameters
        ----------
        until
            Readings stamped later are not looked at; default: those a little behind the last stamp are.
        piece, sensors
            As for `readings`.
        """
        around = timedelta(hours=3)
        first, last = (instant(int(stamps[edge].astype("datetime64[s]").astype(np.int64))) for edge in (0, -1))
        end = last + around if until is None else until
        found = self.readings(site, first - around, end, piece=piece, variable=variable, sensors=sensors)
        values, count = np.full(stamps.size, np.nan), dict[str, int]()
        for series in (each.good() for each in found):
            theirs = at_stamps(variable, series.times, series.values, stamps)
            taken = np.isnan(values) & np.isfinite(theirs)
            values = np.where(taken, theirs, values)
            if taken.any():
                count[series.sensor] = int(taken.sum())
        return values, count

    def read_weather(
        self,
        site: str,
        since: datetime,
        now: datetime,
        *,
        step_s: int = 3600,
        piece: str = "",
        sensors: Sequence[str] | None = None,
    ) -> WeatherTable | None:
        """Return the good readings of a site as a table of one member on an even grid; None where there are none.

        Parameters
        ----------
        since, now
            The first and the last instant.
        step_s
            The step of the grid.
        piece, sensors
            As for `readings`; of several sensors of a variable the first one with good readings for a stamp is used.
        """
        first = -(-seconds(since) // step_s) * step_s
        stamps = np.arange(first, seconds(now) + 1, step_s).astype("datetime64[s]")
        if stamps.size < 2:
            return None
        series = self.readings(site, since, now, piece=piece, sensors=sensors)
        columns: dict[str, FloatArray] = {}
        by: dict[str, None] = {}
        for name in dict.fromkeys(each.variable for each in series):
            values, count = self.read_at(site, name, stamps, until=now, piece=piece, sensors=sensors)
            if count:
                columns[name] = values[np.newaxis]
                by.update(dict.fromkeys(count))
        if not columns:
            return None
        last = max(each.good().times[-1] for each in series if each.good().times.size)
        return WeatherTable(
            times=stamps,
            columns=columns,
            source=f"readings of {', '.join(by)}",
            issued_at=instant(int(last.astype(np.int64))),
        )

    def tidy(self, now: datetime, *, readings: timedelta, issues: timedelta) -> bool:
        """Pack or drop a little of what is old, and say whether there may be more; each call is a short transaction.

        Parameters
        ----------
        readings, issues
            How long readings and forecasts as issued are kept.
        """
        with self._transaction() as connection:
            gone = connection.execute(
                "DELETE FROM issues WHERE chain = (SELECT chain FROM issues GROUP BY chain HAVING max(kept_at) < ? "
                "LIMIT 1)",
                (seconds(now - issues),),
            )
        return bool(gone.rowcount) or self.tidy_readings(now, readings)

    def _last_of(self, chain: int) -> Coded | None:
        """Return the last issue of a chain; None where it cannot be read: another chain is begun then."""
        try:
            *_, (_, last) = self._chain(chain)
        except StoreError as error:
            log.warning("%s; the record goes on without it", error)
            return None
        return last

    def _chain(self, chain: int) -> Iterator[tuple[tuple[str, int], Coded]]:
        issue: Coded | None = None
        rows = self._rows("SELECT source, issued_at, body FROM issues WHERE chain = ? ORDER BY id", chain)
        for source, issued, body in rows:
            try:
                issue = unpack_issue(body, issue)
            except (ValueError, KeyError):
                raise StoreError(f"a forecast issued at {instant(issued)} in {self.path} cannot be read") from None
            yield (source, issued), issue


def _ahead(table: WeatherTable) -> Coded:
    """Return what a table says of the time from its issue on; the step that holds the issue is the first."""
    issued = np.datetime64(seconds(table.issued_at), "s")
    first = int(np.clip(np.searchsorted(table.times, issued) - 1, 0, table.times.size - 2))
    columns = {name: _quantiles(column[:, first:]) for name, column in table.columns.items()}
    about: dict[str, Any] = {"attribution": table.attribution, "notes": list(table.notes), "filled": dict(table.filled)}
    if table.coarse is not None:
        about["coarse"] = np.flatnonzero(table.coarse[first:]).tolist()
    if table.members > len(QUANTILES):
        about["members"] = table.members
    return coded(table.times[first:], columns, about)


def _quantiles(column: FloatArray) -> FloatArray:
    if column.shape[0] <= len(QUANTILES):
        return column
    known = np.isfinite(column).any(axis=0)
    kept = np.full((len(QUANTILES), column.shape[1]), np.nan)
    kept[:, known] = np.nanquantile(column[:, known], QUANTILES, axis=0)
    return kept


def _table(issue: Coded, source: str, issued_at: datetime) -> WeatherTable:
    about = issue.about
    notes = tuple(about["notes"])
    if "members" in about:
        notes += (f"the 10, 50 and 90 % of {about['members']} members",)
    coarse = None
    if "coarse" in about:
        coarse = np.zeros(issue.times.size, dtype=np.bool_)
        coarse[np.array(about["coarse"], dtype=np.int64)] = True
    return WeatherTable(
        times=issue.times.astype("datetime64[s]"),
        columns=decoded(issue),
        source=source,
        issued_at=issued_at,
        attribution=about["attribution"],
        notes=notes,
        filled=about["filled"],
        coarse=coarse,
    )


def _note(
    issue: WeatherTable,
    hours: TimeArray,
    leads: Sequence[float],
    lead_h: Mapping[str, FloatArray],
    said: Mapping[str, FloatArray],
) -> None:
    """Enter what an issue said of each hour where it is the latest one made so far ahead."""
    at = np.searchsorted(hours, issue.times)
    there = (at < hours.size) & (hours[np.minimum(at, hours.size - 1)] == issue.times)
    # A sum or mean over three hours says nothing of one of them.
    hourly = np.diff(issue.times, prepend=issue.times[0] - HOUR) == HOUR
    ahead = (issue.times - np.datetime64(seconds(issue.issued_at), "s")) / HOUR
    for name, found in said.items():
        values = middle(issue.column(name))
        usable = there & np.isfinite(values) & (hourly | (VARIABLES[name].cell == "point"))
        for row, lead in enumerate(leads):
            rows = np.flatnonzero(usable & (ahead >= lead) & (ahead <= 1.5 * lead + 1.0))
            rows = rows[ahead[rows] < lead_h[name][row, at[rows]]]
            found[row, at[rows]] = values[rows]
            lead_h[name][row, at[rows]] = ahead[rows]


def _history(name: str, hours: TimeArray, lead_h: FloatArray, said: FloatArray, read: FloatArray) -> "History":
    from dryspell.weather.history import History  # noqa: PLC0415  (most sites have no sensor to learn from)

    rows, at = np.nonzero(np.isfinite(said) & np.isfinite(read))
    order = np.lexsort((rows, at))
    rows, at = rows[order], at[order]
    return History(name, hours[at], lead_h[rows, at], said[rows, at], read[at])


def _nothing(name: str) -> "History":
    from dryspell.weather.history import History  # noqa: PLC0415  (as above)

    none = np.array([], dtype=np.float64)
    return History(name, np.array([], dtype="datetime64[s]"), none, none, none)
