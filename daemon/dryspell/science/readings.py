"""What is odd about readings of the air, as flags: the formulas go on, and somebody may want to know."""

import numpy as np
import numpy.typing as npt

from dryspell.science.air import dew_point
from dryspell.science.bounds import within

BoolArray = npt.NDArray[np.bool_]

AGREE_WITHIN_K = 0.1
"""Temperature, humidity and dew point of one minute, told to a tenth, come this near to each other."""
_ROUNDING_K = 1e-6  # a tenth of a degree is no binary number: what is off by exactly the tolerance agrees


def fields_disagree(
    t_c: npt.ArrayLike, rh_pct: npt.ArrayLike, dew_point_c: npt.ArrayLike, *, tolerance_k: float = AGREE_WITHIN_K
) -> BoolArray:
    """Say where humidity, temperature and dew point cannot be of the same air; False where one of them is not known.

    It is no question of formulas: they differ by less than 0.1 K from 0 degC and 20 % on. Readings of different minutes
    do.

    Parameters
    ----------
    t_c, rh_pct, dew_point_c
        Of the same instants, broadcast against each other; a humidity above 100 up to 105 % counts as 100 %.
        [degC], [%], [degC]
    tolerance_k
        How far the dew point may lie from the one the other two give. A humidity in whole percents alone is worth
        0.15 K at 50 % and 0.4 K at 20 %, so such readings need more than the default. [K]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC, a humidity above 105 % or a tolerance that is not more than nothing.
    """
    if not tolerance_k > 0.0:
        raise ValueError(f"tolerance_k needs to be more than 0 K, got {tolerance_k:g}")
    given = within("dew_point_c", dew_point_c, -100.0, 150.0, "degC")
    return np.asarray(np.abs(dew_point(t_c, rh_pct) - given) > tolerance_k + _ROUNDING_K)


def humidity_is_clamped(rh_pct: npt.ArrayLike) -> BoolArray:
    """Say where a humidity counts as 100 % though more was read, as probes do in fog.

    Raises
    ------
    ValueError
        For a humidity above 105 %: that is no fog but a broken probe.
    """
    return np.asarray(within("rh_pct", rh_pct, -np.inf, 105.0, "%") > 100.0)


def dew_point_is_clamped(t_c: npt.ArrayLike, dew_point_c: npt.ArrayLike) -> BoolArray:
    """Say where a dew point counts as equal to its temperature though it was read above it.

    By more than 0.5 K it is no rounding, and `air.relative_humidity` refuses the two.
    """
    t, td = np.asarray(t_c, dtype=np.float64), np.asarray(dew_point_c, dtype=np.float64)
    return np.asarray(td > t)
