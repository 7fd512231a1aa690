"""Where the sun stands, and how much of its light reaches a plane.

Zenith angles are true, without refraction; azimuths count from north, clockwise. A flux that is the mean over a step
goes with the sun of the middle of that step: pass mid-step instants for it.

References
----------
.. [1] J. Meeus, Astronomical Algorithms, 2nd ed., chapters 12, 22 and 25 (low accuracy). From memory; checked against
   the solar position algorithm of NREL/TP-560-34302 in the tests.
.. [2] NOAA solar calculator, glossary: sunrise and sunset at a zenith angle of 90.833 degrees, that is 34' of standard
   refraction and 16' of semidiameter.
.. [3] B. Haurwitz, Insolation in relation to cloudiness and cloud density, J. Meteorology 2 (1945) 154-166.
.. [4] F. Kasten, G. Czeplak, Solar and terrestrial radiation dependent on the amount and type of cloud, Solar Energy 24
   (1980) 177-189.
.. [5] D. G. Erbs, S. A. Klein, J. A. Duffie, Estimation of the diffuse radiation fraction for hourly, daily and
   monthly-average global radiation, Solar Energy 28 (1982) 293-302.
.. [6] G. Kopp, J. L. Lean, A new, lower value of total solar irradiance, Geophys. Res. Lett. 38 (2011) L01706.
.. [7] J. E. Hay, J. A. Davies, Calculations of the solar radiation incident on an inclined surface, Proc. First
   Canadian Solar Radiation Data Workshop (1980) 59-72 (from memory; checked against pvlib in the tests).
"""

from typing import Literal, NamedTuple

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within

SUNRISE_ZENITH_DEG = 90.833  # [2]
CIVIL_ZENITH_DEG = 96.0  # the centre of the sun 6 degrees under a level horizon
SOLAR_CONSTANT_W_M2 = 1361.0  # [6]
LOWEST_BEAM_ZENITH_DEG = 87.0  # lower sun: dividing by its cosine would blow small errors up into a fierce beam
_LOWEST_BEAM_COSINE = np.cos(np.radians(LOWEST_BEAM_ZENITH_DEG))

TimeArray = npt.NDArray[np.datetime64]

_J2000 = np.datetime64("2000-01-01T12:00:00", "s")
_DAYS_PER_CENTURY = 36525.0


def _days(times_utc: npt.ArrayLike) -> FloatArray:
    """Return days since 2000-01-01 12:00 UTC, NaN for NaT."""
    return (np.asarray(times_utc, dtype="datetime64[s]") - _J2000) / np.timedelta64(86400, "s")


