"""How fast a coating dries for one person, learned from when coats were seen to be sandable."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

PRIOR_COATS = 2.0
"""What is printed counts as much as this many observed coats (our own choice)."""
MOST_APART = 1.5
"""Coats whose times lie typically more than this factor from their middle contradict each other; what is known of a
film's drying from a single printed time is no better either."""
LOOKED_LATE = 3.0
"""A coat seen sandable at more than this many times what was expected was not looked at in time, or not at all."""


@dataclass(frozen=True)
class Pace:
    """What was learned.

    Attributes
    ----------
    factor
        Multiplier on the times of the coating; 1 where nothing could be learned.
    coats
        Observed coats that count.
    apart
        The factor by which they typically lie from their middle.
    contradictory
        They lie too far apart for anything to be learned from them.
    """

    factor: float
    coats: int
    apart: float
    contradictory: bool


def learn_pace(progress: Sequence[float], *, prior_coats: float = PRIOR_COATS) -> Pace:
    """Learn how many times longer than expected a coating takes.

    The middle (median) of the logarithms, drawn towards the expected time as if that many more coats had kept to it:
    one coat that took 1.5 times as long makes 1.5^(1/3) = 1.14 with a prior of two coats. Refused where the coats lie
    more than a factor of 1.5 from their middle (1.4826 times the median of the distances, which is the standard
    deviation where they are normal).

    Parameters
    ----------
    progress
        For each observed coat, how far it had come by the sum when it was seen sandable: 1 is as expected, 1.2 took a
        fifth longer. What is not within 1/3 to 3 is left out: whoever looks a day later has not seen when it was ready.
    prior_coats
        Weight of the expected time.

    Raises
    ------
    ValueError
        For a progress or a prior that is not more than nothing.
    """
    shares = np.asarray(progress, dtype=np.float64)
    if not np.all(shares > 0.0):
        raise ValueError(f"progress needs to be more than 0, got {shares.min() if shares.size else shares:g}")
    if not prior_coats > 0.0:
        raise ValueError(f"prior_coats needs to be more than 0, got {prior_coats:g}")
    logs = np.log(shares)
    logs = logs[np.abs(logs) <= np.log(LOOKED_LATE)]
    if logs.size == 0:
        return Pace(1.0, 0, 1.0, contradictory=False)
    middle = float(np.median(logs))
    apart = float(np.exp(1.4826 * np.median(np.abs(logs - middle))))
    if apart > MOST_APART:
        return Pace(1.0, logs.size, apart, contradictory=True)
    return Pace(float(np.exp(middle * logs.size / (logs.size + prior_coats))), logs.size, apart, contradictory=False)
