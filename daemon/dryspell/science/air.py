"""Water vapour in air: dew point, humidity and what goes with them.

Weather services report relative humidity over liquid water, below freezing too, so everything here is over water
unless its name says ice or frost. Coefficients: Magnus form of WMO-No. 8, Guide to Instruments and Methods of
Observation, annex on humidity (from memory; checked against psychrolib in the tests). Stated for -45 to 60 degC over
water and -65 to 0 degC over ice; the bounds below are wider, because a value a little outside is better than none.
"""

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, in_blocks, within

_COLDEST_C, _HOTTEST_C = -100.0, 150.0

_ES_0_HPA = 6.112
_A_WATER, _B_WATER_C = 17.62, 243.12
_A_ICE, _B_ICE_C = 22.46, 272.62

_HUMIDITY_TOP_PCT = 105.0  # a probe in fog reads up to here; above it is broken
_DEW_POINT_EXCESS_K = 0.5  # a dew point rounded apart from its temperature may lie this far above it

_DRY_AIR_RATIO = 0.622  # molar mass of water over that of dry air
_R_VAPOUR = 461.5  # gas constant of water vapour [J kg-1 K-1]
_KELVIN = 273.15


def _temperature(name: str, values: npt.ArrayLike) -> FloatArray:
    return within(name, values, _COLDEST_C, _HOTTEST_C, "degC")


def _humidity(rh_pct: npt.ArrayLike) -> FloatArray:
    """Return relative humidity with 100..105 % taken as 100 %, and 0 % and less as not known."""
    rh = within("rh_pct", rh_pct, -np.inf, _HUMIDITY_TOP_PCT, "%")
    # Either is seldom: spare the copy.
    if rh.size and np.fmax.reduce(rh, axis=None) > 100.0:
        rh = np.minimum(rh, 100.0)
    if rh.size and np.fmin.reduce(rh, axis=None) <= 0.0:
        rh = np.where(rh > 0.0, rh, np.nan)
    return rh


def saturation_vapour_pressure(t_c: npt.ArrayLike) -> FloatArray:
    """Return the saturation vapour pressure over liquid water [hPa].

    Parameters
    ----------
    t_c
        Temperature, any shape. [degC]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC.
    """
    t = _temperature("t_c", t_c)
    return _ES_0_HPA * np.exp(_A_WATER * t / (_B_WATER_C + t))


def saturation_vapour_pressure_ice(t_c: npt.ArrayLike) -> FloatArray:
    """Return the saturation vapour pressure over ice [hPa]; NaN above 0 degC, where there is none.

    Parameters
    ----------
    t_c
        Temperature, any shape. [degC]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC.
    """
    t = _temperature("t_c", t_c)
    return np.where(t > 0.0, np.nan, _ES_0_HPA * np.exp(_A_ICE * t / (_B_ICE_C + t)))


