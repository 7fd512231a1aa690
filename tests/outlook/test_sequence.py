"""The earliest build-up against every possible one, in plain loops."""

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from dryspell.outlook.judge import NEVER
from dryspell.outlook.sequence import ANY_ROW, LEFT_OUT_H, CoatStarts, best_sequence, nothing_below

CASES = 300
STEP_H = 0.25


def random_coat(rng, members, starts, grid):
    at = np.sort(rng.choice(grid, size=min(starts, grid), replace=False))
    paces = int(rng.integers(1, 3))
    shape = (paces, members, at.size)
    passes = rng.random(shape) < rng.choice([0.5, 0.8, 0.95])
    wait = rng.integers(1, grid // 3 + 2, shape)
    ready = at + wait
    ready[rng.random(shape) < 0.1] = NEVER
    soft = None
    if rng.random() < 0.4:
        opens = at + rng.integers(1, 4, shape)
        soft = opens, opens + rng.integers(-1, 3, shape)
    quick_to = at + rng.integers(0, grid // 2, (paces, at.size)) if rng.random() < 0.6 else None
    cost = rng.choice([0.0, 0.0, 3.0, 10.0], at.size)
    most = int(rng.choice([1, 2, 2, 3, ANY_ROW]))
    return CoatStarts(at, passes, ready, cost, soft, quick_to, int(rng.integers(0, 3)), most)


def random_below(rng, members):
    """Return what is there to be coated, now and then as the top of a row of coats on soft ones."""
    below = nothing_below(members, rng.integers(0, 4, members))
    if rng.random() < 0.5:
        return below
    opens = rng.integers(0, 3, (1, members, 1))
    return replace(below, soft=(opens, opens + rng.integers(-1, 6, opens.shape)), row=int(rng.integers(1, 4)))


def allowed(below, i, pace_below, row_below, coat, j):
    """Return pace and row, and the share of members that let start j of a coat follow start i of the one below."""
    at = int(coat.at[j])
    pace = 0
    hard_by = sorted(int(ready) for ready in below.ready[pace_below][:, i])
    is_soft = below.soft is not None and at - coat.prepare_steps < hard_by[(len(hard_by) - 1) // 2]
    is_full = row_below >= coat.row_most
    if below.quick_to is not None and coat.paces > 1 and at <= below.quick_to[pace_below, i]:
        pace = 1
    lets = 0
    for member in range(coat.passes.shape[1]):
        on_hard = at - coat.prepare_steps >= below.ready[pace_below, member, i]
        on_soft = (
            below.soft is not None
            and not is_full
            and (below.soft[0][pace_below, member, i] <= at <= below.soft[1][pace_below, member, i])
        )
        lets += bool((on_hard or on_soft) and coat.passes[pace, member, j])
    return pace, row_below + 1 if is_soft and not is_full else 1, lets / coat.passes.shape[1]


def cheapest_of_all(below, coats, odds):
    """Try every choice of starts; return the most coats and what the cheapest way to put them on costs."""
    best = (0, math.inf)
    for choice in itertools.product(*(range(-1, coat.at.size) for coat in coats)):
        on = next((k for k, j in enumerate(choice) if j < 0), len(coats))
        if any(j >= 0 for j in choice[on:]) or not on:
            continue
        before, i, pace, row, cost = below, 0, 0, below.row, 0.0
        for coat, j in zip(coats[:on], choice, strict=False):
            pace, row, share = allowed(before, i, pace, row, coat, j)
            if share < odds - 1e-9:
                break
            cost += float(coat.cost_h[j])
            before, i = coat, j
        else:
            cost += float(before.at[i]) * STEP_H
            if (-on, cost) < (-best[0], best[1]):
                best = (on, cost)
    return best


@pytest.mark.parametrize("seed", range(10))
def test_it_is_as_good_as_the_best_of_every_choice(seed):
    rng = np.random.default_rng(seed)
    reached = set()
    for case in range(CASES // 10):
        members, grid = int(rng.integers(1, 6)), int(rng.integers(8, 20))
        coats = [random_coat(rng, members, int(rng.integers(2, 8)), grid) for _ in range(int(rng.integers(1, 5)))]
        below = random_below(rng, members)
        odds = float(rng.choice([0.4, 0.6, 0.8, 1.0]))
        wanted, cost = cheapest_of_all(below, coats, odds)
        chosen = best_sequence(below, coats, odds=odds, step_h=STEP_H)
        assert len(chosen) == wanted, f"case {case}"
        reached.add((len(chosen), len(coats)))
        if chosen:
            before, i, pace, row, got = below, 0, 0, below.row, 0.0
            for coat, choice in zip(coats, chosen, strict=False):
                pace, row, share = allowed(before, i, pace, row, coat, choice.index)
                assert (pace, row, round(share, 4)) == (choice.pace, choice.row, choice.share)
                assert share >= odds - 1e-9
                got += float(coat.cost_h[choice.index])
                before, i = coat, choice.index
            assert got + float(before.at[i]) * STEP_H == pytest.approx(cost), f"case {case}"
    assert len(reached) > 4, "cases that end early and cases that reach the end are both among them"


def test_a_row_breaks_off_where_that_is_best_and_not_where_it_is_full():
    """Two in a row may be. Three coats: on soft ones at 0 and 2, the third is hard-ready at 20, as the second is at 2.

    Broken off after the first, which is hard at 6, the second goes on at 6 and the third on the soft one at 8.
    """

    def coat(at, hard_after):
        at = np.array(at)
        return CoatStarts(
            at,
            np.ones((1, 1, at.size), bool),
            (at + np.array(hard_after)).reshape(1, 1, -1),
            np.zeros(at.size),
            soft=((at + 2).reshape(1, 1, -1), (at + 3).reshape(1, 1, -1)),
            row_most=2,
        )

    coats = [coat([0], [6]), coat([2, 6], [18, 14]), coat([4, 8, 20], [9, 9, 9])]
    chosen = best_sequence(nothing_below(1), coats, odds=1.0, step_h=1.0)
    assert [(int(of.at[one.index]), one.row) for of, one in zip(coats, chosen, strict=True)] == [(0, 1), (6, 1), (8, 2)]
    # With three in a row nothing need harden.
    three = [replace(each, row_most=3) for each in coats]
    chosen = best_sequence(nothing_below(1), three, odds=1.0, step_h=1.0)
    assert [(int(of.at[one.index]), one.row) for of, one in zip(three, chosen, strict=True)] == [(0, 1), (2, 2), (4, 3)]


def test_a_later_coat_is_taken_where_an_early_one_would_dry_too_late():
    """The first coat at 0 is ready at 20, after the last start of the second; the one at 5 at 9."""
    first = CoatStarts(np.array([0, 5]), np.ones((1, 1, 2), bool), np.array([[[20, 9]]]), np.zeros(2))
    second = CoatStarts(np.array([3, 9, 15]), np.ones((1, 1, 3), bool), np.full((1, 1, 3), NEVER), np.zeros(3))
    chosen = best_sequence(nothing_below(1), [first, second], odds=1.0, step_h=1.0)
    assert [c.index for c in chosen] == [1, 1]


def test_a_promise_is_kept_unless_moving_it_gains_more_than_it_costs():
    passes = np.ones((1, 1, 2), bool)
    ready = np.full((1, 1, 2), NEVER)
    for cost, taken in ((3.0, 0), (7.0, 1)):
        coat = CoatStarts(np.array([2, 7]), passes, ready, np.array([cost, 0.0]))
        chosen = best_sequence(nothing_below(1), [coat], odds=1.0, step_h=1.0)
        assert chosen[0].index == taken
    assert LEFT_OUT_H > 24 * 365


def test_what_has_no_start_is_left_out_and_what_comes_before_is_as_early_as_it_can_be():
    coat = CoatStarts(np.array([1, 4]), np.ones((1, 2, 2), bool), np.array([[[6, 9], [6, 9]]]), np.zeros(2))
    none = CoatStarts(np.array([5]), np.ones((1, 2, 1), bool), np.full((1, 2, 1), NEVER), np.zeros(1))
    assert [c.index for c in best_sequence(nothing_below(2), [coat, none], odds=0.5, step_h=1.0)] == [0]
    assert best_sequence(nothing_below(2, np.array([NEVER, NEVER])), [coat], odds=0.5, step_h=1.0) == []
    empty = CoatStarts(np.zeros(0, int), np.ones((1, 2, 0), bool), np.zeros((1, 2, 0), int), np.zeros(0))
    assert best_sequence(nothing_below(2), [empty, coat], odds=0.5, step_h=1.0) == []
