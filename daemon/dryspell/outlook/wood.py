"""Bare wood before its first coat: what it settles at in the air of the days ahead, and how long it takes to dry."""

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.model import BareWood
from dryspell.science import wood
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece
from dryspell.trade.wood import moisture_before_coating_pct


def bare_wood(piece: Piece, coating: Coating, c: Conditions, first: int) -> BareWood | None:
    """Return how dry the wood of a piece will get; None where no air ahead is known.

    Wood follows the air by weeks, so what counts is the mean of it over all that is ahead: its temperature and its
    humidity each, as the moisture of wood outdoors is published from the means of months (USDA FPL-RN-0268). Of several
    ways in which the weather may go the dampest counts. Kept from rain: what falls on bare wood is another thing.

    Parameters
    ----------
    first
        Index of the first instant ahead.
    """
    air_c, humidity_pct = c.air_c[:, first:], c.humidity_pct[:, first:]
    known = np.isfinite(air_c + humidity_pct)
    count = known.sum(axis=1)
    if not count.any():
        return None
    means = [np.where(known, column, 0.0).sum(axis=1)[count > 0] / count[count > 0] for column in (air_c, humidity_pct)]
    dampest = int(np.argmax(wood.equilibrium_moisture_pct(*means)))
    mean_c, mean_pct = (float(mean[dampest]) for mean in means)
    below = moisture_before_coating_pct(coating, piece)
    read = piece.wood_moisture_pct
    days = None
    if read is not None:
        least, most = (float(each) for each in wood.days_to_dry(read, below, mean_c, mean_pct))
        days = (round(least, 1), round(most, 1)) if np.isfinite(most) else None
    return BareWood(
        settles_at_pct=round(float(wood.equilibrium_moisture_pct(mean_c, mean_pct)), 1),
        below_pct=below,
        read_pct=read,
        days=days,
    )
