"""Into how many cups a coat of a two-part mix goes, so that none goes off before it is on."""

import math
from dataclasses import dataclass

from dryspell.science.potlife import BRUSHABLE_SHARE, fit_pot_life, pot_life_h
from dryspell.trade.coating import Coating


@dataclass(frozen=True)
class Batch:
    """How a coat is mixed.

    Attributes
    ----------
    pot_life_h, brushable_h
        How long a mix lasts at the temperature, and how much of that is left to brush it after its induction. [h]
    cups
        How many mixes a coat takes; None where induction takes as long as a mix can be brushed.
    each_l
        What goes into each; None where that is not known. [L]
    """

    pot_life_h: float
    brushable_h: float
    cups: int | None
    each_l: float | None


def batch_of(coating: Coating, mix_l: float | None, brushing_h: float, mix_c: float) -> Batch | None:
    """Return how a coat is mixed; None for a coating that is no two-part mix.

    Parameters
    ----------
    mix_l
        What the coat takes. [L]
    brushing_h
        From its first stroke to its last. [h]
    mix_c
        Temperature of the mix. [degC]
    """
    if coating.pot_life is None:
        return None
    rate = fit_pot_life([t for t, _ in coating.pot_life], [hours for _, hours in coating.pot_life])
    lasts = float(pot_life_h(rate, mix_c))
    induction_h = coating.induction_min[0] / 60.0 if coating.induction_min else 0.0
    brushable = BRUSHABLE_SHARE * lasts - induction_h
    if brushable <= 0.0:
        return Batch(lasts, 0.0, None, None)
    cups = max(1, math.ceil(round(brushing_h / brushable, 9)))
    return Batch(lasts, brushable, cups, None if mix_l is None else mix_l / cups)
