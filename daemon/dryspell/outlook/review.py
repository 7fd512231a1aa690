"""How often verdicts and odds were right.

A verdict is a yes (coat or tight) or a no (wait), and the weather of its start came or did not: that makes hits,
misses, false alarms and correct waits. Odds are scored by the mean square of how far they were from what came [1]_;
they hold what they say where of the starts of some odds that share came (the reliability table [2]_).

.. [1] G. W. Brier, Verification of forecasts expressed in terms of probability, Monthly Weather Review 78 (1950), 1-3.
   His sum runs over both classes, rain and no rain, and is twice this one, which is the usual form today [2]_.
.. [2] D. S. Wilks, Statistical Methods in the Atmospheric Sciences, chapter on forecast verification.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from dryspell.outlook.foretold import CAME, NOT_KNOWN
from dryspell.outlook.said import Said
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.weather.table import FloatArray

BINS = 10


@dataclass(frozen=True)
class Bin:
    """Starts of odds within a tenth: how many, what was said of them in the mean, and the share that came."""

    count: int
    said: float
    came: float


@dataclass(frozen=True)
class Score:
    """How some verdicts and their odds did.

    Attributes
    ----------
    hits, misses, false_alarms, correct_waits
        Yes and it came; no and it came; yes and it did not; no and it did not.
    brier
        Mean square error of the odds, 0 at best; None for no verdicts.
    base_rate
        Share of the starts whose weather came.
    reliability
        By tenths of the odds, the last one with 1 in it; None for a tenth without starts.
    """

    hits: int
    misses: int
    false_alarms: int
    correct_waits: int
    brier: float | None
    base_rate: float | None
    reliability: tuple[Bin | None, ...]

    @property
    def count(self) -> int:
        """How many verdicts there are."""
        return self.hits + self.misses + self.false_alarms + self.correct_waits

    @property
    def right(self) -> float | None:
        """The share of the verdicts that were right."""
        return (self.hits + self.correct_waits) / self.count if self.count else None

    @property
    def skill(self) -> float | None:
        """How much better the odds are than the base rate for every start: 1 at best, 0 is no better, None unknown."""
        if self.brier is None or self.base_rate in (None, 0.0, 1.0):
            return None
        return 1.0 - self.brier / (self.base_rate * (1.0 - self.base_rate))


def score(yes: BoolArray, share: FloatArray, came: BoolArray) -> Score:
    """Score verdicts.

    Parameters
    ----------
    yes
        Whether a coat was advised, shape (n,).
    share
        How likely it was said to be, 0 to 1, shape (n,).
    came
        Whether its weather came, shape (n,).
    """
    which = np.minimum((share * BINS + 1e-9).astype(np.int64), BINS - 1)
    return Score(
        hits=int(np.sum(yes & came)),
        misses=int(np.sum(~yes & came)),
        false_alarms=int(np.sum(yes & ~came)),
        correct_waits=int(np.sum(~yes & ~came)),
        brier=brier_score(share, came) if came.size else None,
        base_rate=float(np.mean(came)) if came.size else None,
        reliability=tuple(_bin(share[which == k], came[which == k]) for k in range(BINS)),
    )


def brier_score(share: FloatArray, came: BoolArray) -> float:
    """Return the mean square of what was said less what came (1 or 0)."""
    return float(np.mean((share - came) ** 2))


def _bin(share: FloatArray, came: BoolArray) -> Bin | None:
    return Bin(int(share.size), float(np.mean(share)), float(np.mean(came))) if share.size else None


@dataclass(frozen=True)
class Reviewed:
    """Verdicts beside what came of them, one for each start and lead time; arrays of shape (n,).

    Those of which it is not known yet what came are counted in `open_` alone.
    """

    lead_h: IndexArray
    yes: BoolArray
    share: FloatArray
    came: BoolArray
    open_: int = 0

    @classmethod
    def of(cls, said: Said, came: IndexArray) -> "Reviewed":
        """Put verdicts beside what came, as `foretold.what_came` has it."""
        known = came != NOT_KNOWN
        return cls(
            lead_h=said.rows["lead_h"][known],
            yes=said.rows["yes"][known],
            share=said.rows["share"][known],
            came=(came == CAME)[known],
            open_=int(np.sum(~known)),
        )

    @classmethod
    def joined(cls, parts: Iterable["Reviewed"]) -> "Reviewed":
        """Return several as one."""
        several = list(parts)
        return cls(
            lead_h=np.concatenate([np.zeros(0, np.int64), *(each.lead_h for each in several)]),
            yes=np.concatenate([np.zeros(0, np.bool_), *(each.yes for each in several)]),
            share=np.concatenate([np.zeros(0), *(each.share for each in several)]),
            came=np.concatenate([np.zeros(0, np.bool_), *(each.came for each in several)]),
            open_=sum(each.open_ for each in several),
        )

    @property
    def score(self) -> Score:
        """The score of all of them."""
        return score(self.yes, self.share, self.came)

    def by_lead(self) -> dict[int, Score]:
        """Return the scores by lead time. [h]"""
        at = {int(lead): self.lead_h == lead for lead in np.unique(self.lead_h)}
        return {lead: score(self.yes[rows], self.share[rows], self.came[rows]) for lead, rows in at.items()}
