"""The last forecast of each site, and the hours of it that have become past.

The past hours are what a film has met: drying is a sum over them. Of two forecasts for the same hour the one issued
later stays, since services go over their past hours again.
"""

import io
import json
import zipfile
from datetime import datetime

import numpy as np

from dryspell.errors import StoreError
from dryspell.store.database import Database, instant, seconds
from dryspell.weather.table import WeatherTable


class WeatherShelf(Database):
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
            for at, value in zip(stamps, np.median(column[:, past], axis=0).tolist(), strict=True)
            if value == value  # noqa: PLR0124  (not NaN)
        ]
        with self._transaction() as connection:
            connection.executemany(
                "INSERT INTO weather_met (site, time, variable, value, issued_at) VALUES (?, ?, ?, ?, ?) "
                "ON CONFLICT (site, time, variable) DO UPDATE SET value = excluded.value, "
                "issued_at = excluded.issued_at WHERE excluded.issued_at > issued_at",
                rows,
            )

    def past_weather(self, site: str, since: datetime) -> WeatherTable | None:
        """Return the hours kept of a site from `since` on, as a table of one member; None with less than two."""
        rows = self._rows(
            "SELECT time, variable, value, issued_at FROM weather_met WHERE site = ? AND time >= ?",
            site,
            seconds(since),
        )
        stamps = sorted({row[0] for row in rows})
        if len(stamps) < 2:
            return None
        place = {at: i for i, at in enumerate(stamps)}
        columns = {name: np.full((1, len(stamps)), np.nan) for name in {row[1] for row in rows}}
        for at, name, value, _ in rows:
            columns[name][0, place[at]] = value
        return WeatherTable(
            times=np.array(stamps, dtype="datetime64[s]"),
            columns=columns,
            source="what was kept here",
            issued_at=instant(max(row[3] for row in rows)),
        )


def pack(table: WeatherTable) -> bytes:
    """Return a table as compressed bytes."""
    about = {
        "source": table.source,
        "attribution": table.attribution,
        "issued_at": table.issued_at.isoformat(),
        "notes": list(table.notes),
        "filled": dict(table.filled),
    }
    body = io.BytesIO()
    np.savez_compressed(
        body,
        allow_pickle=False,
        about=np.array(json.dumps(about)),
        times=table.times.astype("datetime64[s]"),
        **({} if table.coarse is None else {"coarse": table.coarse}),
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
            coarse=arrays["coarse"] if "coarse" in arrays.files else None,
        )
