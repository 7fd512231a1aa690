"""A row of the table: what one thing of ours costs against a reference of the same run, each measured the same way.

A row is measured in `ROUNDS` rounds, ours and the reference turn about, and its ratio is the median of the rounds'
ratios. Where more is better the ratio says how many times as cheap ours is as the reference (reference / ours), else
how many times the reference ours costs (ours / reference).
"""

import os
import resource
import statistics
import subprocess
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass
from typing import Literal

ROUNDS = 7

Cost = Callable[[], float]
"""Does a thing once and returns what it cost: seconds, MiB, whatever the row's unit is."""


@dataclass(frozen=True)
class Row:
    """What is measured, against what, and how it is to come out.

    `prepare` is called when the row's turn comes and yields the costs of ours and of the reference; what it made is
    gone when the row is done. `bar` is what the ratio has to be, at least or at most as `better` says; None where
    nothing is asked. `guard` says that CI holds the ratio against the kept one: both sides are the same kind of work,
    so that a busy machine slows both alike, and seven rounds take a few seconds. `ours_at_most` is what ours may cost
    by itself, for the table to tell; a busy or a slower machine misses it for no fault of ours, so nothing fails by it.
    """

    name: str
    says: str
    against: str
    prepare: Callable[[], AbstractContextManager[tuple[Cost, Cost]]]
    better: Literal["more", "less"]
    bar: float | None = None
    guard: bool = False
    unit: str = "s"
    ours_at_most: float | None = None


@dataclass(frozen=True)
class Sample:
    """What the rounds of a row found; the ratios in their order."""

    ratios: tuple[float, ...]
    ours: float
    reference: float

    @property
    def ratio(self) -> float:
        """The median of the rounds."""
        return statistics.median(self.ratios)

    @property
    def spread(self) -> float:
        """The median distance of a round from their median, as a share of it."""
        middle = self.ratio
        return statistics.median(abs(each - middle) for each in self.ratios) / middle


def measured(row: Row, rounds: int = ROUNDS) -> Sample:
    """Measure a row, once unheeded to warm up, then in rounds that begin with either side by turns."""
    with row.prepare() as (ours, reference):
        ours(), reference()
        costs = []
        for number in range(rounds):
            if number % 2:
                theirs = reference()
                costs.append((ours(), theirs))
            else:
                costs.append((ours(), reference()))
    ratios = tuple(mine / theirs if row.better == "less" else theirs / mine for mine, theirs in costs)
    return Sample(ratios, *(statistics.median(side) for side in zip(*costs, strict=True)))


def cpu(call: Callable[[], object], times: int = 1) -> Cost:
    """Return the cost of a call: the processor time of this process, the mean of some calls in a row. [s]"""

    def cost():
        begun = time.process_time()
        for _ in range(times):
            call()
        return (time.process_time() - begun) / times

    return cost


def wall(call: Callable[[], object], times: int = 1) -> Cost:
    """Return the cost of a call by the clock on the wall, the mean of some calls in a row. [s]"""

    def cost():
        begun = time.perf_counter()
        for _ in range(times):
            call()
        return (time.perf_counter() - begun) / times

    return cost


def child_cpu(command: Sequence[str], times: int = 1, env: dict[str, str] | None = None) -> Cost:
    """Return the cost of a command, which must succeed: its user and system time, the mean of some runs. [s]"""

    def cost():
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        for _ in range(times):
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL, env=os.environ | (env or {}))
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        return (after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime) / times

    return cost


def pair(ours: Callable[[], Cost], reference: Callable[[], Cost]) -> Callable[[], AbstractContextManager]:
    """Return a `prepare` of two costs that need nothing cleared away; each is made when the row's turn comes."""

    @contextmanager
    def prepare() -> Iterator[tuple[Cost, Cost]]:
        yield ours(), reference()

    return prepare
