"""What is used up beside the coating: thinner for brushes, degreaser, abrasives, brushes, tape.

All figures are common practice, no source.
"""

import math
from collections.abc import Mapping, Sequence

from dryspell.trade.coating import Coating
from dryspell.trade.system import NO_SANDING, Lay

CLEANING_L = 0.15 / 2
"""Thinner to clean a brush with after each coat; half of it is used again when it has settled. [L]"""
DEGREASER_L_PER_M2 = 0.025
"""For each wipe: two before the first coat, one after each sanding between. [L m-2]"""
DISC_M2 = 0.4
"""What a disc of 150 mm does of bare wood or an old film. [m2]"""
QUARTER_SHEET_M2 = 0.5
"""What a quarter of a sheet does between coats. [m2]"""
COATS_A_MASKING = 3
"""Tape is pulled and renewed after so many coats: in the sun it sticks for good within days."""
TAPE_RESERVE = 1.1


def is_two_part(coating: Coating) -> bool:
    """Say whether a coating is mixed from two parts."""
    return coating.ratio is not None or coating.pot_life is not None


def cleaning_l(coating: Coating, coats: int) -> float:
    """Return the thinner to buy for brushes [L]; none for what water cleans."""
    return 0.0 if coating.cures_by == "coalescence" else CLEANING_L * coats


def degreaser_l(lays: Sequence[Lay], area_m2: float) -> float:
    """Return the degreaser for the coats to come [L]."""
    wipes = sum(2 if lay.number == 1 else int(lay.abrasive != NO_SANDING) for lay in lays)
    return wipes * area_m2 * DEGREASER_L_PER_M2


def discs(lays: Sequence[Lay], area_m2: float) -> Mapping[str, int]:
    """Return the discs of 150 mm by grit: for what is below the first coat."""
    return {
        lay.abrasive: math.ceil(round(area_m2 / DISC_M2, 9))
        for lay in lays
        if lay.number == 1 and lay.abrasive != NO_SANDING
    }


def quarter_sheets(lays: Sequence[Lay], area_m2: float) -> Mapping[str, int]:
    """Return the quarters of sheets by grit: for every sanding between coats.

    A coat that may go on the soft one below is counted too: its hours may be missed.
    """
    grits = [lay.abrasive for lay in lays if lay.number > 1 and lay.abrasive != NO_SANDING]
    each = max(1, round(area_m2 / QUARTER_SHEET_M2))
    return {grit: each * grits.count(grit) for grit in dict.fromkeys(grits)}


def tape_m(edges_m: float, coats: int) -> float:
    """Return the tape for the coats to come, with a tenth to spare [m]."""
    return edges_m * math.ceil(coats / COATS_A_MASKING) * TAPE_RESERVE


def brushes(coating: Coating, coats: int) -> int:
    """Return how many brushes coats take: one for all, of a two-part mix one each, for it sets in them."""
    return coats if is_two_part(coating) else min(coats, 1)
