"""Random courses that remember: an error of one hour is like that of the next, and the same when drawn again.

They belong to the hours they are of and not to a forecast: the next forecast finds at the same hours the same courses,
so that what changes from one to the next is what the weather changed.
"""

import hashlib

import numpy as np

from dryspell.science.recurrence import affine_scan
from dryspell.weather.recent import HOUR
from dryspell.weather.table import FloatArray, TimeArray

_BLOCK_H = 168
"""Hours that are drawn together, a week of them: each hour's draws are by its place in its block."""
_FORGOTTEN = 20.0
"""After so many times its memory a course has forgotten how it began, to 2e-9."""
_ORIGIN = np.datetime64("0001-01-01", "s")


def seed_of(site: str) -> int:
    """Return the seed for the odds of a site: the same on any machine."""
    return int.from_bytes(hashlib.sha256(site.encode()).digest()[:8], "big")


def courses(seed: int, stream: int, times: TimeArray, memory_h: float, count: int) -> FloatArray:
    """Return `count` standard normal courses, each with correlation exp(-apart / memory), shape (count, times).

    They are drawn hour by hour and looked up at the times, so a course does not depend on which times are asked for,
    nor on where they begin.

    Parameters
    ----------
    seed, stream
        Courses of other streams of a seed are independent.
    times
        Ascending, shape (times,).
    """
    if not times.size:
        return np.empty((count, 0))
    at_h = (times.astype("datetime64[s]") - _ORIGIN) / HOUR
    # It begins so many whole blocks before that how it began is forgotten at the first hour.
    begin = int(at_h[0] // _BLOCK_H) - int(np.ceil(_FORGOTTEN * memory_h / _BLOCK_H))
    end = int((at_h[-1] + 1) // _BLOCK_H)
    drawn = np.concatenate([_drawn(seed, stream, block, count) for block in range(begin, end + 1)]).T
    stays = np.exp(-1.0 / memory_h)
    kept = np.full(drawn.shape[1], stays)
    kept[0] = 0.0
    course = affine_scan(kept, drawn * np.where(kept > 0.0, np.sqrt(1.0 - stays**2), 1.0), 0.0)
    since_h = at_h - begin * _BLOCK_H
    hour = np.floor(since_h).astype(np.int64)
    share = since_h - hour
    # Half way between two hours a mean of both would vary less than either.
    spread = np.sqrt((1.0 - share) ** 2 + share**2 + 2.0 * share * (1.0 - share) * stays)
    return np.asarray(((1.0 - share) * course[:, hour] + share * course[:, hour + 1]) / spread)


def _drawn(seed: int, stream: int, block: int, count: int) -> FloatArray:
    """Return what the hours of a block draw, shape (hours, count)."""
    return np.random.default_rng([seed, stream, block]).standard_normal((_BLOCK_H, count))
