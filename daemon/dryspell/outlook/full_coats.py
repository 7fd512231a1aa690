"""How many of the coats on a piece are full ones, for "seven full coats" are not seven visits with a brush."""

from collections.abc import Sequence

import numpy as np

from dryspell.outlook.model import Coat, CoatsOn
from dryspell.science.film import build_up
from dryspell.trade.system import Lay, lay_at


def coats_on(coats: Sequence[Coat], lays: Sequence[Lay], count: int) -> CoatsOn | None:
    """Return how many of the coats that are on count as full; None where of none is told how it was thinned.

    A wet film that was not measured is taken for that of the build-up. A stain is on, but it is no full coat.

    Parameters
    ----------
    coats
        Those that are recorded.
    count
        How many are on, those from before the record included.
    """
    of_film = [coat for coat in coats if not coat.spoilt and not lay_at(lays, coat.number).coating.stain]
    told = [coat for coat in of_film if coat.thinner_parts is not None]
    if not told:
        return None
    stained = sum(lay_at(lays, coat.number).coating.stain for coat in coats if not coat.spoilt)
    full = 0
    for coating in {lay_at(lays, coat.number).coating.key: lay_at(lays, coat.number).coating for coat in told}.values():
        of_it = [coat for coat in told if lay_at(lays, coat.number).coating.key == coating.key]
        full += build_up(
            np.array([coat.thinner_parts for coat in of_it], dtype=np.float64),
            np.array([coat.wet_film_um or lay_at(lays, coat.number).wet_film_um for coat in of_it]),
            default_wet_um=coating.wet_film_um,
            volume_solids_pct=coating.solids_pct,
        ).full
    return CoatsOn(count=count, full=full, untold=max(count - stained - len(told), 0))
