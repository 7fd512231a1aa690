"""Coats in a row, each on the soft one below: how many lie on a piece, and how many more may follow."""

from collections.abc import Sequence
from datetime import timedelta
from itertools import pairwise

from dryspell.outlook.model import Coat
from dryspell.science.cure import fit_stage
from dryspell.trade.coating import Coating
from dryspell.trade.system import NO_SANDING, Lay, in_rows, lay_at


def kept_in_rows(lays: Sequence[Lay], coats: Sequence[Coat], on: int) -> tuple[Lay, ...]:
    """Return a build-up with no more coats to come in a row on soft ones than may be, those that are on counted.

    Parameters
    ----------
    lays
        The build-up, coat by coat.
    coats
        Those that are recorded, in any order.
    on
        How many are on.
    """
    return (*lays[:on], *in_rows(lays[on:], row_on(lays, coats)))


def row_on(lays: Sequence[Lay], coats: Sequence[Coat]) -> int:
    """Return how many coats lie in a row on top, each put on the soft one below; 0 for none recorded."""
    counting = sorted((coat for coat in coats if not coat.spoilt), key=lambda coat: coat.number, reverse=True)
    row = min(len(counting), 1)
    for above, below in pairwise(counting):
        if not _may_have_been_soft(above, below, lay_at(lays, below.number).coating):
            break
        row += 1
    return row


def _may_have_been_soft(above: Coat, below: Coat, coating: Coating) -> bool:
    """Say whether a coat may have been put on a soft one.

    Where nobody told that it was sanded, or when it was hard, it may have been, unless it had the time to be hard at
    the coldest surface that its coating is put on: the weather of that time is not asked, and a coat too few in a row
    only has to wait.
    """
    if coating.hot_open is None or above.abrasive not in ("", NO_SANDING):
        return False
    began = above.began_at or above.finished_at
    if below.sandable_at is not None:
        return began < below.sandable_at
    points = coating.sandable
    coldest_c = max(coating.surface_c[0], points[0][0])
    rate = fit_stage([t for t, _ in points], [hours for _, hours in points])
    return began - below.finished_at < timedelta(hours=float(rate.hours_at(coldest_c)))
