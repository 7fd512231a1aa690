"""The moisture that wood comes to in still air."""

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within


def equilibrium_moisture_pct(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return the moisture content that wood comes to if it stays in air of that state [% of the dry mass].

    Sorption model of Hailwood and Horrobin with the coefficients of the Wood Handbook [1]_ in their metric form [2]_,
    for wood of any species. Thick wood follows the air by weeks (common practice, no source).

    Parameters
    ----------
    t_c
        Air temperature; below 0 degC the fit is carried on. [degC]
    rh_pct
        Relative humidity, broadcast against it. Above 100 up to 105 % it counts as 100 %. [%]

    Raises
    ------
    ValueError
        For a temperature outside -40 to 100 degC or a humidity outside 0 to 105 %.

    References
    ----------
    .. [1] USDA Forest Products Laboratory, Wood Handbook, chapter 4, equation for the equilibrium moisture content.
    .. [2] W. T. Simpson, Equilibrium moisture content of wood in outdoor locations in the United States and worldwide,
       USDA FPL-RN-0268 (1998).
    """
    t = within("t_c", t_c, -40.0, 100.0, "degC")
    h = np.minimum(within("rh_pct", rh_pct, 0.0, 105.0, "%"), 100.0) / 100.0
    w = 349.0 + t * (1.29 + t * 0.0135)
    k = 0.805 + t * (0.000736 - t * 0.00000273)
    k1 = 6.27 - t * (0.00938 + t * 0.000303)
    k2 = 1.91 + t * (0.0407 - t * 0.000293)
    dissolved = k * h / (1.0 - k * h)
    hydrated = (k1 * k * h + 2.0 * k1 * k2 * (k * h) ** 2) / (1.0 + k1 * k * h + k1 * k2 * (k * h) ** 2)
    return 1800.0 / w * (dissolved + hydrated)
