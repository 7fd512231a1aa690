"""The last forecast of each site, and the hours of it that have become past.

The past hours are what a film has met: drying is a sum over them. Of two forecasts for the same hour the one issued
later stays, since services go over their past hours again. Where there are good readings, they go before both.
"""

import io
import json
import zipfile
from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np

from dryspell.errors import StoreError
from dryspell.science.middle import middle
from dryspell.store.database import instant, seconds
from dryspell.store.readings import Series
from dryspell.store.record import Record
from dryspell.weather.overlay import DEW, HUMIDITY, overlay, with_hours
from dryspell.weather.resample import LONGEST_STEP
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

WHAT_WAS_KEPT = "what was kept here"
_ANY_TIME = timedelta(days=36_500)
_MET = np.dtype([("time", np.int64), ("variable", np.int64), ("value", np.float64), ("issued_at", np.int64)])
_NUMBER = " ".join(f"WHEN '{name}' THEN {number}" for number, name in enumerate(VARIABLES))
_SELECT_MET = (
    f"SELECT time, CASE variable {_NUMBER} ELSE -1 END, value, issued_at "  # noqa: S608  (names of ours)
    "FROM weather_met WHERE site = ? AND time >= ?"
)


class WeatherShelf(Record):
    """Reads and writes weather."""

    def keep_forecast(self, site: str, table: WeatherTable, now: datetime) -> None:
        """Keep a site's forecast in place of the one before."""
        with self._transaction() as connection:
            connection.execute(
                "INSERT INTO forecasts (site, issued_at, kept_at, body) VALUES (?, ?, ?, ?) ON CONFLICT (site) "
                "DO UPDATE SET issued_at = excluded.issued_at, kept_at = excluded.kept_at, body = excluded.body",
                (site, seconds(table.issued_at), seconds(now), pack(table)),
            )

    def last_forecast(self, site: str) -> WeatherTable | None:
        """Return the last forecast kept of a site, however old."""
        rows = self._rows("SELECT body FROM forecasts WHERE site = ?", site)
        if not rows:
            return None
        try:
            return unpack(rows[0][0])
        except (ValueError, KeyError, OSError, zipfile.BadZipFile):
            raise StoreError(f"the forecast kept in {self.path} for site {site} cannot be read") from None

    def keep_weather(self, site: str, table: WeatherTable, now: datetime) -> None:
        """Keep the hours of a table that are past, of several members the one in the middle."""
        past = np.flatnonzero(table.times <= np.datetime64(seconds(now), "s"))
        stamps = table.times[past].astype("datetime64[s]").astype(np.int64).tolist()
        issued = seconds(table.issued_at)
        rows = [
            (site, at, name, value, issued)
            for name, column in table.columns.items()
            for at, value in zip(stamps, middle(column[:, past]).tolist(), strict=True)
            if value == value  # noqa: PLR0124  (not NaN)
        ]
        with self._transaction() as connection:
            connection.executemany(
                "INSERT INTO weather_met (site, time, variable, value, issued_at) VALUES (?, ?, ?, ?, ?) "
                "ON CONFLICT (site, time, variable) DO UPDATE SET value = excluded.value, "
                "issued_at = excluded.issued_at WHERE excluded.issued_at > issued_at",
                rows,
            )

    def weather_since(self, site: str) -> datetime | None:
        """Return the earliest hour of which forecasts of a site were kept; None for none."""
        (row,) = self._rows("SELECT min(time) FROM weather_met WHERE site = ?", site)
        return None if row[0] is None else instant(row[0])

    def past_weather(
        self, site: str, since: datetime, *, until: datetime | None = None, sensors: Sequence[str] | None = None
    ) -> WeatherTable | None:
        """Return what is known of a site from `since` on, as a table of one member; None with less than two times.

        Good readings of the open air go before hours of forecasts, brought to the same times as the variable's cell
        asks; a note says which and how many. Readings bridge hours of which no forecast was kept.

        Parameters
        ----------
        until
            Readings stamped later are not looked at.
        sensors
            Only these, in order of preference; default: all, the one first heard of first.
        """
        met = self._met(site, since)
        found = self.readings(site, since, until or since + _ANY_TIME, sensors=sensors)
        good = [series for series in (each.good() for each in found) if series.times.size]
        if not good:
            return met
        last, hours = max(series.times[-1] for series in good), _hours(good, since)
        if met is None:
            if hours.size < 2:
                return None
            nothing = np.full((1, hours.size), np.nan)
            names = {series.variable for series in good}
            met = WeatherTable(hours, dict.fromkeys(names, nothing), WHAT_WAS_KEPT, since)
        else:
            met = with_hours(met, hours, LONGEST_STEP)
        read = self.with_readings(site, met, instant(int(last.astype(np.int64))), sensors=sensors)
        return replace(read, issued_at=max(met.issued_at, instant(int(last.astype(np.int64)))))

    def with_readings(
        self, site: str, table: WeatherTable, now: datetime, *, sensors: Sequence[str] | None = None
    ) -> WeatherTable:
        """Return a site's weather with good readings of the open air in the place of what was forecast up to `now`.

        Notes are added that say of which variables, how many times and by which sensor.

        Parameters
        ----------
        sensors
            Only these, in order of preference; default: all, the one first heard of first.
        """
        past = table.times <= np.datetime64(seconds(now), "s")
        if not past.any():
            return table
        begin = instant(int(table.times[0].astype("datetime64[s]").astype(np.int64)))
        read, notes = dict[str, FloatArray](), list[str]()
        for name in dict.fromkeys(series.variable for series in self.readings(site, begin, now, sensors=sensors)):
            read[name] = np.full(table.times.size, np.nan)
            read[name][past], count = self.read_at(site, name, table.times[past], until=now, sensors=sensors)
            if count and (name in table.columns or name in {DEW, HUMIDITY}):
                by = ", ".join(f"{number} by {sensor}" for sensor, number in count.items())
                notes.append(f"{name.replace('_', ' ')} was read at {by} of {table.times.size} times")
        return replace(overlay(table, read), notes=(*table.notes, *notes)) if read else table

    def _met(self, site: str, since: datetime) -> WeatherTable | None:
        """Return the hours of forecasts kept of a site; None with less than two."""
        rows = self._array(_MET, _SELECT_MET, site, seconds(since))
        stamps, place = np.unique(rows["time"], return_inverse=True)
        if stamps.size < 2:
            return None
        columns = {}
        for number, name in enumerate(VARIABLES):
            of_it = rows["variable"] == number
            if of_it.any():
                columns[name] = np.full((1, stamps.size), np.nan)
                columns[name][0, place[of_it]] = rows["value"][of_it]
        return WeatherTable(
            times=stamps.astype("datetime64[s]"),
            columns=columns,
            source=WHAT_WAS_KEPT,
            issued_at=instant(int(rows["issued_at"].max())),
        )


