"""Longwave radiation from the sky, from what a weather service forecasts.

Clear sky by Prata, cloud by Walton: of the usual formulas the pair that was within 2 W m-2 of the best at a humid
lowland station and also held in the cold dry air of a high valley (both in the tests, against measurements).
"""

import numpy as np
import numpy.typing as npt

from dryspell.science.air import vapour_pressure
from dryspell.science.bounds import FloatArray, within

STEFAN_BOLTZMANN = 5.670374419e-8
"""Stefan-Boltzmann constant [W m-2 K-4] (CODATA, exact)."""

KELVIN = 273.15


def sky_emissivity(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike, cloud_fraction: npt.ArrayLike) -> FloatArray:
    """Return the emissivity of the whole sky as seen from the ground, 0 to 1.

    Parameters
    ----------
    t_c
        Air temperature near the ground. [degC]
    rh_pct
        Relative humidity over water; at 0 % and less there is no result. [%]
    cloud_fraction
        Share of the sky that is covered, 0 to 1.

    Raises
    ------
    ValueError
        For a value out of physical range.

    References
    ----------
    .. [1] A. J. Prata (1996), A new long-wave formula for estimating downward clear-sky radiation at the surface,
       Q. J. R. Meteorol. Soc. 122, 1127-1151 (as given by Convertino et al. 2020, Building and Environment 177, 106875,
       eq. A.8 and A.9).
    .. [2] G. N. Walton (1983), Thermal Analysis Research Program Reference Manual, NBSIR 83-2655 (coefficients from
       memory).
    """
    cover = within("cloud_fraction", cloud_fraction, 0.0, 1.0, "(a share)")
    kelvin = np.asarray(t_c, dtype=np.float64) + KELVIN
    # Precipitable water [g cm-2] of an atmosphere whose vapour thins upwards as usual, from the vapour at the ground
    water = 46.5 * vapour_pressure(t_c, rh_pct) / kelvin
    clear = 1.0 - (1.0 + water) * np.exp(-np.sqrt(1.2 + 3.0 * water))
    tenths = 10.0 * cover
    return np.minimum(clear * (1.0 + tenths * (0.0224 + tenths * (-0.0035 + tenths * 0.00028))), 1.0)


def sky_longwave(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike, cloud_fraction: npt.ArrayLike) -> FloatArray:
    """Return the longwave radiation that falls on open horizontal ground [W m-2].

    Parameters
    ----------
    t_c
        Air temperature near the ground. [degC]
    rh_pct
        Relative humidity over water; at 0 % and less there is no result. [%]
    cloud_fraction
        Share of the sky that is covered, 0 to 1. An overcast sky sends about 50 W m-2 more than a clear one, so never
        leave it out.

    Raises
    ------
    ValueError
        For a value out of physical range.
    """
    kelvin = np.asarray(t_c, dtype=np.float64) + KELVIN
    return sky_emissivity(t_c, rh_pct, cloud_fraction) * STEFAN_BOLTZMANN * kelvin**4
