"""What is done to a piece before a coat, beside what is always done: when sanding has to be, and when it must not be.

All of it is common practice, no source. What the sheet of a can says goes before it.
"""

from collections.abc import Mapping, Sequence
from enum import StrEnum


class Before(StrEnum):
    """Something that a finisher does, or leaves, before a coat; in the order in which it is done."""

    RAISE_GRAIN = "raise_grain"
    """The coat is a stain in water, which raises the grain of bare wood."""
    NO_SANDING = "no_sanding"
    """A stain lies below, under so few coats that sanding would cut through to it."""
    WASH = "wash"
    """The coat below is an epoxy whose skin may be greasy."""
    SAND_FOR_CHANGE = "sand_for_change"
    """The coat below is of another coating."""
    SAND_FOR_LAST = "sand_for_last"
    """It is one of the last two coats, which show."""
    SAND_AFTER_ROW = "sand_after_row"
    """As many coats lie on soft ones in a row as may be."""


COMPULSORY = frozenset({Before.SAND_FOR_CHANGE, Before.SAND_FOR_LAST, Before.SAND_AFTER_ROW})
"""Sanding is, on a film that is hard."""
UNSANDED_OVER_STAIN = 3
"""The stain itself is not sanded, nor coats 1 and 2 over it: so many coats over a stain go on unsanded."""
LAST_COATS = 2
"""Before so many last coats the film is sanded."""
MOST_HOT_UNTOLD = 2
"""So many coats lie on soft ones in a row where the coating says nothing of it: the careful end."""

_SAID: Mapping[Before, str] = {
    Before.RAISE_GRAIN: "wet the wood, let it dry and sand off the grain that water raises, then stain",
    Before.NO_SANDING: "do not sand: stain below",
    Before.WASH: "wash the epoxy with water and an abrasive pad, and let it dry",
    Before.SAND_FOR_CHANGE: "sand: the coat below is of another coating",
    Before.SAND_FOR_LAST: "sand: it is one of the last two coats",
    Before.SAND_AFTER_ROW: "sand when it is hard: no more coats in a row on soft ones",
}


def before_text(things: Sequence[Before]) -> str:
    """Return what is to be done before a coat as a sentence without a full stop, empty for nothing."""
    return "; ".join(_SAID[thing] for thing in Before if thing in things)