def vapour_pressure(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return the vapour pressure of the air [hPa]; of a dew point it is `saturation_vapour_pressure` itself.

    Parameters
    ----------
    t_c
        Air temperature. [degC]
    rh_pct
        Relative humidity over water, broadcast against `t_c`; bad values as in `dew_point`. [%]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC or a humidity above 105 %.
    """
    return _humidity(rh_pct) / 100.0 * saturation_vapour_pressure(t_c)


def dew_point(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return the temperature at which the vapour in the air begins to condense as water [degC].

    Parameters
    ----------
    t_c
        Air temperature. [degC]
    rh_pct
        Relative humidity over water, broadcast against `t_c`. Above 100 up to 105 % it counts as 100 %, as probes read
        in fog; at 0 % and less there is no dew point and the result is NaN. [%]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC or a humidity above 105 %.
    """
    return in_blocks(_dew_point, t_c, rh_pct)


def _dew_point(found: FloatArray, share: FloatArray, _: FloatArray, t_c: FloatArray, rh_pct: FloatArray) -> None:
    # es(Td) = RH es(T), solved for Td: A B / (B + Td) = A B / (B + T) - ln(RH).
    np.add(_B_WATER_C, _temperature("t_c", t_c), out=found)
    np.divide(_A_WATER * _B_WATER_C, found, out=found)
    np.multiply(0.01, _humidity(rh_pct), out=share)
    found -= np.log(share, out=share)
    np.divide(_A_WATER * _B_WATER_C, found, out=found)
    found -= _B_WATER_C


def frost_point(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return the temperature at which the vapour in the air begins to settle as ice [degC].

    It lies above the dew point of the same air. Where it would lie above 0 degC the vapour settles as dew and the
    result is NaN: use `dew_point` there.

    Parameters
    ----------
    t_c
        Air temperature. [degC]
    rh_pct
        Relative humidity over water, as weather services give it; bad values as in `dew_point`. [%]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC or a humidity above 105 %.
    """
    g = np.log(vapour_pressure(t_c, rh_pct) / _ES_0_HPA)
    return np.where(g > 0.0, np.nan, _B_ICE_C * g / (_A_ICE - g))


def relative_humidity(t_c: npt.ArrayLike, dew_point_c: npt.ArrayLike) -> FloatArray:
    """Return the relative humidity over water [%].

    Parameters
    ----------
    t_c
        Air temperature. [degC]
    dew_point_c
        Dew point, broadcast against `t_c`. Up to 0.5 K above the temperature it counts as equal to it. [degC]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC, or a dew point more than 0.5 K above its temperature: then the two
        are not of the same air or not of the same minute.
    """
    return in_blocks(_relative_humidity, t_c, dew_point_c)


def _relative_humidity(
    found: FloatArray, one: FloatArray, other: FloatArray, t_c: FloatArray, dew_point_c: FloatArray
) -> None:
    t, td = _temperature("t_c", t_c), _temperature("dew_point_c", dew_point_c)
    excess = np.subtract(td, t, out=one)
    if excess.size and np.fmax.reduce(excess, axis=None) > _DEW_POINT_EXCESS_K:
        raise ValueError(
            f"dew_point_c lies up to {np.nanmax(excess):.2f} K above t_c; a dew point is never above its air"
        )
    # 100 exp(A td / (B + td) - A t / (B + t))
    td = np.minimum(td, t, out=one)
    np.multiply(_A_WATER, td, out=found)
    found /= np.add(_B_WATER_C, td, out=other)
    np.multiply(_A_WATER, t, out=one)
    one /= np.add(_B_WATER_C, t, out=other)
    found -= one
    np.exp(found, out=found)
    found *= 100.0


def mixing_ratio_g_kg(vapour_hpa: npt.ArrayLike, pressure_hpa: npt.ArrayLike) -> FloatArray:
    """Return grams of water vapour to a kilogram of dry air [g kg-1].

    Parameters
    ----------
    vapour_hpa
        Vapour pressure. [hPa]
    pressure_hpa
        Air pressure at the place (not reduced to sea level), broadcast against `vapour_hpa`. [hPa]

    Raises
    ------
    ValueError
        For a pressure outside 300 to 1100 hPa, or a vapour pressure below 0 or above 200 hPa.
    """
    e = within("vapour_hpa", vapour_hpa, 0.0, 200.0, "hPa")
    p = within("pressure_hpa", pressure_hpa, 300.0, 1100.0, "hPa")
    return 1000.0 * _DRY_AIR_RATIO * e / (p - e)


def absolute_humidity_g_m3(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return grams of water vapour in a cubic metre of air [g m-3], by the ideal gas law.

    Parameters
    ----------
    t_c
        Air temperature. [degC]
    rh_pct
        Relative humidity over water; bad values as in `dew_point`. [%]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC or a humidity above 105 %.
    """
    pascals = 100.0 * vapour_pressure(t_c, rh_pct)
    return 1000.0 * pascals / (_R_VAPOUR * (np.asarray(t_c, dtype=np.float64) + _KELVIN))


def wet_bulb(t_c: npt.ArrayLike, rh_pct: npt.ArrayLike) -> FloatArray:
    """Return the temperature a wet thermometer in moving air comes to, near sea level [degC]. For display.

    The explicit fit of Stull [1]_, stated for 5 to 99 % and -20 to 50 degC but for the cold dry corner; NaN outside,
    save that it is carried on to 100 %. It is held between the dew point and the air temperature, which the fit by
    itself is not. Against psychrolib at 10 to 95 %: within 0.85 K from 5 to 40 degC, within 1.6 K from -5 degC on.

    Parameters
    ----------
    t_c
        Air temperature. [degC]
    rh_pct
        Relative humidity over water, broadcast against `t_c`; bad values as in `dew_point`. [%]

    Raises
    ------
    ValueError
        For a temperature outside -100 to 150 degC or a humidity above 105 %.

    References
    ----------
    .. [1] R. Stull, Wet-bulb temperature from relative humidity and air temperature, J. Appl. Meteorol. Climatol. 50
       (2011), 2267-2269 (coefficients from memory; checked against psychrolib in the tests).
    """
    t, rh = _temperature("t_c", t_c), _humidity(rh_pct)
    in_range = (rh >= 5.0) & (t >= -20.0) & (t <= 50.0)
    t, rh = np.where(in_range, t, np.nan), np.where(in_range, rh, np.nan)
    fit = t * np.arctan(0.151977 * np.sqrt(rh + 8.313659)) + np.arctan(t + rh) - np.arctan(rh - 1.676331)
    fit = fit + 0.00391838 * rh**1.5 * np.arctan(0.023101 * rh) - 4.686035
    return np.clip(fit, dew_point(t, rh), t)
