"""Cloud that is not known for some hours is judged every way it may turn out, and every way has to do.

A clear night is the worst for dew, an overcast day the worst for drying, a clear day the hottest. So each unknown hour
is taken as clear and as overcast, by day and by night apart: four members in place of one. What lies between the four
is covered by them, and nothing is filled in silently.
"""

from dataclasses import replace

import numpy as np

from dryspell.science import sun
from dryspell.trade.piece import Site
from dryspell.weather.table import WeatherTable

_CLOUD = "cloud_area_fraction"
# Cloud by day and by night, in percent.
_WAYS = ((0.0, 0.0), (100.0, 100.0), (0.0, 100.0), (100.0, 0.0))


def every_way(table: WeatherTable, site: Site) -> WeatherTable:
    """Return the table with four members for its unknown hours of cloud, or as it is.

    As it is where all the cloud is known or none of it is, and where members disagree already: an ensemble's odds
    should not be watered down by ours.
    """
    if table.members != 1 or not table.knows(_CLOUD):
        return table
    cloud = table.columns[_CLOUD][0]
    unknown = ~np.isfinite(cloud) & np.isfinite(table.column("air_temperature")[0])
    if not unknown.any():
        return table
    day = sun.is_daylight(sun.position(table.times, site.latitude_deg, site.longitude_deg)[0])
    ways = [np.where(unknown, np.where(day, by_day, by_night), cloud) for by_day, by_night in _WAYS]
    columns = {name: np.repeat(column, len(_WAYS), axis=0) for name, column in table.columns.items()}
    hours = int(np.count_nonzero(unknown))
    note = f"cloud is not known at {hours} of {cloud.size} times: judged both clear and overcast there"
    return replace(table, columns=columns | {_CLOUD: np.array(ways)}, notes=(*table.notes, note))
