"""A coast of invented berths and weather, for tests of a fleet."""

import csv
import io
import random
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from dryspell.config import parse
from dryspell.errors import WeatherError
from dryspell.weather.table import WeatherTable

NOW = datetime(2026, 9, 9, 9, tzinfo=UTC)
HEAD = (
    "site", "piece", "latitude [deg]", "longitude [deg]", "timezone", "afloat", "coating", "coats", "done", "last_coat",
    "thinner", "face", "facing", "shelter", "colour", "area [m^2]", "brush_time", "hours", "shade",
)  # fmt: skip
EXPOSURES = (
    {"face": "horizontal", "shelter": "open", "colour": "clear on dark wood"},
    {"face": "vertical", "facing": "SW", "shelter": "open", "colour": "white"},
    {"face": "vertical", "facing": "N", "shelter": "roof", "colour": "dark"},
    {"face": "horizontal", "shelter": "tent", "colour": "clear on light wood"},
    {"face": "horizontal", "shelter": "open", "colour": "clear on dark wood", "shade": "true"},
)
COATINGS = ("oil_varnish_1k", "urethane_alkyd_1k", "pu_clear_2k")


def config(members=1, more=""):
    text = f'contact = "you@example.org"\nweather = {{ members = {members} }}\n{more}'
    return parse(text, Path("fleet.toml"), env={}, pieces=False)


def berths(count, cells=6, seed=1):
    """Return rows of berths spread over some cells, with exposures, coatings and stages mixed."""
    rng = random.Random(seed)
    rows = []
    for number in range(count):
        cell = number % cells
        done = rng.randrange(4)
        rows.append(
            {
                "site": f"harbour {cell}",
                "piece": f"berth {number}",
                "latitude [deg]": round(54.0 + 0.1 * cell + rng.uniform(-0.04, 0.04), 4),
                "longitude [deg]": round(10.2 + rng.uniform(-0.04, 0.04), 4),
                "timezone": "Europe/Berlin",
                "coating": rng.choice(COATINGS),
                "coats": 6,
                "done": done,
                "last_coat": f"{NOW - timedelta(hours=rng.choice([20, 30, 50])):%Y-%m-%dT%H:%MZ}" if done else "",
                "brush_time": rng.choice(["1 h", "30 min"]),
                **rng.choice(EXPOSURES),
            }
        )
    return rows


def write(path, rows, head=HEAD):
    text = io.StringIO()
    writer = csv.DictWriter(text, head, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    path.write_text(text.getvalue(), "utf-8")
    return path


def weather(seed=0, *, issued_at=NOW, days=9, drop=()):
    """Make hourly weather from three days before NOW: warm noons and cold dawns, some days with rain."""
    rng = np.random.default_rng(seed)
    hours = np.arange(24 * days)
    first = np.datetime64((NOW - timedelta(days=3)).replace(tzinfo=None, hour=0), "s")
    day = np.cos((hours - 14) / 24 * 2 * np.pi)
    air_c = 14.0 + rng.normal(0, 1) + 4.0 * day
    columns = {
        "air_temperature": air_c,
        "dew_point_temperature": np.minimum(7.5 + rng.normal(0, 1), air_c),
        "wind_speed": np.full(hours.size, 2.0),
        "cloud_area_fraction": np.full(hours.size, 40.0),
        "precipitation_amount": np.where(rng.random(hours.size) < 0.01, 1.0, 0.0),
    }
    return WeatherTable(
        times=first + hours * np.timedelta64(3600, "s"),
        columns={name: column[None, :] for name, column in columns.items() if name not in drop},
        source="invented",
        issued_at=issued_at,
        attribution="Weather by nobody",
    )


class Skies:
    """Gives each cell weather of its own and counts who asked; `fails` are corners of cells that have none."""

    def __init__(self, *, fails=(), then=None, **changes):
        self.asked = []
        self._fails = fails
        self._then = then
        self._changes = changes

    def fetch(self, place, now):
        self.asked.append(place.key)
        if self._then is not None:
            self._then(len(self.asked))
        assert now == NOW
        if place.corner in self._fails:
            raise WeatherError("the service answers 503")
        return weather(round(place.latitude_deg * 10), **self._changes)