def _hours(found: Sequence[Series], since: datetime) -> TimeArray:
    """Return the full hours from `since` on that readings may tell of: at it, or in the hour that ends with it."""
    at = np.concatenate([series.times.astype(np.int64) for series in found])
    hours = 3600 * np.union1d(-(-at // 3600), (at + 1800) // 3600)
    return np.asarray(hours[(hours >= seconds(since)) & (hours <= at.max())].astype("datetime64[s]"))


def pack(table: WeatherTable) -> bytes:
    """Return a table as compressed bytes."""
    about = {
        "source": table.source,
        "attribution": table.attribution,
        "issued_at": table.issued_at.isoformat(),
        "notes": list(table.notes),
        "filled": dict(table.filled),
        "cycle_h": table.cycle_h,
    }
    body = io.BytesIO()
    np.savez_compressed(
        body,
        allow_pickle=False,
        about=np.array(json.dumps(about)),
        times=table.times.astype("datetime64[s]"),
        **({} if table.coarse is None else {"coarse": table.coarse}),
        **{f"spread {name}": bounds for name, bounds in table.spread.items()},
        **{f"column {name}": column for name, column in table.columns.items()},
    )
    return body.getvalue()


def unpack(body: bytes) -> WeatherTable:
    """Return the table that `pack` made bytes of."""
    with np.load(io.BytesIO(body), allow_pickle=False) as arrays:
        about = json.loads(str(arrays["about"]))
        return WeatherTable(
            times=arrays["times"],
            columns={n.removeprefix("column "): arrays[n] for n in arrays.files if n.startswith("column ")},
            source=about["source"],
            issued_at=datetime.fromisoformat(about["issued_at"]),
            attribution=about["attribution"],
            notes=tuple(about["notes"]),
            filled=about.get("filled", {}),
            cycle_h=about.get("cycle_h", 0.0),
            spread={n.removeprefix("spread "): arrays[n] for n in arrays.files if n.startswith("spread ")},
            coarse=arrays["coarse"] if "coarse" in arrays.files else None,
        )
