"""Readings of a day, and forecasts as issued, as few bytes.

Both come down to whole numbers that change little from one to the next: their differences are small, so that their high
bytes are nearly all the same and zlib makes next to nothing of them.
"""

import json
import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import VARIABLES, FloatArray, TimeArray

IntArray = npt.NDArray[np.int64]
CodeArray = npt.NDArray[np.uint16]

UNKNOWN = 65535
"""The code of a value that is not known."""
STEPS: Mapping[str, float] = {
    "degC": 0.01,
    "percent": 0.1,
    "m/s": 0.01,
    "mm": 0.01,
    "W/m^2": 0.1,
    "hPa": 0.05,
}
"""What a forecast is rounded to by its unit: no coarser than any service prints, and every value between the bounds of
its variable has a code of 16 bits."""

_DECIMALS = (1, 10, 100, 1000)
_MOST = 2**31 - 1


def pack_day(times: IntArray, values: FloatArray, flags: npt.NDArray[np.uint8]) -> bytes:
    """Return readings as compressed bytes, each bit of them.

    Parameters
    ----------
    times
        UTC seconds, ascending.
    values, flags
        Of the same shape.
    """
    scale = next((scale for scale in _DECIMALS if _is_whole(values, scale)), 0)
    if scale:
        body = _bytes(_folded(_steps(np.rint(values * scale).astype(np.int64))).astype(np.uint32))
    else:
        body = _bytes(values.astype(np.float64))
    head = json.dumps({"n": int(times.size), "scale": scale}).encode() + b"\n"
    return zlib.compress(head + _stamps(times) + flags.astype(np.uint8).tobytes() + body, 9)


def unpack_day(body: bytes) -> tuple[IntArray, FloatArray, npt.NDArray[np.uint8]]:
    """Return the times, values and flags that `pack_day` made bytes of.

    Raises
    ------
    ValueError
        The bytes are not such.
    """
    head, _, rest = _inflated(body).partition(b"\n")
    about = json.loads(head)
    n, scale = about["n"], about["scale"]
    times = _unstamped(rest[: 8 * n])
    flags = np.frombuffer(rest[8 * n : 9 * n], dtype=np.uint8)
    if not scale:
        return times, _unbytes(rest[9 * n :], np.dtype(np.float64)).astype(np.float64), flags
    whole = np.cumsum(_unfolded(_unbytes(rest[9 * n :], np.dtype(np.uint32))))
    return times, whole / scale, flags