def _ecliptic(days: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return longitude [rad], obliquity [rad] and distance [au] of the sun [1]."""
    t = days / _DAYS_PER_CENTURY
    mean_longitude = 280.46646 + t * (36000.76983 + t * 0.0003032)
    anomaly = np.radians(357.52911 + t * (35999.05029 - t * 0.0001537))
    eccentricity = 0.016708634 - t * (0.000042037 + t * 0.0000001267)
    centre = (
        (1.914602 - t * (0.004817 + t * 0.000014)) * np.sin(anomaly)
        + (0.019993 - t * 0.000101) * np.sin(2.0 * anomaly)
        + 0.000289 * np.sin(3.0 * anomaly)
    )
    # Aberration is taken off. Left out are nutation, whose parts here and in the sidereal time nearly cancel, the
    # minute by which dynamical time is ahead (0.001 degrees) and parallax (0.002).
    longitude = np.radians(mean_longitude + centre - 0.00569)
    obliquity = np.radians(23.439291 - t * (0.0130042 + t * 0.00000016))
    true_anomaly = anomaly + np.radians(centre)
    distance = 1.000001018 * (1.0 - eccentricity**2) / (1.0 + eccentricity * np.cos(true_anomaly))
    return longitude, obliquity, distance


def _latitude(latitude_deg: npt.ArrayLike) -> FloatArray:
    return np.radians(within("latitude_deg", latitude_deg, -90.0, 90.0, "deg"))


def _equatorial(times_utc: npt.ArrayLike, east_deg: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return declination and hour angle of the sun [rad], the angle from the meridian westward in any turn."""
    days = _days(times_utc)
    longitude, obliquity, _ = _ecliptic(days)
    ascension = np.arctan2(np.cos(obliquity) * np.sin(longitude), np.cos(longitude))
    declination = np.arcsin(np.sin(obliquity) * np.sin(longitude))
    sidereal = np.radians((280.46061837 + 360.98564736629 * days + east_deg) % 360.0)
    return declination, sidereal - ascension


def position(
    times_utc: npt.ArrayLike, latitude: npt.ArrayLike, longitude: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Return where the sun stands: (zenith [deg], azimuth [deg from north, clockwise, 0 to 360]).

    Good to 0.02 degrees from 2000 to 2050 [1]_, the azimuth to 0.02 degrees over the sine of the zenith: straight
    overhead it means little. The zenith is the true one, without refraction.

    Parameters
    ----------
    times_utc
        Instants in UTC, datetime64 of any unit, shape (times,); NaT gives NaN.
    latitude, longitude
        North and east positive, broadcast against the instants. [deg]

    Raises
    ------
    ValueError
        For a latitude outside -90 to 90 or a longitude outside -180 to 360 degrees.
    """
    phi = _latitude(latitude)
    declination, hour_angle = _equatorial(times_utc, within("longitude_deg", longitude, -180.0, 360.0, "deg"))

    # the sun as a vector at the observer: up, south and west
    up = np.sin(phi) * np.sin(declination) + np.cos(phi) * np.cos(declination) * np.cos(hour_angle)
    south = np.sin(phi) * np.cos(declination) * np.cos(hour_angle) - np.cos(phi) * np.sin(declination)
    west = np.cos(declination) * np.sin(hour_angle)
    # from the vector and not by arccos, which loses the angle near the zenith
    zenith = np.degrees(np.arctan2(np.hypot(south, west), up))
    azimuth = (np.degrees(np.arctan2(west, south)) + 180.0) % 360.0
    return zenith, azimuth


def is_daylight(zenith_deg: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Say whether the sun's upper limb is over a level horizon: true zenith under 90.833 degrees [2]_; NaN is not."""
    return np.asarray(zenith_deg, dtype=np.float64) < SUNRISE_ZENITH_DEG


class DayOfSun(NamedTuple):
    """Instants of days at a place, datetime64[s] in UTC; NaT where the sun does not come to it on that day."""

    dawn: TimeArray
    """The sun comes within 6 degrees of the horizon: civil twilight begins."""
    sunrise: TimeArray
    noon: TimeArray
    """The sun crosses the meridian."""
    sunset: TimeArray
    dusk: TimeArray
    """Civil twilight ends."""


def day_of_sun(days: npt.ArrayLike, latitude_deg: npt.ArrayLike, longitude_deg: npt.ArrayLike) -> DayOfSun:
    """Return when the sun rises and sets, and civil twilight begins and ends, on each side of the noon of each day.

    Within half a minute where the sun crosses the horizon at more than a slant; where it but grazes it, near the polar
    circles, a small error of the angle is minutes. Sunrise and sunset are those of the upper limb on a level horizon
    with standard refraction [2]_; in real air they can be a minute off, and hills hide the sun for longer.

    Parameters
    ----------
    days
        Calendar days at the place, datetime64; the noon is that nearest to 12:00 local mean time of the day.
    latitude_deg, longitude_deg
        North and east positive, broadcast against the days. [deg]

    Raises
    ------
    ValueError
        For a latitude outside -90 to 90 or a longitude outside -180 to 360 degrees.
    """
    latitude = _latitude(latitude_deg)
    east = within("longitude_deg", longitude_deg, -180.0, 360.0, "deg")
    midday = np.asarray(days, dtype="datetime64[D]").astype("datetime64[s]") + np.timedelta64(43200, "s")
    mean_noon_s = -240.0 * np.where(east > 180.0, east - 360.0, east)

    def settled(side: float, zenith_deg: float) -> TimeArray:
        """Return when the sun stands at a zenith angle before (-1) or after (1) noon, or (0) on the meridian."""
        offset_s, reached = mean_noon_s, np.True_
        for _ in range(4):  # each leaves what the declination moves meanwhile: under a second after the third
            declination, hour_angle = _equatorial(midday + _whole_seconds(offset_s), east)
            cosine = (np.cos(np.radians(zenith_deg)) - np.sin(latitude) * np.sin(declination)) / (
                np.cos(latitude) * np.cos(declination)
            )
            wanted = side * np.arccos(np.clip(cosine, -1.0, 1.0))
            # The turn that is nearest to the guess; the sun moves on by 15 degrees an hour.
            ahead = (wanted - hour_angle + np.pi) % (2.0 * np.pi) - np.pi
            offset_s = offset_s + ahead * (43200.0 / np.pi)
            reached = (np.abs(cosine) <= 1.0) | (side == 0.0)
        return np.where(reached, midday + _whole_seconds(offset_s), np.datetime64("NaT", "s"))

    return DayOfSun(
        dawn=settled(-1.0, CIVIL_ZENITH_DEG),
        sunrise=settled(-1.0, SUNRISE_ZENITH_DEG),
        noon=settled(0.0, 90.0),
        sunset=settled(1.0, SUNRISE_ZENITH_DEG),
        dusk=settled(1.0, CIVIL_ZENITH_DEG),
    )


def _whole_seconds(seconds: FloatArray) -> npt.NDArray[np.timedelta64]:
    return np.round(seconds).astype("timedelta64[s]")


def extraterrestrial_normal(times_utc: npt.ArrayLike) -> FloatArray:
    """Return the sun's irradiance above the atmosphere, square to its rays [W m-2], by its distance [1]_ and [6]_."""
    _, _, distance = _ecliptic(_days(times_utc))
    return SOLAR_CONSTANT_W_M2 / distance**2


def _cosine(zenith_deg: npt.ArrayLike) -> FloatArray:
    """Return the cosine of the zenith, 0 for a sun below the horizon."""
    return np.maximum(np.cos(np.radians(within("zenith_deg", zenith_deg, 0.0, 180.0, "deg"))), 0.0)


def clear_sky_global(zenith_deg: npt.ArrayLike) -> FloatArray:
    """Return the global irradiance on level ground under a cloudless sky [W m-2], 0 with the sun down [3]_.

    Parameters
    ----------
    zenith_deg
        Zenith angle of the sun, any shape. [deg]

    Raises
    ------
    ValueError
        For a zenith outside 0 to 180 degrees.
    """
    cosine = _cosine(zenith_deg)
    # the floor only keeps the exponent finite: the product is 0 long before
    return 1098.0 * cosine * np.exp(-0.059 / np.maximum(cosine, 1e-4))


def cloud_transmission(cloud_fraction: npt.ArrayLike) -> FloatArray:
    """Return the share of the clear-sky global irradiance that comes through cloud, 1 - 0.75 c^3.4 [4]_.

    Parameters
    ----------
    cloud_fraction
        Share of the sky that is covered, any shape. [1]

    Raises
    ------
    ValueError
        For a fraction outside 0 to 1.
    """
    return 1.0 - 0.75 * within("cloud_fraction", cloud_fraction, 0.0, 1.0, "of the sky") ** 3.4


def _irradiance(name: str, values: npt.ArrayLike) -> FloatArray:
    """Return an irradiance; the small negatives of instruments at night are none."""
    return np.maximum(within(name, values, -20.0, 1600.0, "W/m2"), 0.0)


def _beam(dni: FloatArray, zenith_deg: npt.ArrayLike) -> FloatArray:
    """Return the direct irradiance with that of a low sun taken out; NaN stays."""
    return dni * (np.asarray(zenith_deg, dtype=np.float64) <= LOWEST_BEAM_ZENITH_DEG)


def direct_normal(direct_horizontal: npt.ArrayLike, zenith_deg: npt.ArrayLike) -> FloatArray:
    """Return the direct irradiance square to the rays [W m-2] from the direct irradiance on level ground.

    Zero for a sun lower than a zenith of 87 degrees, and never more than the sun gives above the atmosphere.

    Parameters
    ----------
    direct_horizontal
        Direct irradiance on level ground, that is global less diffuse. [W m-2]
    zenith_deg
        Zenith angle of the sun, broadcast against it. [deg]

    Raises
    ------
    ValueError
        For an irradiance outside -20 to 1600 W/m2 or a zenith outside 0 to 180 degrees.
    """
    cosine = np.maximum(_cosine(zenith_deg), _LOWEST_BEAM_COSINE)
    return _beam(
        np.minimum(_irradiance("direct_horizontal", direct_horizontal) / cosine, SOLAR_CONSTANT_W_M2), zenith_deg
    )


def split_global(
    ghi: npt.ArrayLike, zenith_deg: npt.ArrayLike, extraterrestrial: npt.ArrayLike
) -> tuple[FloatArray, FloatArray]:
    """Split global irradiance into its direct and its diffuse part by the clearness of the sky [5]_.

    With the sun lower than a zenith of 87 degrees all of it is diffuse. The direct part is never more than the sun
    gives above the atmosphere. Together the two make the global irradiance again.

    Parameters
    ----------
    ghi
        Global irradiance on level ground. [W m-2]
    zenith_deg
        Zenith angle of the sun, broadcast against it. [deg]
    extraterrestrial
        From `extraterrestrial_normal`, broadcast against it. [W m-2]

    Returns
    -------
    tuple
        Direct irradiance square to the rays, and diffuse irradiance on level ground. [W m-2]

    Raises
    ------
    ValueError
        For an irradiance outside -20 to 1600 W/m2 or a zenith outside 0 to 180 degrees.
    """
    total, above = _irradiance("ghi", ghi), within("extraterrestrial", extraterrestrial, 1200.0, 1500.0, "W/m2")
    cosine = np.maximum(_cosine(zenith_deg), _LOWEST_BEAM_COSINE)
    kt = total / (above * cosine)
    polynomial = 0.9511 + kt * (-0.1604 + kt * (4.388 + kt * (-16.638 + kt * 12.336)))
    direct_share = 1.0 - np.where(kt <= 0.22, 1.0 - 0.09 * kt, np.where(kt <= 0.80, polynomial, 0.165))
    dni = _beam(np.minimum(total * direct_share / cosine, above), zenith_deg)
    return dni, total - dni * cosine


def cos_incidence(
    zenith_deg: npt.ArrayLike, azimuth_deg: npt.ArrayLike, tilt_deg: npt.ArrayLike, facing_deg: npt.ArrayLike
) -> FloatArray:
    """Return the cosine of the angle between the sun's rays and the normal of a plane, negative behind it.

    Parameters
    ----------
    zenith_deg, azimuth_deg
        Where the sun stands, from `position`. [deg]
    tilt_deg
        Tilt of the plane from level: 0 faces the sky, 90 is a wall, 180 an underside. [deg]
    facing_deg
        Where the plane looks, from north, clockwise. [deg]

    Raises
    ------
    ValueError
        For a zenith or tilt outside 0 to 180 degrees.
    """
    zenith, tilt = within("zenith_deg", zenith_deg, 0.0, 180.0, "deg"), within("tilt_deg", tilt_deg, 0.0, 180.0, "deg")
    beside = np.asarray(azimuth_deg, dtype=np.float64) - np.asarray(facing_deg, dtype=np.float64)
    z, b, a = np.radians(zenith), np.radians(tilt), np.radians(beside)
    cosine: FloatArray = np.cos(z) * np.cos(b) + np.sin(z) * np.sin(b) * np.cos(a)
    return cosine


class PlaneIrradiance(NamedTuple):
    """What falls on a plane, by where it comes from [W m-2]."""

    beam: FloatArray
    sky: FloatArray
    ground: FloatArray
    round_sun: FloatArray
    """The part of `sky` that comes from close round the sun, and is shaded with the beam."""

    @property
    def diffuse(self) -> FloatArray:
        """What does not come from the sun's disc. [W m-2]"""
        return self.sky + self.ground

    @property
    def total(self) -> FloatArray:
        """All of it. [W m-2]"""
        return self.beam + self.diffuse


def plane_irradiance(
    zenith_deg: npt.ArrayLike,
    azimuth_deg: npt.ArrayLike,
    dni: npt.ArrayLike,
    dhi: npt.ArrayLike,
    ghi: npt.ArrayLike,
    tilt_deg: npt.ArrayLike,
    facing_deg: npt.ArrayLike,
    albedo: float = 0.2,
    *,
    sky: Literal["isotropic", "hay-davies"] = "isotropic",
    extraterrestrial: npt.ArrayLike | None = None,
) -> PlaneIrradiance:
    """Return the irradiance on a plane.

    Parameters
    ----------
    zenith_deg, azimuth_deg
        Where the sun stands, shape (times,). [deg]
    dni
        Direct irradiance square to the rays, (times,) or (members, times); none counts with the sun down. [W m-2]
    dhi, ghi
        Diffuse and global irradiance on level ground, the same shape. [W m-2]
    tilt_deg, facing_deg
        The plane, as in `cos_incidence`. [deg]
    albedo
        Share of the light that the ground gives back; 0.2 is grass and the usual assumption. [1]
    sky
        How bright the sky is: the same all over, or brighter round the sun by what gets through of the beam [7]_. On a
        measured tilted plane the first came nearer (in the tests).
    extraterrestrial
        From `extraterrestrial_normal`; needed for "hay-davies". [W m-2]

    Raises
    ------
    ValueError
        For a figure out of its range, or a missing `extraterrestrial`.
    """
    within("albedo", albedo, 0.0, 1.0, "of the light")
    tilt = np.radians(within("tilt_deg", tilt_deg, 0.0, 180.0, "deg"))
    up = _cosine(zenith_deg)
    facing_sun = np.maximum(cos_incidence(zenith_deg, azimuth_deg, tilt_deg, facing_deg), 0.0)
    beam, diffuse = _irradiance("dni", dni), _irradiance("dhi", dhi)
    from_sky, from_round_sun = (1.0 + np.cos(tilt)) / 2.0, np.zeros_like(up)
    if sky == "hay-davies":
        if extraterrestrial is None:
            raise ValueError("extraterrestrial is needed for a sky that is brighter round the sun")
        above = within("extraterrestrial", extraterrestrial, 1200.0, 1500.0, "W/m2")
        round_sun = np.where(up == 0.0, 0.0, np.minimum(beam / above, 1.0))
        # The floor is a sun one degree high, as in the reference library.
        from_round_sun = round_sun * facing_sun / np.maximum(up, 0.01745)
        from_sky = from_round_sun + (1.0 - round_sun) * from_sky
    return PlaneIrradiance(
        beam=beam * np.where(up == 0.0, 0.0, facing_sun),
        sky=diffuse * from_sky,
        ground=_irradiance("ghi", ghi) * albedo * (1.0 - np.cos(tilt)) / 2.0,
        round_sun=diffuse * from_round_sun,
    )
