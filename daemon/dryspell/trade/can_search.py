"""The search for the cans to buy: over coats, what is bought and what stands open; it leaves out what cannot win."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from heapq import heappop, heappush
from math import gcd
from typing import NamedTuple

STEPS = 12
"""Volumes of which the smallest is no more than so many times a measure they share are counted exactly, others in such
steps of the smallest: sums of pints and litres would never come out even."""


class Cans(NamedTuple):
    """The cheapest cans that hold some volume together; `of` are indices of sizes."""

    volume: int = 0
    price: int = 0
    of: tuple[int, ...] = ()
    smallest: int = 0


class Cost(NamedTuple):
    """What is made least, in this order. All whole numbers, so that equal is equal."""

    bought: int = 0
    price: int = 0
    rests: int = 0
    cans: int = 0

    def plus(self, cans: Cans, rests: int = 0) -> "Cost":
        """Return the cost with some more cans, and with coats out of a can that stood open."""
        return Cost(self.bought + cans.volume, self.price + cans.price, self.rests + rests, self.cans + len(cans.of))


class Way(NamedTuple):
    """A way to have poured the coats so far: what it cost, what stands open, and how it came about."""

    cost: Cost
    rest: int
    before: "Way | None" = None
    used: int = 0
    opened: Cans = Cans()


def best_way(
    needs: Sequence[int], volumes: Sequence[int], prices: Sequence[int], wanted: int, *, fresh_last: bool
) -> tuple[Way, Cans]:
    """Return the best way to pour some coats, and the cans to buy with it to spare.

    The best buys the least, costs the least of those, pours the fewest coats out of a can that stood open of those, and
    has the fewest cans of those.

    Parameters
    ----------
    needs
        What each coat takes, in whole parts of a litre.
    volumes, prices
        Of the sizes, the smallest first.
    wanted
        Least to buy in all.
    fresh_last
        Whether the last coat is poured out of fresh cans only.
    """
    shelf = _Shelf(volumes, prices)
    apart = sum(shelf.least(need).volume for need in needs)
    least, _ = _best(_ways(needs, shelf, apart, fresh_last=fresh_last, each_volume=False), shelf, 0)
    # No way that buys more than this one, filled up with whole cans to spare, can be the best.
    most = least.cost.bought + shelf.least(wanted - least.cost.bought).volume
    return _best(_ways(needs, shelf, most, fresh_last=fresh_last, each_volume=True), shelf, wanted)


class _Shelf:
    """The cheapest cans for every volume that cans can hold together, worked out as far as it is asked for."""

    def __init__(self, volumes: Sequence[int], prices: Sequence[int]) -> None:
        self._volumes = _in_steps(volumes)
        self._prices = prices
        self.largest = self._volumes[-1]
        self._known: list[Cans] = []
        self._sums: list[int] = []
        self._reach = -1

    def between(self, low: int, high: int) -> list[Cans]:
        """Return the cans for each volume from `low` to `high`, rising."""
        if high > self._reach:
            self._fill(2 * high)
        return self._known[bisect_left(self._sums, low) : bisect_right(self._sums, high)]

    def least(self, volume: int) -> Cans:
        """Return the cans for the least volume of that much or more; none where nothing is asked for."""
        return self.between(max(volume, 0), max(volume, 0) + self._volumes[0])[0]

    def _fill(self, reach: int) -> None:
        best = {0: Cans()}
        rising = [0]
        while rising:
            cans = best[heappop(rising)]
            for size, (volume, price) in enumerate(zip(self._volumes, self._prices, strict=True)):
                smallest = min(cans.smallest or volume, volume)
                more = Cans(cans.volume + volume, cans.price + price, (*cans.of, size), smallest)
                if more.volume > reach:
                    break
                known = best.get(more.volume)
                if known is None:
                    heappush(rising, more.volume)
                if known is None or (more.price, len(more.of)) < (known.price, len(known.of)):
                    best[more.volume] = more
        self._sums = sorted(best)
        self._known = [best[volume] for volume in self._sums]
        self._reach = reach


def _in_steps(volumes: Sequence[int]) -> list[int]:
    """Return volumes that have a measure in common: as they are, or cut down to whole steps where they have none."""
    least = volumes[0] // STEPS
    return list(volumes) if gcd(*volumes) >= least else [volume // least * least for volume in volumes]


def _ways(needs: Sequence[int], shelf: _Shelf, most: int, *, fresh_last: bool, each_volume: bool) -> list[Way]:
    """Return the ways to pour all coats that may be the best of those that buy no more than `most`.

    With `each_volume` that is said of every volume that is bought, without it only of the least.
    """
    ways = [Way(Cost(), 0)]
    for number, need in enumerate(needs):
        left = needs[number + 1 :]
        # What of a rest the next coat can take: none if that has to come out of fresh cans.
        takes = left[0] if len(left) > (1 if fresh_last else 0) else 0
        room, fresh = most - sum(left), fresh_last and not left
        found = [way for before in ways for way in _poured(before, need, takes, room, shelf, fresh=fresh)]
        ways = _undominated(found, each_volume=each_volume)
    return ways


def _poured(before: Way, need: int, takes: int, room: int, shelf: _Shelf, *, fresh: bool) -> Iterator[Way]:
    """Yield the ways to pour one more coat that leave the coats after it enough to be bought.

    Parameters
    ----------
    takes
        What of a rest the next coat can take.
    room
        What may be bought by then, a rest that is taken not counted.
    """
    for used in {0, 0 if fresh else min(before.rest, need)}:
        lacking, rests = need - used, int(used > 0)
        if not lacking:
            if before.cost.bought <= room:
                yield Way(before.cost.plus(Cans(), rests), 0, before, used)
            continue
        high = min(lacking + shelf.largest, room - before.cost.bought + takes)
        for cans in shelf.between(lacking, high):
            rest = cans.volume - lacking
            # With a rest as large as one of them that one need not be opened.
            if rest < cans.smallest and before.cost.bought + cans.volume - min(rest, takes) <= room:
                yield Way(before.cost.plus(cans, rests), rest, before, used, cans)


def _undominated(ways: Sequence[Way], *, each_volume: bool) -> list[Way]:
    """Return the ways without those that cost no less than another that leaves as large a rest."""
    kept: dict[int, list[Way]] = {}
    for way in sorted(ways, key=lambda way: (way.cost, -way.rest)):
        front = kept.setdefault(way.cost.bought if each_volume else 0, [])
        if not front or way.rest > front[-1].rest:
            front.append(way)
    return [way for front in kept.values() for way in front]


def _best(ways: Sequence[Way], shelf: _Shelf, wanted: int) -> tuple[Way, Cans]:
    """Return the best way, and the cans to add to it so that it buys as much as is wanted."""
    filled = [(way, shelf.least(wanted - way.cost.bought)) for way in ways]
    return min(filled, key=lambda pair: pair[0].cost.plus(pair[1]))
