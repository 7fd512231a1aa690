"""Cloud that is not known for some hours is judged every way it may turn out, and every way has to do.

A clear night is the worst for dew, an overcast day the worst for drying, a clear day the hottest. So each unknown hour
is taken as clear and as overcast, by day and by night apart: four members in place of one. What lies between the four
is covered by them, and nothing is filled in silently.
"""

from dataclasses import replace

import numpy as np

from dryspell.science import sun
from dryspell.trade.piece import Site
from dryspell.weather.table import ALONE, WeatherTable

_CLOUD = "cloud_area_fraction"
# Cloud by day and by night, in percent.
_WAYS = ((0.0, 0.0), (100.0, 100.0), (0.0, 100.0), (100.0, 0.0))


def every_way(table: WeatherTable, site: Site) -> WeatherTable:
    """Return the table with its unknown hours of cloud taken every way, or as it is where there are none.

    Of a single forecast four members are made. The members of an ensemble take the four ways by turns, which costs a
    start its odds where one of the ways would spoil it. A forecast that knows no cloud at all stays as it is: it lacks
    what a judgement needs. A site's own readings seldom know any.
    """
    if not table.knows(_CLOUD) and table.source != ALONE:
        return table
    cloud = table.column(_CLOUD)
    unknown = ~np.isfinite(cloud) & np.isfinite(table.column("air_temperature"))
    if not unknown.any():
        return table
    day = sun.is_daylight(sun.position(table.times, site.latitude_deg, site.longitude_deg)[0])
    ways = np.array([np.where(day, by_day, by_night) for by_day, by_night in _WAYS])
    members = len(_WAYS) if table.members == 1 else table.members
    columns = {name: np.broadcast_to(column, (members, table.times.size)) for name, column in table.columns.items()}
    columns[_CLOUD] = np.where(unknown, ways[np.arange(members) % len(_WAYS)], cloud)
    hours = int(np.count_nonzero(unknown.any(axis=0)))
    note = f"cloud is not known at {hours} of {table.times.size} times: judged both clear and overcast there"
    return replace(table, columns=columns, notes=(*table.notes, note))
