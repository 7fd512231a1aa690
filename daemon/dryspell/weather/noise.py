"""Random courses that remember: an error of one hour is like that of the next, and the same when drawn again."""

import hashlib
from datetime import datetime

import numpy as np

from dryspell.science.recurrence import affine_scan
from dryspell.weather.table import FloatArray


def seed_of(site: str, issued_at: datetime) -> int:
    """Return the seed for the odds of a forecast: the same for the same site and moment, on any machine."""
    return int.from_bytes(hashlib.sha256(f"{site}\n{int(issued_at.timestamp())}".encode()).digest()[:8], "big")


def courses(seed: int, stream: int, lead_h: FloatArray, memory_h: float, count: int) -> FloatArray:
    """Return `count` standard normal courses at lead times, each with correlation exp(-apart / memory), (count, times).

    They are drawn hour by hour from lead 0 on and looked up at the leads, so a course does not depend on which leads
    are asked for, nor on how far they reach.

    Parameters
    ----------
    seed, stream
        Courses of other streams of a seed are independent.
    lead_h
        From 0 on, shape (times,). [h]
    """
    hours = int(np.floor(lead_h.max(initial=0.0))) + 2
    drawn = np.random.default_rng([seed, stream]).standard_normal((hours, count)).T
    stays = np.exp(-1.0 / memory_h)
    kept = np.full(hours, stays)
    kept[0] = 0.0
    course = affine_scan(kept, drawn * np.where(kept > 0.0, np.sqrt(1.0 - stays**2), 1.0), 0.0)
    hour = np.floor(lead_h).astype(np.int64)
    share = lead_h - hour
    # Half way between two hours a mean of both would vary less than either.
    spread = np.sqrt((1.0 - share) ** 2 + share**2 + 2.0 * share * (1.0 - share) * stays)
    return np.asarray(((1.0 - share) * course[:, hour] + share * course[:, hour + 1]) / spread)
