"""The heat balance of an exposed face at an instant: what it takes up, what it gives off, and where the two are equal.

Per square metre of face, with T the temperature of the face:

    C dT/dt =   absorptance G                                        sun
              + eps (F Ld + (1 - F) sigma Ta^4 - sigma T^4)          sky, surroundings at air temperature, own emission
              - h (T - Ta)                                           air,  h = a + b wind
              - k (T - Tb)                                           back
              - f (h / gamma) (es(T) - e)                            water: condensing warms, evaporating cools

The air film that carries the heat carries the vapour too, which is why one h serves both (gamma is the psychrometric
constant). f is 1 where vapour condenses and where water lies; for a dry film of coating it is 0. Vapour pressures are
over water below 0 degC too: hoar forms a little earlier than this says (0.4 K at -4 degC), and its heat of melting is
left out.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.science.air import saturation_vapour_pressure
from dryspell.science.bounds import FloatArray, within
from dryspell.science.face import Faces, OneOrMore
from dryspell.science.longwave import KELVIN, STEFAN_BOLTZMANN

LATENT_HEAT_J_KG = 2.45e6
"""Heat of evaporation of water near 20 degC (FAO Irrigation and Drainage Paper 56, eq. 8)."""

STANDARD_PRESSURE_HPA = 1013.25

_PSYCHROMETRIC_PER_K = 0.665e-3  # of air pressure, FAO-56 eq. 8, with the heat of evaporation above
_COLDEST_C, _HOTTEST_C = -90.0, 140.0  # what an iteration may try on its way
_NEWTON_STEPS = 8  # dry faces need four; wet ones in hot sun and still air, which start far off, eight


def fitting(shape: tuple[int, ...], **columns: npt.ArrayLike) -> tuple[int, ...]:
    """Return the shape that columns broadcast to together with one, or raise ValueError naming one that does not."""
    shapes = [np.shape(column) for column in columns.values()]
    try:
        return np.broadcast_shapes(shape, *shapes)
    except ValueError:
        for name, its in zip(columns, shapes, strict=True):
            try:
                shape = np.broadcast_shapes(shape, its)
            except ValueError:
                text = f"{name} has the shape {its}, which does not fit {shape} of pieces, members and times"
                raise ValueError(text) from None
        raise


def saturation(t_c: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the saturation vapour pressure over water [hPa] and its slope [hPa K-1], outside -90..140 degC that there.

    It is `dryspell.science.air.saturation_vapour_pressure` without its checks, for iterations to call often: they can
    overshoot, and are held back. d ln(es)/dT = A B / (B + T)^2.
    """
    t = np.minimum(np.maximum(t_c, _COLDEST_C), _HOTTEST_C)
    per_k = 1.0 / (243.12 + t)
    t *= 17.62
    t *= per_k
    saturated = np.exp(t)
    saturated *= 6.112
    per_k *= per_k
    per_k *= 17.62 * 243.12
    per_k *= saturated
    return saturated, per_k


