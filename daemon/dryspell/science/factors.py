"""What multiplies the drying times beside temperature: damp and dry air, thickness of the film, coats in a row.

All of it is common practice without a source unless it says more. None of it is well known: each figure can be put in
the place of ours.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from dryspell.science import air
from dryspell.science.bounds import FloatArray, within

DAMP = ((65.0, 1.0), (75.0, 1.15), (80.0, 1.25), (85.0, 1.4), (90.0, 1.7), (95.0, 2.2))
"""How many times longer a 1K oxidising or waterborne film takes at a relative humidity [%] (common practice)."""
THICKNESS_POWER = 1.5
"""Power of the wet film that its drying time goes by (1.5 to 2 from memory, no source)."""
BUILD_UP_A_COAT = 0.1
FIRST_BUILT_UP = 3
FULL_EVAPORATION_PCT = 55.0
FULL_MOISTURE_G_KG = 10.0


def humidity_factor(rh_pct: npt.ArrayLike, points: Sequence[tuple[float, float]] = DAMP) -> FloatArray:
    """Return how many times longer the wet phase of a 1K oxidising or waterborne film takes in damp air.

    1 up to 65 %, 1.15 at 75, 1.25 at 80, 1.4 at 85, 1.7 at 90, 2.2 from 95 % on, linear between (common practice, no
    source). It belongs to the early, wet phase.

    Parameters
    ----------
    rh_pct
        Relative humidity, any shape. [%]
    points
        Humidities and factors, driest first, to put in the place of ours. [%], [1]

    Raises
    ------
    ValueError
        For a humidity outside 0 to 105 %.
    """
    rh = within("rh_pct", rh_pct, 0.0, 105.0, "%")
    return np.asarray(np.interp(rh, [at for at, _ in points], [factor for _, factor in points]))


def evaporation_factor(
    t_c: npt.ArrayLike, dew_point_c: npt.ArrayLike, *, full_at_pct: float = FULL_EVAPORATION_PCT
) -> FloatArray:
    """Return the share of its speed at which water leaves a film, 0 to 1; a waterborne film does not dry without it.

    Water leaves by what the vapour pressure at the film is short of, es(film) - e(air). It counts against what it is
    short of over a film as warm in air of 55 %, the humidity that drying times are printed for: those times hold what
    warmth does already. So it is 1 up to 55 % at the film's own temperature, and 0 where the film is at the dew point
    (the form from memory; 55 % our own choice).

    Parameters
    ----------
    t_c
        Film temperature, any shape. [degC]
    dew_point_c
        Dew point of the air, broadcast against it. [degC]
    full_at_pct
        Humidity at the film up to which the printed times hold. [%]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC, or `full_at_pct` outside 1 to 99 %.
    """
    within("full_at_pct", full_at_pct, 1.0, 99.0, "%")
    humidity_at_film = air.saturation_vapour_pressure(dew_point_c) / air.saturation_vapour_pressure(t_c)
    return np.asarray(np.clip((1.0 - humidity_at_film) / (1.0 - full_at_pct / 100.0), 0.0, 1.0))


def moisture_factor(mixing_ratio_g_kg: npt.ArrayLike, *, full_g_kg: float = FULL_MOISTURE_G_KG) -> FloatArray:
    """Return the share of its speed at which a moisture-cured film cures, 0 to 1: it lives on the vapour in the air.

    min(1, w / 10 g/kg) with w the mixing ratio. A maker states 70 grains to the pound of dry air (10 g/kg, 25 degC and
    50 %) as the best and slower cure under 42 (6 g/kg), address withheld; the straight line between is our own choice.

    Parameters
    ----------
    mixing_ratio_g_kg
        From `air.mixing_ratio_g_kg`, any shape. [g kg-1]
    full_g_kg
        Vapour from which on it cures as printed. [g kg-1]

    Raises
    ------
    ValueError
        For a mixing ratio outside 0 to 1000 g/kg, or `full_g_kg` outside 0.1 to 100 g/kg.
    """
    within("full_g_kg", full_g_kg, 0.1, 100.0, "g/kg")
    return np.minimum(within("mixing_ratio_g_kg", mixing_ratio_g_kg, 0.0, 1000.0, "g/kg") / full_g_kg, 1.0)


def film_thickness_factor(
    wet_um: npt.ArrayLike, default_um: npt.ArrayLike, *, power: float = THICKNESS_POWER
) -> FloatArray:
    """Return how many times longer a film of that wet thickness takes than a full coat: (w/w0)^1.5.

    Parameters
    ----------
    wet_um
        Wet film as laid. [um]
    default_um
        Wet film of the full coat the times are for. [um]
    power
        Another power; at 0 the thickness does not count.

    Raises
    ------
    ValueError
        For a film that is not within 1 to 2000 um.
    """
    wet, full = within("wet_um", wet_um, 1.0, 2000.0, "um"), within("default_um", default_um, 1.0, 2000.0, "um")
    return (wet / full) ** power


def build_up_factor(coat: npt.ArrayLike, *, a_coat: float = BUILD_UP_A_COAT) -> FloatArray:
    """Return how many times longer a 1K coat takes at minimum times: a tenth more for each coat above the third.

    The solvent of quick coats builds up below them (common practice, no source).

    Parameters
    ----------
    coat
        Number of the coat, counted from 1.
    a_coat
        Another share than a tenth.

    Raises
    ------
    ValueError
        For a coat below 1.
    """
    return 1.0 + a_coat * np.maximum(within("coat", coat, 1.0, 1000.0, "coats") - FIRST_BUILT_UP, 0.0)