def _is_whole(values: FloatArray, scale: int) -> bool:
    whole = np.rint(values * scale)
    return bool(np.all(whole / scale == values) and np.all(np.abs(whole) < _MOST // 4))


@dataclass(frozen=True)
class Coded:
    """A forecast as whole numbers: `codes` has shape (variables, members, times), `about` is what else it says."""

    times: IntArray
    names: tuple[str, ...]
    codes: CodeArray
    about: Mapping[str, Any]


def coded(times: TimeArray, columns: Mapping[str, FloatArray], about: Mapping[str, Any]) -> Coded:
    """Return columns as whole numbers of `STEPS` over the lower bounds of their variables; NaN is `UNKNOWN`."""
    names = tuple(columns)
    members = next(iter(columns.values())).shape[0] if columns else 1
    codes = np.full((len(names), members, times.size), UNKNOWN, dtype=np.uint16)
    for place, name in enumerate(names):
        variable = VARIABLES[name]
        with np.errstate(invalid="ignore"):
            steps = np.rint((columns[name] - variable.low) / STEPS[variable.unit])
        inside = np.isfinite(steps) & (steps >= 0) & (steps < UNKNOWN)
        codes[place] = np.where(inside, steps, UNKNOWN).astype(np.uint16)
    return Coded(times.astype("datetime64[s]").astype(np.int64), names, codes, about)


def decoded(coded: Coded) -> dict[str, FloatArray]:
    """Return the columns of whole numbers, in the units of the weather table."""
    columns = {}
    for place, name in enumerate(coded.names):
        variable = VARIABLES[name]
        values = np.round(coded.codes[place] * STEPS[variable.unit] + variable.low, 3)
        columns[name] = np.where(coded.codes[place] == UNKNOWN, np.nan, values)
    return columns


def pack_issue(issue: Coded, before: Coded | None) -> bytes:
    """Return an issue as compressed bytes: what differs from the one before, and how that changes with time."""
    head = {"names": issue.names, "shape": issue.codes.shape, "about": issue.about}
    off = issue.codes - _expected(issue.times, issue.names, issue.codes.shape, before)
    off[..., 1:] -= off[..., :-1].copy()
    signed = off.view(np.int16).astype(np.int64)
    plain = json.dumps(head, ensure_ascii=False).encode() + b"\n" + _stamps(issue.times)
    return zlib.compress(plain + _bytes(_folded(signed).astype(np.uint16).reshape(-1)), 9)


def unpack_issue(body: bytes, before: Coded | None) -> Coded:
    """Return the issue that `pack_issue` made bytes of, given the same one before.

    Raises
    ------
    ValueError
        The bytes are not such.
    """
    text, _, rest = _inflated(body).partition(b"\n")
    head = json.loads(text)
    names, shape = tuple(head["names"]), tuple(head["shape"])
    n = shape[2]
    times = _unstamped(rest[: 8 * n])
    signed = _unfolded(_unbytes(rest[8 * n :], np.dtype(np.uint16))).astype(np.int16)
    off = np.cumsum(signed.view(np.uint16).reshape(shape), axis=2, dtype=np.uint16)
    return Coded(times, names, off + _expected(times, names, shape, before), head["about"])


def _expected(times: IntArray, names: Sequence[str], shape: tuple[int, ...], before: Coded | None) -> CodeArray:
    """Return the codes of the issue before at the same instants, past its end its last ones; 0 where it has none."""
    expected = np.zeros(shape, dtype=np.uint16)
    if before is None or before.codes.shape[1] != shape[1]:
        return expected
    at = np.clip(np.searchsorted(before.times, times), 0, before.times.size - 1)
    for place, name in enumerate(names):
        if name in before.names:
            expected[place] = before.codes[before.names.index(name)][:, at]
    return expected


def _stamps(times: IntArray) -> bytes:
    """Return ascending instants by how their steps change: an even axis is nearly nothing."""
    return _bytes(_folded(_steps(_steps(times))).astype(np.uint64))


def _unstamped(body: bytes) -> IntArray:
    return np.asarray(np.cumsum(np.cumsum(_unfolded(_unbytes(body, np.dtype(np.uint64))))))


def _steps(whole: IntArray) -> IntArray:
    return np.asarray(whole - np.concatenate([[0], whole[:-1]]))


def _folded(signed: IntArray) -> IntArray:
    """Return whole numbers with their sign in the lowest bit, so that small ones of either sign have small codes."""
    return (signed << 1) ^ (signed >> 63)


def _unfolded(folded: npt.NDArray[np.generic]) -> IntArray:
    codes = folded.astype(np.int64)
    return (codes >> 1) ^ -(codes & 1)


def _bytes(values: npt.NDArray[np.generic]) -> bytes:
    """Return the first bytes of all values, then all second ones, and so on."""
    little = np.ascontiguousarray(values, dtype=values.dtype.newbyteorder("<"))
    return np.ascontiguousarray(little.view(np.uint8).reshape(-1, values.dtype.itemsize).T).tobytes()


def _unbytes(body: bytes, dtype: np.dtype[np.generic]) -> npt.NDArray[np.generic]:
    planes = np.frombuffer(body, dtype=np.uint8).reshape(dtype.itemsize, -1)
    return np.ascontiguousarray(planes.T).view(dtype.newbyteorder("<")).reshape(-1)


def _inflated(body: bytes) -> bytes:
    try:
        return zlib.decompress(body)
    except zlib.error as error:
        raise ValueError(f"not packed as it should be: {error}") from None
