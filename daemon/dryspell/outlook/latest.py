"""What was worked out last under one weather, for the next coat that is asked about: often it is the same one."""

from dataclasses import dataclass

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.model import Block, Foretold, Reason, Window, Word
from dryspell.outlook.slowing import Slowing
from dryspell.trade.coating import Coating


@dataclass(frozen=True)
class Verdict:
    """What an outlook says of the starts of the next coat."""

    word: Word
    reason: Reason
    windows: tuple[Window, ...]
    blocks: tuple[Block, ...]
    foretold: tuple[Foretold, ...]


class Latest:
    """The clock of the coat that was judged last, and the verdict on it.

    Only of the last one: a clock is some megabytes. Coats of one coating are best asked about one after the other.
    """

    def __init__(self) -> None:
        self._clock: DryingClock | None = None
        self._steps: tuple[int, int] | None = None
        self._verdict: Verdict | None = None

    def clock(self, c: Conditions, coating: Coating, slowing: Slowing) -> DryingClock:
        """Return the clock of a coat; where it is of the coating of the last one, the sums of that serve."""
        known, self._steps = self._clock, None
        if known is not None and known.coating == coating:
            self._clock = known.slowed(slowing)
        else:
            self._clock = DryingClock(c, coating, slowing)
        return self._clock

    def verdict(self, coating: Coating, slowing: Slowing, steps: tuple[int, int] | None) -> Verdict | None:
        """Return the verdict on the last coat where that dries alike, is brushed in as many steps, and waits as many.

        None where it does not, and for `steps` of None.
        """
        known = self._clock
        if known is None or steps is None or steps != self._steps:
            return None
        return self._verdict if known.coating == coating and known.slowing == slowing else None

    def keep(self, steps: tuple[int, int] | None, verdict: Verdict) -> Verdict:
        """Keep the verdict on the coat whose clock was asked for last, and return it."""
        self._steps, self._verdict = steps, verdict
        return verdict
