"""What others would have laid in the same weather: one who goes by the gauge, and one who knew what was coming."""

from dataclasses import replace

import numpy as np

from dryspell.outlook.agreement import Agreement
from dryspell.outlook.candidates import Candidates
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.fate import fates
from dryspell.outlook.judge import Strictness
from dryspell.outlook.sequence import CoatStarts, best_sequence, nothing_below
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.outlook.start_spans import StartSpans
from dryspell.replay.truth import BuildUp, Truth

MOST_A_DAY = 0.75
"""Coats to allow for at first; where they all find a start, twice as many are."""
AS_IT_WAS = Agreement(worse=())
"""Of weather that has been, nothing turns out for the worse."""


def by_the_gauge(truth: Truth) -> BuildUp:
    """Let a finisher coat whenever a coat is due, it is dry, and air and humidity are within the can's limits now."""
    build_up = BuildUp(truth)
    found = truth.dry & truth.conditions.in_hours
    starts = {lay.coating.key: np.flatnonzero(found & truth.within_limits(lay.coating)) for lay in truth.lays}
    start = truth.first
    while start < truth.end:
        due = starts[truth.lays[build_up.number - 1].coating.key]
        begins = next((at for at in due[np.searchsorted(due, start) :].tolist() if build_up.may_begin(at)), truth.end)
        if begins < truth.end:
            build_up.lay(begins)
        start = begins + 1
    return build_up


def in_hindsight(truth: Truth, *, keeps_limits: bool = True) -> BuildUp:
    """Lay the most coats that could be laid, each by the earliest finish.

    Parameters
    ----------
    keeps_limits
        Coats pass every limit of their coating in the weather that came; otherwise all is allowed that did not spoil
        them.
    """
    c, candidates = truth.conditions, _Hindsight(truth, keeps_limits=keeps_limits)
    step_h, members = c.step_s / 3600.0, c.air_c.shape[0]
    below = nothing_below(members, np.full(members, truth.first))
    days = (truth.end - truth.first) * step_h / 24.0
    pieces = round(days / len(truth.lays) * MOST_A_DAY) + 1
    while True:
        lays = [*truth.lays] * pieces
        starts = [_within(truth, each) for each in candidates.of(lays)]
        chosen = best_sequence(below, starts, odds=1.0, step_h=step_h, origin=truth.first)
        if len(chosen) < len(lays):
            break
        pieces *= 2
    build_up = BuildUp(truth)
    for coat, choice in zip(starts, chosen, strict=False):
        build_up.lay(int(coat.at[choice.index]))
    return build_up


def _within(truth: Truth, coat: CoatStarts) -> CoatStarts:
    """Return the starts before the end of the period."""
    n = int(np.searchsorted(coat.at, truth.end))
    return replace(
        coat,
        at=coat.at[:n],
        passes=coat.passes[..., :n],
        ready=coat.ready[..., :n],
        cost_h=coat.cost_h[:n],
        soft=coat.soft and (coat.soft[0][..., :n], coat.soft[1][..., :n]),
        quick_to=None if coat.quick_to is None else coat.quick_to[..., :n],
    )


class _Hindsight(Candidates):
    """Starts of coats that were not spoiled."""

    def __init__(self, truth: Truth, *, keeps_limits: bool) -> None:
        super().__init__(truth.piece, truth.conditions, AS_IT_WAS, truth.first)
        self._truth = truth
        self._keeps_limits = keeps_limits
        self._bare: dict[str, DryingClock] = {}

    def _passing(self, clock: DryingClock, starts: IndexArray, strictness: Strictness, spans: StartSpans) -> BoolArray:
        good = fates(self._truth.conditions, clock, starts, self.brush_steps).good[None]
        return good & super()._passing(clock, starts, strictness, spans) if self._keeps_limits else good

    def _hardens(self, clock: DryingClock) -> DryingClock:
        known = self._bare.setdefault(clock.coating.key, DryingClock(self._truth.bare, clock.coating, clock.slowing))
        return known.slowed(clock.slowing)
