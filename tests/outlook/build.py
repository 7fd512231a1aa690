"""Invented weather and pieces for the tests: days with a warm noon and a cold dawn."""

from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Step, lays_of
from dryspell.weather.table import WeatherTable

MONDAY = datetime(2026, 9, 7, tzinfo=UTC)

# The figures of the oil varnish family (common practice, no source), written out so that the tests stand by themselves.
VARNISH = {
    "key": "oil_varnish_1k",
    "family": "oil_varnish_1k",
    "name": "One-component varnish",
    "cures_by": "oxidation",
    "air": ["5 degC", "30 degC"],
    "surface": ["5 degC", "28 degC"],
    "humidity_max": "85 %",
    "humidity_good": ["40 %", "70 %"],
    "margin_apply": "3 K",
    "margin_hold": "1 K",
    "wind_good": "4 m/s",
    "wind_stop": "6 m/s",
    "film_low": "5 degC",
    "sun_excess": "5.5 K",
    "rain_max": "0.2 mm",
    "rain_chance_max": "30 %",
    "below_coldest": "slows",
    "humidity_slows": True,
    "wet_film": "80 um",
    "solids": "48 %",
    "thinner": [50, 25, 10, 0],
    "touch_dry": {"5 degC": "16 h", "10 degC": "9 h", "18 degC": "5 h", "25 degC": "3.5 h", "30 degC": "2.5 h"},
    "dew_safe": {"5 degC": "20 h", "10 degC": "13 h", "18 degC": "7 h", "25 degC": "5 h", "30 degC": "4 h"},
    "rain_safe": {"5 degC": "30 h", "10 degC": "20 h", "18 degC": "10 h", "25 degC": "7 h", "30 degC": "5.5 h"},
    "recoat": {"5 degC": "60 h", "10 degC": "42 h", "18 degC": "24 h", "25 degC": "16 h", "30 degC": "12 h"},
    "sandable": {"5 degC": "60 h", "10 degC": "42 h", "18 degC": "24 h", "25 degC": "16 h", "30 degC": "12 h"},
    "overcoat_max": {"5 degC": "96 h", "10 degC": "96 h", "18 degC": "72 h", "25 degC": "48 h", "30 degC": "36 h"},
}


def coating(**changes):
    return Coating.model_validate(VARNISH | changes)


def built(of=None, coats=7, **step):
    """Return a build-up of coats that are all alike."""
    of = of or coating()
    return lays_of([Step.model_validate({"coating": of.key, "times": coats} | step)], {of.key: of})


def site(**changes):
    return Site.model_validate({"key": "yard", "latitude": "54 deg", "longitude": "0 deg", "timezone": "UTC"} | changes)


def piece(**changes):
    plain = {"key": "rail", "site": "yard", "coating": "oil_varnish_1k", "brush_time": "1 h", "hours": "07:00-19:00"}
    return Piece.model_validate(plain | changes)


def weather(days=4, *, start=MONDAY, air=(11.0, 19.0), dew_c=8.0, wind=2.0, cloud=30.0, rain=(), drop=(), issued=None):
    """Make hourly weather: `air` is coldest and warmest of the day, `rain` lists (first hour, hours, mm an hour)."""
    hours = np.arange(24 * days + 1)
    air_c = (air[0] + air[1]) / 2 + (air[1] - air[0]) / 2 * np.cos((hours - 14) / 24 * 2 * np.pi)
    fallen = np.zeros(hours.size)
    for first, count, amount in rain:
        fallen[first : first + count] = amount
    columns = {
        "air_temperature": air_c,
        "dew_point_temperature": np.minimum(np.broadcast_to(np.asarray(dew_c, float), hours.shape), air_c),
        "wind_speed": np.broadcast_to(np.asarray(wind, float), hours.shape),
        "cloud_area_fraction": np.broadcast_to(np.asarray(cloud, float), hours.shape),
        "precipitation_amount": fallen,
    }
    return WeatherTable(
        times=np.array([np.datetime64((start + timedelta(hours=int(h))).replace(tzinfo=None), "s") for h in hours]),
        columns={name: np.array([column]) for name, column in columns.items() if name not in drop},
        source="invented",
        issued_at=issued or start,
    )
