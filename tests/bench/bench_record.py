"""Size of a year's record of one site: python tests/bench/bench_record.py [DAYS]

Builds it as the daemon would: a forecast every hour (16 days ahead, hourly, 14 variables) and six variables read every
minute, packed as the days go by. Printed: MB by table, as it stands in the file, for a whole year.

The weather is invented. Each variable wanders about a daily course; a forecast is off by what grows with lead, and each
run of the model is off by nearly what the one before was. In "as services run" the first two days are new every three
hours, the first week every six and the rest every twelve; in "all new every hour" nothing of an issue is that of the
last. All is rounded as services and probes print it.
"""

import sqlite3
import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from dryspell.store import Store
from dryspell.store.readings import Checked
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import VARIABLES, WeatherTable

START = datetime(2026, 1, 1, tzinfo=UTC)
AHEAD_H = 16 * 24
DIGITS = {"degC": 1, "percent": 0, "m/s": 2, "mm": 1, "W/m^2": 0, "hPa": 1}
# Middle, daily swing, slow wandering, and how far a forecast is off after a day.
KINDS = {
    "degC": (10.0, 5.0, 5.0, 1.5),
    "percent": (70.0, 15.0, 15.0, 10.0),
    "m/s": (4.0, 1.0, 2.0, 1.5),
    "mm": (-2.0, 0.0, 2.0, 1.0),
    "W/m^2": (100.0, 300.0, 60.0, 60.0),
    "hPa": (1013.0, 0.3, 8.0, 1.5),
}
READ = (
    ("air_temperature", 1),
    ("relative_humidity", 1),
    ("wind_speed", 1),
    ("precipitation_amount", 1),
    ("surface_downwelling_shortwave_flux_in_air", 0),
    ("surface_temperature", 2),
)


def walk(rng, size, keep):
    """Return noise of variance 1 that keeps the share `keep` from one step to the next."""
    noise = rng.normal(size=size) * np.sqrt(1 - keep**2)
    noise[0] = rng.normal()
    for step in range(1, size):
        noise[step] += keep * noise[step - 1]
    return noise


class Year:
    """Invented weather, and what is forecast of it."""

    def __init__(self, days, *, all_new):
        self.rng = np.random.default_rng(4)
        self.hours = (days + 18) * 24
        self.truth = {name: self._course(variable) for name, variable in VARIABLES.items()}
        self.error = {name: self._errors() for name in VARIABLES}
        self.every = [(AHEAD_H, 1)] if all_new else [(48, 3), (168, 6), (AHEAD_H, 12)]

    def _course(self, variable):
        middle, swing, slow, _ = KINDS[variable.unit]
        daily = swing * np.sin((np.arange(self.hours) % 24 - 9) / 24 * 2 * np.pi)
        return middle + daily + slow * walk(self.rng, self.hours, 0.98)

    def _errors(self):
        return walk(self.rng, AHEAD_H, 0.9) * np.sqrt(np.arange(1, AHEAD_H + 1) / 24)

    def issue(self, hour):
        """Return the forecast of an hour, with two hours of the past in front as services give them."""
        begin = 0
        for error in self.error.values():  # an hour later every hour is an hour nearer
            error[:-1] = error[1:]
        for end, every in self.every:
            if hour % every == 0:
                for name, error in self.error.items():
                    self.error[name][begin:end] = 0.9 * error[begin:end] + np.sqrt(1 - 0.81) * self._errors()[begin:end]
            begin = end
        columns = {}
        for name, variable in VARIABLES.items():
            scale = KINDS[variable.unit][3]
            error = np.concatenate([np.zeros(2), self.error[name]])
            values = np.roll(self.truth[name], 2)[hour : hour + AHEAD_H + 2] + scale * error
            columns[name] = np.round(np.clip(values, variable.low, variable.high), DIGITS[variable.unit])[np.newaxis]
        at = START + timedelta(hours=hour)
        first = np.datetime64(int((at - timedelta(hours=2)).timestamp()), "s")
        times = first + np.arange(AHEAD_H + 2) * np.timedelta64(3600, "s")
        return WeatherTable(times, columns, "an invented service", at, "Weather by nobody", ("a note as they come",))

    def readings(self, day):
        """Return six variables of every minute of a day, with the noise of a probe."""
        minutes = np.arange(day * 1440, (day + 1) * 1440)
        begin = START + timedelta(days=day)
        batch = []
        for name, digits in READ:
            variable = VARIABLES[name]
            noise = 0.02 * KINDS[variable.unit][2] * self.rng.normal(size=1440)
            smooth = np.interp(minutes / 60, np.arange(self.hours), self.truth[name])
            values = np.round(np.clip(smooth + noise, variable.low, variable.high), digits).tolist()
            jitter = self.rng.integers(0, 3, 1440).tolist()
            batch += [
                Checked(
                    "site", "", Reading("mast", name, begin + timedelta(minutes=m, seconds=jitter[m]), v), Flag.GOOD
                )
                for m, v in enumerate(values)
            ]
        return batch


def build(path, days, *, all_new, readings=True):
    """Build the record of some days, and return bytes by table."""
    store = Store(path)
    year = Year(days, all_new=all_new)
    keep = timedelta(days=400)
    for day in range(days):
        for hour in range(day * 24, (day + 1) * 24):
            table, now = year.issue(hour), START + timedelta(hours=hour)
            store.keep_issue("site", table, now)
            store.keep_weather("site", table, now)
        if readings:
            store.keep_readings(year.readings(day))
        while store.tidy(START + timedelta(days=day + 1), readings=keep, issues=keep):
            pass
    store.close()
    return sizes(path)


def sizes(path):
    """Return bytes in the file by table, its indexes with it."""
    connection = sqlite3.connect(path)
    found = {}
    page = connection.execute("PRAGMA page_size").fetchone()[0]
    whole = connection.execute("PRAGMA page_count").fetchone()[0] * page
    try:
        rows = connection.execute(
            "SELECT tbl_name, sum(pgsize) FROM dbstat JOIN sqlite_master USING (name) GROUP BY tbl_name"
        ).fetchall()
        found = {name: size for name, size in rows if size > 10 * page}
    except sqlite3.OperationalError:  # this SQLite was built without dbstat
        pass
    connection.close()
    return found | {"whole file": whole}


def main():
    days = int(sys.argv[1]) if len(sys.argv) > 1 else 365
    for title, all_new in (("as services run", False), ("all new every hour", True)):
        with tempfile.TemporaryDirectory() as folder:
            begin = time.perf_counter()
            found = build(Path(folder) / "dryspell.sqlite3", days, all_new=all_new)
            took = time.perf_counter() - begin
        print(f"{title}: {days} days in {took:.0f} s")
        for name, size in found.items():
            print(f"  {name:14} {size / 1e6:7.1f} MB")


if __name__ == "__main__":
    main()
