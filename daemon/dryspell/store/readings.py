"""What the sensors read, with what the quality checks say of it.

A reading is known by its series and its second: a second one for the same second is not taken, so that a sensor that is
not sure it was heard may say the same again. Readings of the last days are rows; a day that has been over for a while
is packed into one block. A reading that comes later than that is a row until it is packed into the block as well.
"""

import logging
import sqlite3
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from dryspell.store.database import Database, instant, seconds
from dryspell.store.packing import IntArray, pack_day, unpack_day
from dryspell.weather.flags import Flag
from dryspell.weather.table import FloatArray, TimeArray

if TYPE_CHECKING:
    from dryspell.weather.sensors.reading import Reading

log = logging.getLogger(__name__)

FlagArray = npt.NDArray[np.uint8]

DAY_S = 86_400
ROWS_FOR = timedelta(days=3)
"""How long readings stay rows: the checks of a new reading look back at these."""
_ROW = np.dtype([("time", np.int64), ("value", np.float64), ("flag", np.uint8)])
_SELECT = "SELECT time, value, flag FROM readings WHERE series = ? AND time >= ? AND time <= ? ORDER BY time"


@dataclass(frozen=True)
class Checked:
    """A reading and where it was read; `piece` is empty where it is of the open air of the site."""

    site: str
    piece: str
    reading: "Reading"
    flag: Flag


@dataclass(frozen=True)
class Series:
    """Readings of one variable by one sensor, in order of time; `times` [UTC], `values` and `flags` have one shape."""

    sensor: str
    variable: str
    times: TimeArray
    values: FloatArray
    flags: FlagArray

    def good(self) -> "Series":
        """Return what no check has found fault with."""
        good = self.flags == Flag.GOOD
        return Series(self.sensor, self.variable, self.times[good], self.values[good], self.flags[good])


