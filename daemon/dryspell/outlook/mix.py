"""How a mix of two parts keeps at the forecast temperature."""

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.model import Mix
from dryspell.science import potlife
from dryspell.trade.coating import Coating


def mix_at(c: Conditions, coating: Coating, index: int) -> Mix | None:
    """Return how a mix made at an index of the grid keeps; None where the coating is none or the weather ends sooner.

    It stands in the shade at the temperature of the air. Of several members the shortest counts.
    """
    if coating.pot_life is None:
        return None
    rate = potlife.fit_pot_life([t for t, _ in coating.pot_life], [h for _, h in coating.pot_life])
    mixed = c.times[[index]]

    def hours(share: float) -> float:
        ends = potlife.used_up_at(mixed, c.times, c.air_c, rate, share=share)
        return float(np.min((ends - mixed) / np.timedelta64(1, "h")))

    lasts, brushable = hours(1.0), hours(potlife.BRUSHABLE_SHARE)
    if not np.isfinite(lasts):
        return None
    return Mix(pot_life_h=round(lasts, 2), brushable_h=round(brushable, 2), induction_min=coating.induction_min)
