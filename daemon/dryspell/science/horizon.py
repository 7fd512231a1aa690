"""What stands before the sun: a skyline that is known by its height in some directions."""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within

Skyline = Sequence[tuple[float, float]]
"""Directions from north clockwise with the height of the skyline there over a level line, both in degrees."""


def skyline_height(skyline: Skyline, azimuth_deg: npt.ArrayLike) -> FloatArray:
    """Return how high the skyline stands in each direction [deg], straight between the directions given.

    Parameters
    ----------
    skyline
        One direction at the least, in any order; beyond the last one the line goes on to the first, round the compass.
    azimuth_deg
        Directions from north, clockwise, any shape. [deg]

    Raises
    ------
    ValueError
        Without any direction, with the same one twice, or with a height outside -90 to 90 degrees.
    """
    around = sorted((direction % 360.0, height) for direction, height in skyline)
    directions = [direction for direction, _ in around]
    if not around or len(set(directions)) < len(directions):
        raise ValueError("skyline needs at least one direction, and each only once")
    heights = within("skyline", [height for _, height in around], -90.0, 90.0, "deg")
    found: FloatArray = np.interp(np.asarray(azimuth_deg, dtype=np.float64), directions, heights, period=360.0)
    return found


def stands_clear(skyline: Skyline, zenith_deg: npt.ArrayLike, azimuth_deg: npt.ArrayLike) -> npt.NDArray[np.bool_]:
    """Say whether the middle of the sun stands over the skyline; NaN does not.

    Parameters are those of `skyline_height`, and `zenith_deg`: the zenith angle of the sun, without refraction. [deg]

    Raises
    ------
    ValueError
        As `skyline_height`, and for a zenith outside 0 to 180 degrees.
    """
    zenith = within("zenith_deg", zenith_deg, 0.0, 180.0, "deg")
    return np.asarray(90.0 - zenith > skyline_height(skyline, azimuth_deg))