class ReadingShelf(Database):
    """Reads and writes readings."""

    def keep_readings(self, batch: Iterable[Checked]) -> int:
        """Keep readings in one transaction, and return how many of them are new.

        Of those that are here already only the flag is written again: a later reading may have shown a spike. What has
        been packed stays as it is.
        """
        new = 0
        with self._transaction() as connection:
            series: dict[tuple[str, str, str, str], int] = {}
            for each in batch:
                name = (each.site, each.piece, each.reading.sensor, each.reading.variable)
                if name not in series:
                    series[name] = _series(connection, name)
                key = (series[name], seconds(each.reading.at))
                added = connection.execute(
                    "INSERT INTO readings (series, time, value, flag) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING",
                    (*key, each.reading.value, each.flag),
                )
                new += added.rowcount
                if not added.rowcount:
                    connection.execute(
                        "UPDATE readings SET flag = ? WHERE series = ? AND time = ? AND value = ?",
                        (each.flag, *key, each.reading.value),
                    )
        return new

    def readings(
        self,
        site: str,
        since: datetime,
        until: datetime,
        *,
        piece: str = "",
        variable: str | None = None,
        sensors: Sequence[str] | None = None,
    ) -> list[Series]:
        """Return what was read at a site from `since` to `until`, flagged readings as well.

        Parameters
        ----------
        piece
            Readings at that piece instead of those of the open air.
        variable
            Only of that variable.
        sensors
            Only of these sensors, and in their order: the first one is preferred. Default: all of them, the one first
            heard of first.
        """
        rows = self._rows(
            "SELECT id, sensor, variable FROM series WHERE site = ? AND piece = ? ORDER BY id", site, piece
        )
        wanted = [row for row in rows if variable in (None, row[2]) and (sensors is None or row[1] in sensors)]
        if sensors is not None:
            wanted.sort(key=lambda row: sensors.index(row[1]))
        found = (self._read(row, seconds(since), seconds(until)) for row in wanted)
        return [series for series in found if series.times.size]

    def latest_good(self, site: str, now: datetime, *, piece: str = "", back: timedelta = ROWS_FOR) -> "list[Reading]":
        """Return the last good reading of every sensor and variable at a site, not older than `back`."""
        series = [each.good() for each in self.readings(site, now - back, now, piece=piece)]
        if not series:
            return []
        from dryspell.weather.sensors.reading import Reading  # noqa: PLC0415  (most sites have no sensor)

        return [
            Reading(s.sensor, s.variable, instant(int(s.times[-1].astype(np.int64))), float(s.values[-1]))
            for s in series
            if s.times.size
        ]

    def last_arrivals(self) -> dict[str, datetime]:
        """Return, by sensor, the stamp of its last reading, those stamped in the future left out."""
        last: dict[str, int] = {}
        for number, sensor in self._rows("SELECT id, sensor FROM series"):
            row = self._rows(
                "SELECT time FROM readings WHERE series = ? AND flag <> ? ORDER BY time DESC LIMIT 1",
                number,
                Flag.FUTURE,
            ) or self._rows("SELECT (max(day) + 1) * ? - 1 FROM reading_days WHERE series = ?", DAY_S, number)
            if row and row[0][0] is not None:
                last[sensor] = max(row[0][0], last.get(sensor, 0))
        return {sensor: instant(at) for sensor, at in last.items()}

    def tidy_readings(self, now: datetime, keep: timedelta) -> bool:
        """Pack or drop one day of one series, and say whether there may be more to do.

        Each call is one short transaction, so that nobody waits for it; what is dropped leaves room that the file uses
        again.

        Parameters
        ----------
        keep
            How long readings are kept.
        """
        today = seconds(now) // DAY_S
        oldest, packed_before = (seconds(now - keep)) // DAY_S, today - ROWS_FOR.days
        with self._transaction() as connection:
            gone = connection.execute(
                "DELETE FROM reading_days WHERE id IN (SELECT id FROM reading_days WHERE day < ? LIMIT 100)", (oldest,)
            )
            if gone.rowcount:
                return True
            for (number,) in connection.execute("SELECT id FROM series").fetchall():
                first = connection.execute("SELECT min(time) FROM readings WHERE series = ?", (number,)).fetchone()[0]
                if first is not None and first // DAY_S < packed_before:
                    self._pack(connection, number, first // DAY_S, dropped=first // DAY_S < oldest)
                    return True
        return False

    def _pack(self, connection: sqlite3.Connection, number: int, day: int, *, dropped: bool) -> None:
        """Turn the rows of a day into a block, or into nothing."""
        span = (number, day * DAY_S, (day + 1) * DAY_S)
        if not dropped:
            rows = self._array(_ROW, _SELECT, number, day * DAY_S, (day + 1) * DAY_S - 1)
            packed = connection.execute(
                "SELECT body FROM reading_days WHERE series = ? AND day = ?", (number, day)
            ).fetchall()
            connection.execute(
                "INSERT INTO reading_days (series, day, body) VALUES (?, ?, ?) "
                "ON CONFLICT (series, day) DO UPDATE SET body = excluded.body",
                (number, day, pack_day(*_merged(self._unpacked(packed), rows))),
            )
        connection.execute("DELETE FROM readings WHERE series = ? AND time >= ? AND time < ?", span)

    def _read(self, row: tuple[int, str, str], since: int, until: int) -> Series:
        number, sensor, variable = row
        # One after the other and not in one transaction: a day packed in between is in the rows read first.
        rows = self._array(_ROW, _SELECT, number, since, until)
        blocks = self._rows(
            "SELECT body FROM reading_days WHERE series = ? AND day >= ? AND day <= ? ORDER BY day",
            number,
            since // DAY_S,
            until // DAY_S,
        )
        times, values, flags = _merged(self._unpacked(blocks), rows)
        inside = (times >= since) & (times <= until)
        return Series(sensor, variable, times[inside].astype("datetime64[s]"), values[inside], flags[inside])

    def _unpacked(self, blocks: list[tuple[bytes]]) -> list[tuple[IntArray, FloatArray, FlagArray]]:
        """Return what is in blocks; one that is damaged is passed by: what is judged goes on without that day."""
        found = []
        for (body,) in blocks:
            try:
                found.append(unpack_day(body))
            except (ValueError, KeyError):
                log.warning("a day of readings kept in %s cannot be read and is passed by", self.path)
        return found


def _series(connection: sqlite3.Connection, name: tuple[str, str, str, str]) -> int:
    connection.execute(
        "INSERT INTO series (site, piece, sensor, variable) VALUES (?, ?, ?, ?) ON CONFLICT DO NOTHING", name
    )
    found = connection.execute(
        "SELECT id FROM series WHERE site = ? AND piece = ? AND sensor = ? AND variable = ?", name
    )
    return int(found.fetchone()[0])


def _merged(
    blocks: Sequence[tuple[IntArray, FloatArray, FlagArray]], rows: npt.NDArray[np.void]
) -> tuple[IntArray, FloatArray, FlagArray]:
    """Return readings in order of time; of two of the same second the one that came first: that in the block."""
    times = np.concatenate([*(block[0] for block in blocks), rows["time"]])
    values = np.concatenate([*(block[1] for block in blocks), rows["value"]])
    flags = np.concatenate([*(block[2] for block in blocks), rows["flag"]])
    kept, first = np.unique(times, return_index=True)
    return kept, values[first], flags[first]
