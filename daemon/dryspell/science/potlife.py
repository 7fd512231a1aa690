"""How long a two-part mix lasts in the pot: a sum over the temperature of the mix, as for a film.

A pot life is a longest time. So a mix warmer than the warmest printed temperature goes off sooner still, by the
activation energy, and one colder than the coldest lasts no longer than there. A cup of epoxy warms itself: its own
temperature counts, and only a thin layer in a tray keeps to that of the air (common practice, no source).
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray
from dryspell.science.cure import StageRate, fit_stage
from dryspell.science.running import RunningSum, TimeArray

BRUSHABLE_SHARE = 2.0 / 3.0
"""Of its pot life, the part in which a mix still flows out under the brush (common practice, no source)."""


def fit_pot_life(temps_c: Sequence[float], hours: Sequence[float]) -> StageRate:
    """Turn the pot lives a data sheet prints into the rate at which a mix uses its own up.

    Parameters
    ----------
    temps_c, hours
        Temperatures of the mix and how long it lasts there, in any order. [degC], [h]

    Raises
    ------
    ValueError
        As `cure.fit_stage`.
    """
    return fit_stage(temps_c, hours, above_warmest="faster")


def pot_life_h(rate: StageRate, mix_c: npt.ArrayLike) -> FloatArray:
    """Return how long a mix lasts at a steady temperature [h].

    Parameters
    ----------
    rate
        From `fit_pot_life`.
    mix_c
        Temperature of the mix, any shape. [degC]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC.
    """
    return rate.hours_at(np.maximum(np.asarray(mix_c, dtype=np.float64), rate.temps_c[0]))


def used_up_at(
    mixed_at: npt.ArrayLike, times_utc: npt.ArrayLike, mix_c: npt.ArrayLike, rate: StageRate, *, share: float = 1.0
) -> TimeArray:
    """Return when mixes have used up a share of their pot life, at a temperature that changes.

    Parameters
    ----------
    mixed_at
        Instants of mixing in UTC. Shapes, and where the result is NaT, as for `cure.completion_time`.
    times_utc
        Instants in UTC, strictly ascending, shape (times,).
    mix_c
        Temperature of the mix, shape (times,) or (members, times). [degC]
    rate
        From `fit_pot_life`.
    share
        1 for the whole; `BRUSHABLE_SHARE` for what can be brushed.

    Raises
    ------
    ValueError
        For instants that do not ascend, or a temperature outside -100 to 150 degC.
    """
    return RunningSum(times_utc, 1.0 / pot_life_h(rate, mix_c)).passes(mixed_at, share)
