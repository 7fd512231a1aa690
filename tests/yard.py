"""A configuration with pieces in two places, and weather for it, for tests of the daemon."""

from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.config import parse
from dryspell.errors import WeatherError
from dryspell.weather.table import WeatherTable

TEXT = """
state = "{state}"
contact = "you@example.org"
page.listen = "none"
site.harbour = {{ latitude = "54.3 deg", longitude = "10.2 deg", timezone = "Europe/Berlin" }}
site.orchard = {{ latitude = "54.2 deg", longitude = "10.0 deg", timezone = "Europe/Berlin" }}
piece.rail = {{ name = "Rail", site = "harbour", shelter = "shed", coating = "oil_varnish_1k", coats = 8, done = 3 }}
piece.bench = {{ name = "Bench", site = "orchard", shelter = "shed", coating = "oil_varnish_1k" }}
alert.phone = {{ url = "json://127.0.0.1:1/" }}
alert.relay = {{ url = "json://127.0.0.1:1/", pieces = ["rail"] }}
{more}
"""
START = datetime(2026, 6, 2, 10, tzinfo=UTC)


def config(folder, more=""):
    return parse(TEXT.format(state=folder / "state", more=more), folder / "yard.toml", env={})


def weather(issued_at=START, *, first=None, hours=24 * 8, **columns):
    """Return mild, dry, windless weather from two days before it was issued; `columns` puts other values in."""
    first = np.datetime64(int((first or issued_at - timedelta(days=2)).timestamp()), "s")
    mild = {
        "air_temperature": 18.0,
        "relative_humidity": 55.0,
        "wind_speed": 2.0,
        "precipitation_amount": 0.0,
        "cloud_area_fraction": 40.0,
    }
    return WeatherTable(
        times=first + np.arange(hours) * np.timedelta64(3600, "s"),
        columns={name: np.full((1, hours), value) for name, value in (mild | columns).items()},
        source="invented",
        issued_at=issued_at,
        attribution="Weather by nobody",
    )


class FakeSource:
    """Gives what it is told to give: a table, an error to raise, or whatever a function returns."""

    name = "invented"
    attribution = "Weather by nobody"

    def __init__(self, answer):
        self.answer = answer
        self.asked = []

    def fetch(self, now):
        self.asked.append(now)
        answer = self.answer() if callable(self.answer) else self.answer
        if isinstance(answer, Exception):
            raise answer
        return answer


def down(retry_after_s=None):
    return WeatherError("the service answers 503", retry_after_s=retry_after_s)


class Taken:
    """A sender that takes everything and remembers it."""

    def __init__(self):
        self.took = []

    def send(self, target, title, body, draw=None):  # noqa: ARG002  (a sender takes one)
        self.took.append((target, title, body))
