"""Which cans to buy so that each coat is poured from a small, full one.

The rules are a finisher's (common practice, no source): an opened can is used for two coats at the most, the last coat
of a build-up comes out of fresh cans, and there is something to spare over what is needed. Of all the ways to keep them
the one with the least bought is taken, of those the cheapest, of those the one with the fewest coats out of a can that
stood open, and of those the one with the fewest cans. The search is exact, but for sizes without a common measure
(`can_search.STEPS`).
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from dryspell.trade.can_search import Way, best_way
from dryspell.trade.sizes import Can

SPARE_PCT = 8.0
"""Least to buy over what is needed (common practice, no source: 8 to 10)."""
FULL_ENOUGH = 3
"""A rest that stands until the next coat skins unless it fills this part of its can or more: one in so many."""
MOST_CANS_A_COAT = 8
"""Nobody opens more of them for one coat, so that smaller sizes are then left out."""
MOST_TOGETHER = 5
"""Of coats that take little of any can, so many count as one of the two that an opened can is used for: they are on
within its three weeks."""
_UL = 1_000_000
"""Everything is counted in whole microlitres."""
_PRICE = 10_000
"""Prices in whole parts of that."""


@dataclass(frozen=True)
class Pour:
    """What one coat is poured from.

    Attributes
    ----------
    rest_l
        Out of the can opened for the coat before. [L]
    opened
        Cans opened for it, the last one is that which is not emptied.
    left_l
        What is in that one afterwards. [L]
    kept
        Whether what is left goes into the next coat.
    """

    rest_l: float
    opened: tuple[Can, ...]
    left_l: float
    kept: bool

    @property
    def decant(self) -> bool:
        """Whether the rest that is kept fills too little of its can, and wants a smaller jar filled to the brim."""
        return self.kept and bool(self.opened) and self.left_l * FULL_ENOUGH < self.opened[-1].litres


@dataclass(frozen=True)
class Choice:
    """The cans to buy, and how the coats are poured from them.

    Attributes
    ----------
    pours
        One a coat, in their order.
    unopened
        Cans that are bought to spare only.
    needed_l
        What the coats take. [L]
    """

    pours: tuple[Pour, ...]
    unopened: tuple[Can, ...]
    needed_l: float

    @cached_property
    def counts(self) -> Mapping[Can, int]:
        """How many of each size, the smallest first."""
        bought = [can for pour in self.pours for can in pour.opened] + list(self.unopened)
        return {can: bought.count(can) for can in sorted(set(bought), key=lambda can: can.litres)}

    @property
    def bought_l(self) -> float:
        """What is in the cans. [L]"""
        return sum(can.litres * count for can, count in self.counts.items())

    @property
    def spare_pct(self) -> float:
        """What is bought over what is needed. [%]"""
        return 100.0 * (self.bought_l / self.needed_l - 1.0) if self.needed_l else 0.0

    @property
    def price(self) -> float | None:
        """What they cost; None where prices are not told."""
        prices = [can.price for can in self.counts]
        if not prices or None in prices:
            return None
        return sum((can.price or 0.0) * count for can, count in self.counts.items())


def choose_cans(
    needs_l: Sequence[float], sizes: Sequence[Can], *, fresh_last: bool, spare_pct: float = SPARE_PCT
) -> Choice:
    """Return the cans to buy for some coats.

    Parameters
    ----------
    needs_l
        What each coat takes out of the cans, in their order; what it takes of thinner is not in it. [L]
    sizes
        What there is to buy.
    fresh_last
        Whether the last of the coats is the last one of its build-up.
    spare_pct
        Least to buy over what is needed. [%]

    Raises
    ------
    ValueError
        For no size, or a need that is negative or no number.
    """
    if not sizes:
        raise ValueError("sizes: wanted one or more")
    if not all(0.0 <= need < 1e9 for need in needs_l):
        raise ValueError("needs_l: wanted litres of 0 or more")
    each = [round(need * _UL) for need in needs_l]
    groups = _together(each, round(min(can.litres for can in sizes) * _UL) // FULL_ENOUGH, fresh_last=fresh_last)
    needs = [sum(group) for group in groups]
    usable = _usable(max(needs, default=0), sizes)
    way, unopened = best_way(
        needs,
        [round(can.litres * _UL) for can in usable],
        [round((can.price or 0.0) * _PRICE) for can in usable],
        math.ceil(round(sum(needs) * (100.0 + spare_pct) / 100.0, 3)),
        fresh_last=fresh_last,
    )
    pours = [one for pour, group in zip(_pours(way, usable), groups, strict=True) for one in _apart(pour, group)]
    return Choice(tuple(pours), tuple(usable[i] for i in unopened.of), sum(needs) / _UL)


def _together(needs: Sequence[int], enough: int, *, fresh_last: bool) -> list[list[int]]:
    """Return the coats in groups that count as one: several only of those that take little of any can."""
    groups: list[list[int]] = []
    for number, need in enumerate(needs):
        alone = need >= enough or (fresh_last and number == len(needs) - 1)
        if not alone and groups and sum(groups[-1]) < enough and len(groups[-1]) < MOST_TOGETHER:
            groups[-1].append(need)
        else:
            groups.append([need])
    return groups


def _apart(pour: Pour, group: Sequence[int]) -> Iterator[Pour]:
    """Yield how each coat of a group is poured."""
    if len(group) == 1:
        yield pour
        return
    old = pour.rest_l if pour.opened else pour.rest_l + pour.left_l
    new, shut = 0.0, pour.opened
    for number, need in enumerate(group, start=1):
        of_old = min(old, need / _UL)
        of_new = min(new, need / _UL - of_old)
        lacking = need / _UL - of_old - of_new
        opened = shut if lacking > 0.5 / _UL else ()
        old, new = old - of_old, new - of_new
        if opened:
            new, shut = sum(can.litres for can in opened) - lacking, ()
        left, kept = (pour.left_l, pour.kept) if number == len(group) else (old + new, old + new > 0.0)
        yield Pour(of_old + of_new, opened, left, kept)


def _usable(largest_need: int, sizes: Sequence[Can]) -> list[Can]:
    """Return the sizes, smallest first, without those of which a coat would take too many."""
    rising = sorted(sizes, key=lambda can: can.litres)
    fit = [can for can in rising if can.litres * _UL * MOST_CANS_A_COAT >= largest_need]
    return fit or rising[-1:]


def _pours(last: Way, sizes: Sequence[Can]) -> list[Pour]:
    """Return how each coat is poured, the first one first."""
    pours: list[Pour] = []
    way, kept = last, False
    while way.before is not None:
        opened = tuple(sizes[i] for i in sorted(way.opened.of, reverse=True))
        left = way.rest if opened else way.before.rest - way.used
        pours.append(Pour(way.used / _UL, opened, left / _UL, kept))
        way, kept = way.before, way.used > 0
    return pours[::-1]
