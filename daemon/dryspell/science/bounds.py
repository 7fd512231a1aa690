"""Refuses what cannot be, before a formula turns it into a plausible number."""

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def within(name: str, values: npt.ArrayLike, low: float, high: float, unit: str) -> FloatArray:
    """Return the values as float64, or raise ValueError naming the argument that leaves its bounds.

    NaN passes: it is a value that is not known, and it stays so through every formula.
    """
    array = np.asarray(values, dtype=np.float64)
    # fmin and fmax pass over NaN, and two reductions cost less than a mask of the whole array.
    if array.size and (np.fmin.reduce(array, axis=None) < low or np.fmax.reduce(array, axis=None) > high):
        outside = array[(array < low) | (array > high)]
        wanted = f"within {low:g} to {high:g}" if np.isfinite(low) else f"{high:g} or less"
        raise ValueError(f"{name} is out of range: {outside[0]:g} {unit} where it is {wanted} {unit}")
    return array
