"""Refuses what cannot be, before a formula turns it into a plausible number."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_BLOCK = 16_384


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


def in_blocks(formula: Callable[..., None], *columns: npt.ArrayLike) -> FloatArray:
    """Return what a formula makes of columns, element by element, in the shape that they broadcast to.

    Long ones are gone through in blocks, and nothing is allocated on the way: what is needed in between stays in the
    processor's cache, where a pass over fresh memory costs more than a logarithm.

    Parameters
    ----------
    formula
        Called with where to put what is found, two more arrays like it that it may use, and the columns.
    """
    arrays = [np.asarray(column, dtype=np.float64) for column in columns]
    found = np.empty(np.broadcast_shapes(*(each.shape for each in arrays)))
    if found.size <= _BLOCK or any(each.shape != found.shape or not each.flags.c_contiguous for each in arrays):
        formula(
            found, np.empty_like(found), np.empty_like(found), *(np.broadcast_to(each, found.shape) for each in arrays)
        )
        return found
    one, other = np.empty((2, _BLOCK))
    flat = [each.reshape(-1) for each in (found, *arrays)]
    for first in range(0, found.size, _BLOCK):
        out, *block = (each[first : first + _BLOCK] for each in flat)
        formula(out, one[: out.size], other[: out.size], *block)
    return found
