"""A cover that stands over a piece by the clock: when it is on, and what it turns the weather into.

Under it there is no sky, no sun and no rain, and of the wind what the shelter "cover" leaves. So the weather that the
heat balance takes says it all: longwave of surroundings as warm as the air, nothing on the plane, a weaker wind.
"""

from dataclasses import dataclass

import numpy as np

from dryspell.outlook.daytime import in_hours
from dryspell.outlook.spans import BoolArray
from dryspell.science.longwave import KELVIN, STEFAN_BOLTZMANN
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray, TimeArray

_SECOND = np.timedelta64(1, "s")


@dataclass(frozen=True)
class CoverTimes:
    """When a cover is on, on an even grid; each of shape (times,).

    Attributes
    ----------
    cells
        Over the cell that ends at the instant, by its middle.
    share
        Of the time around the instant: 1, 0, or a half where it goes on or comes off.
    shuts_out
        Whether it keeps a brush out at the instant: not yet at the one at which it goes on, no more at that at which
        it comes off.
    """

    cells: BoolArray
    share: FloatArray
    shuts_out: BoolArray

    def sky(self, open_w_m2: FloatArray, air_c: FloatArray) -> FloatArray:
        """Return the longwave from over the piece [W m-2]; what is not known of the open sky matters under it not."""
        around = STEFAN_BOLTZMANN * (air_c + KELVIN) ** 4
        return np.where(self.share == 1.0, around, open_w_m2 + (around - open_w_m2) * self.share)

    def wind(self, open_m_s: FloatArray, left: float) -> FloatArray:
        """Return the wind with what the cover leaves of it [m s-1]."""
        return open_m_s * (1.0 - (1.0 - left) * self.share)

    def off(self, cells: FloatArray) -> FloatArray:
        """Return values over cells, none of them where the cover is on."""
        return np.where(self.cells, 0.0, cells)


def cover_times(piece: Piece, site: Site, grid: TimeArray) -> CoverTimes:
    """Return when the cover of a piece is on; never, where it has none."""
    cells = in_hours(grid - (grid[1] - grid[0]) // 2, piece.cover, site.zone)
    beside = np.concatenate([cells[1:], cells[-1:]])
    within = in_hours(grid - _SECOND, piece.cover, site.zone) & in_hours(grid + _SECOND, piece.cover, site.zone)
    return CoverTimes(cells, (cells + beside.astype(np.float64)) / 2.0, within)