@dataclass(frozen=True)
class HeatBalance:
    """The balance as a function of the temperature of the face alone; the columns broadcast against each other.

    Attributes
    ----------
    air_c
        Air temperature. [degC]
    gain_w_m2
        All that does not depend on the temperature of the face, air and back reckoned from 0 degC. [W m-2]
    loss_w_m2_k
        To air and back, per kelvin of the face. [W m-2 K-1]
    vapour_w_m2_hpa
        Latent heat from a wet face per difference of vapour pressure. [W m-2 hPa-1]
    vapour_hpa
        Vapour pressure of the air. [hPa]
    emissivity
        Of the face; of the shape of the temperatures asked for, or 1 in place of any of its axes.
    """

    air_c: FloatArray
    gain_w_m2: FloatArray
    loss_w_m2_k: FloatArray
    vapour_w_m2_hpa: FloatArray
    vapour_hpa: FloatArray
    emissivity: FloatArray

    @property
    def shape(self) -> tuple[int, ...]:
        """The shape of the columns together."""
        return np.broadcast_shapes(self.gain_w_m2.shape, self.vapour_w_m2_hpa.shape, self.vapour_hpa.shape)

    def each(self, change: Callable[[FloatArray], FloatArray]) -> "HeatBalance":
        """Return the balance with the same done to every column."""
        return HeatBalance(
            air_c=change(self.air_c),
            gain_w_m2=change(self.gain_w_m2),
            loss_w_m2_k=change(self.loss_w_m2_k),
            vapour_w_m2_hpa=change(self.vapour_w_m2_hpa),
            vapour_hpa=change(self.vapour_hpa),
            emissivity=change(self.emissivity),
        )

    def dry(self, t_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the heat a dry face takes up [W m-2], and its fall per kelvin of the face [W m-2 K-1]."""
        kelvin = t_c + KELVIN
        per_kelvin = kelvin * kelvin
        per_kelvin *= kelvin
        per_kelvin *= self.emissivity * STEFAN_BOLTZMANN
        kelvin *= per_kelvin
        heat = self.gain_w_m2 - self.loss_w_m2_k * t_c
        heat -= kelvin
        per_kelvin *= 4.0
        return heat, self.loss_w_m2_k + per_kelvin

    def latent(self, t_c: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the heat a wet face gives off with vapour [W m-2] (condensing: negative), and its rise per kelvin."""
        saturated, slope = saturation(t_c)
        return self.vapour_w_m2_hpa * (saturated - self.vapour_hpa), self.vapour_w_m2_hpa * slope

    def net(self, t_c: FloatArray, wet_share: npt.ArrayLike) -> tuple[FloatArray, FloatArray]:
        """Return the heat a face takes up [W m-2], and its fall per kelvin of the face [W m-2 K-1].

        Vapour condenses on the whole face and evaporates from the share of it that is wet.
        """
        dry, dry_slope = self.dry(t_c)
        latent, latent_slope = self.latent(t_c)
        share = np.where(latent < 0.0, 1.0, wet_share)
        return dry - share * latent, dry_slope + share * latent_slope

    def settled(self, wet_share: npt.ArrayLike) -> FloatArray:
        """Return the temperature at which the face takes up nothing [degC]; eight steps of Newton from the air's."""
        t = np.broadcast_to(self.air_c, np.broadcast_shapes(self.air_c.shape, self.emissivity.shape))
        for _ in range(_NEWTON_STEPS):
            net, slope = self.net(t, wet_share)
            t = np.clip(t + net / slope, _COLDEST_C, _HOTTEST_C)
        return t


def heat_balance(
    air_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    wind_10m_m_s: npt.ArrayLike,
    plane_w_m2: npt.ArrayLike,
    sky_w_m2: npt.ArrayLike,
    exposure: OneOrMore,
    *,
    back_c: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
) -> HeatBalance:
    """Return the balance of a face in the weather, or of several; the columns broadcast against each other.

    Parameters
    ----------
    air_c
        Air temperature at the face. [degC]
    dew_point_c
        Dew point. [degC]
    wind_10m_m_s
        Wind at 10 m. [m s-1]
    plane_w_m2
        The sun's power that falls on the face, in its plane. [W m-2]
    sky_w_m2
        Longwave radiation that open level ground would get from the sky. [W m-2]
    exposure
        The face, or several. Several stand on an axis before members and times: the weather broadcasts against the
        shape (pieces, 1, 1), and so is given per piece as (pieces, members, times).
    back_c
        Temperature behind the face; left out, that of the room for the back "indoor" and else that of the air. [degC]
    pressure_hpa
        Air pressure at the place. [hPa]

    Raises
    ------
    ValueError
        For a value out of physical range, or one whose shape does not fit; the text names the argument.
    """
    faces = Faces.of(exposure)
    fitting(
        faces.shape,
        air_c=air_c,
        dew_point_c=dew_point_c,
        wind_10m_m_s=wind_10m_m_s,
        plane_w_m2=plane_w_m2,
        sky_w_m2=sky_w_m2,
        back_c=0.0 if back_c is None else back_c,
        pressure_hpa=pressure_hpa,
    )
    air = within("air_c", air_c, -90.0, 80.0, "degC")
    vapour = saturation_vapour_pressure(within("dew_point_c", dew_point_c, -100.0, 80.0, "degC"))
    wind = within("wind_10m_m_s", wind_10m_m_s, 0.0, 120.0, "m/s")
    sun = within("plane_w_m2", plane_w_m2, -20.0, 2000.0, "W/m2")
    sky = within("sky_w_m2", sky_w_m2, 0.0, 1000.0, "W/m2")
    pressure = within("pressure_hpa", pressure_hpa, 300.0, 1100.0, "hPa")
    behind = faces.behind(air, air) if back_c is None else within("back_c", back_c, -90.0, 80.0, "degC")

    to_back = faces.back_conductance_w_m2_k
    around = STEFAN_BOLTZMANN * (air + KELVIN) ** 4
    longwave = faces.emissivity * (faces.sky_view * sky + (1.0 - faces.sky_view) * around)
    taken = faces.absorptance * sun + longwave + to_back * behind
    calm, per_wind = faces.convection
    to_air = calm + per_wind * faces.wind_factor * wind
    if (faces.stable_share < 1.0).any():
        colder = taken < faces.emissivity * around + to_back * air  # were it as warm as the air
        to_air = to_air * np.where(colder, faces.stable_share, 1.0)
    return HeatBalance(
        air_c=air,
        gain_w_m2=taken + to_air * air,
        loss_w_m2_k=to_air + to_back,
        vapour_w_m2_hpa=to_air / (_PSYCHROMETRIC_PER_K * pressure),
        vapour_hpa=vapour,
        emissivity=faces.emissivity,
    )


def steady_temperature(
    air_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    wind_10m_m_s: npt.ArrayLike,
    plane_w_m2: npt.ArrayLike,
    sky_w_m2: npt.ArrayLike,
    exposure: OneOrMore,
    *,
    wet: npt.ArrayLike = False,
    back_c: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
) -> FloatArray:
    """Return the temperature a face comes to when the weather stays as it is [degC].

    Parameters are those of `heat_balance`, and `wet`: whether water lies on the face.

    Raises
    ------
    ValueError
        For a value out of physical range, or one whose shape does not fit; the text names the argument.
    """
    faces = Faces.of(exposure)
    balance = heat_balance(
        air_c,
        dew_point_c,
        wind_10m_m_s,
        plane_w_m2,
        sky_w_m2,
        faces,
        back_c=back_c,
        pressure_hpa=pressure_hpa,
    )
    fitting(balance.shape, wet=wet)
    return balance.settled(np.where(wet, 1.0, faces.evaporating_share))


def energy_residual(
    surface_c: npt.ArrayLike,
    air_c: npt.ArrayLike,
    dew_point_c: npt.ArrayLike,
    wind_10m_m_s: npt.ArrayLike,
    plane_w_m2: npt.ArrayLike,
    sky_w_m2: npt.ArrayLike,
    exposure: OneOrMore,
    *,
    wet: npt.ArrayLike = False,
    back_c: npt.ArrayLike | None = None,
    pressure_hpa: npt.ArrayLike = STANDARD_PRESSURE_HPA,
) -> FloatArray:
    """Return the heat a face of a given temperature takes up, the right side of the balance [W m-2].

    Parameters are those of `steady_temperature`, and `surface_c`: the temperature of the face. [degC]

    Raises
    ------
    ValueError
        For a value out of physical range, or one whose shape does not fit; the text names the argument.
    """
    faces = Faces.of(exposure)
    balance = heat_balance(
        air_c,
        dew_point_c,
        wind_10m_m_s,
        plane_w_m2,
        sky_w_m2,
        faces,
        back_c=back_c,
        pressure_hpa=pressure_hpa,
    )
    fitting(balance.shape, surface_c=surface_c, wet=wet)
    surface = within("surface_c", surface_c, _COLDEST_C, _HOTTEST_C, "degC")
    return balance.net(surface, np.where(wet, 1.0, faces.evaporating_share))[0]
