"""A cover put over a piece by hand, from one instant to another: the weather it meets meanwhile, and before and after.

Two series were worked out, each as if it had been so all along: in the open, and under the cover. Under the cover the
piece meets the one, else the other. The surface remembers for an hour or two where it was before, and the splice does
not: a film that is covered in the evening takes on the warmth under the cover at once, and one that is uncovered loses
it at once.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dryspell.outlook.conditions import Conditions, conditions_at
from dryspell.outlook.spans import BoolArray
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray, WeatherTable


@dataclass(frozen=True)
class Covered:
    """When a cover is on: from an index of the grid, to before another; None for as long as the weather is known."""

    on: int
    off: int | None = None


def under_cover(piece: Piece, site: Site, table: WeatherTable) -> Conditions:
    """Return the weather as it reaches a piece under a cover: no sky, no sun, no rain, and air that hardly moves."""
    c = conditions_at(piece.model_copy(update={"shelter": "cover", "cover": ()}), site, table)
    # A film dries in the still air of a cover whatever the wind, as in one that stands there at all hours.
    return replace(c, wind_m_s=np.where(np.isfinite(c.wind_m_s), 0.0, np.nan))


def spliced(c: Conditions, under: Conditions, covers: Sequence[Covered]) -> Conditions:
    """Return the weather that a piece meets which is covered now and then.

    Parameters
    ----------
    c, under
        The weather that reaches it without a cover and under it, on one grid.
    """
    points = np.zeros(c.times.size, dtype=np.bool_)
    for cover in covers:
        points[cover.on : cover.off] = True
    # What falls in the cell that ends as the cover goes on falls on the film, in that which ends as it comes off not.
    cells = np.concatenate([[False], points[:-1]])

    def mix(name: str, where: BoolArray) -> FloatArray:
        mixed: FloatArray = np.where(where, getattr(under, name), getattr(c, name))
        return mixed

    return replace(
        c,
        air_c=mix("air_c", points),
        humidity_pct=mix("humidity_pct", points),
        dew_point_c=mix("dew_point_c", points),
        surface_c=mix("surface_c", points),
        wind_m_s=mix("wind_m_s", points),
        rain_mm=mix("rain_mm", cells),
        rain_chance_pct=mix("rain_chance_pct", cells),
        water_mm=mix("water_mm", points),
    )
