"""How many of the ways in which the weather may go have to agree on a start."""

from dataclasses import dataclass

import numpy as np

from dryspell.outlook.judge import ONE_DEGREE, ROUNDING, SLOWER, Strictness

TIGHT_BELOW_GOOD = 0.15
"""A start is tight where fewer members pass than is asked, by up to this share. No source."""


@dataclass(frozen=True)
class Agreement:
    """How many members have to agree on a start, and on what turn for the worse.

    Attributes
    ----------
    least, good
        The share of members that has to pass for a start to be tight, and for it to be good.
    worse
        How the weather or the drying may turn out for a start to be good still.
    is_odds
        Whether the share of members that pass is a probability.
    """

    least: float = 1.0
    good: float = 1.0
    worse: tuple[Strictness, ...] = (SLOWER, ONE_DEGREE)
    is_odds: bool = False

    @classmethod
    def by_odds(cls, good: float) -> "Agreement":
        """Return how members agree whose spread is that of the weather: no degree need be added to it again."""
        return cls(least=max(good - TIGHT_BELOW_GOOD, 0.0), good=good, worse=(SLOWER,), is_odds=True)

    def among(self, members: int, share: float) -> int:
        """Return which member in the order of their values, the worst first, speaks for that share of them."""
        return min(int(np.floor((1.0 - share) * members + ROUNDING)), members - 1)


ALL = Agreement()
"""One forecast, or several ways in which it may turn out: every one has to do."""
