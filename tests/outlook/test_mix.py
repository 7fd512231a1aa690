"""How the pot keeps that is mixed, against the trade's pot lives of a two-part clear (common practice, no source)."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.outlook.mix import pot_of
from dryspell.trade.families import family
from outlook.test_drying import START, steady

CLEAR = family("pu_clear_2k")
NOON = datetime.fromtimestamp(int(START.astype(np.int64)), UTC) + timedelta(hours=3)
MINUTE = timedelta(minutes=1)


def test_at_18_degrees_it_brushes_for_two_thirds_of_four_hours_and_then_goes_off():
    pot = pot_of(NOON, CLEAR, steady())
    assert pot.mixed_at == NOON
    assert pot.brush_from == NOON + timedelta(minutes=15)
    assert pot.brush_until == pytest.approx(NOON + timedelta(minutes=160), abs=MINUTE)
    assert pot.goes_off_at == pytest.approx(NOON + timedelta(hours=4), abs=MINUTE)
    assert pot.by_weather


def test_it_goes_off_by_the_air_it_has_met_since():
    # Two hours at 18 degC are a half of it; of 2.5 h at 25 degC the other half is 75 minutes.
    c = steady()
    warm_from = np.datetime64(int(NOON.timestamp()), "s") + np.timedelta64(2, "h")
    pot = pot_of(NOON, CLEAR, replace(c, air_c=np.where(c.times > warm_from, 25.0, 18.0)[None]))
    assert pot.goes_off_at == pytest.approx(NOON + timedelta(minutes=195), abs=10 * MINUTE)


def test_of_several_ways_the_air_may_go_the_shortest_counts():
    cool, warm = steady(), steady(surface_c=25.0)
    two = replace(cool, air_c=np.concatenate([cool.air_c, warm.air_c]))
    assert pot_of(NOON, CLEAR, two).goes_off_at == pytest.approx(NOON + timedelta(hours=2.5), abs=MINUTE)


def test_one_mixed_before_the_first_hour_that_is_known_stood_in_the_air_of_that_hour():
    early = NOON - timedelta(hours=4)
    assert pot_of(early, CLEAR, steady()).goes_off_at == pytest.approx(early + timedelta(hours=4), abs=MINUTE)


@pytest.mark.parametrize("weather", ["none", "over", "unknown"])
def test_where_the_air_is_not_known_it_is_the_shortest_that_is_known_and_says_so(weather):
    c, at = steady(days=1), NOON
    if weather == "over":
        at = NOON + timedelta(days=2)
    if weather == "unknown":
        c = replace(c, air_c=np.full_like(c.air_c, np.nan))
    pot = pot_of(at, CLEAR, None if weather == "none" else c)
    assert (pot.by_weather, pot.goes_off_at) == (False, at + timedelta(hours=1.5))
    assert pot.brush_until == at + timedelta(hours=1)


def test_a_coating_of_one_part_has_no_pot():
    assert pot_of(NOON, family("oil_varnish_1k"), steady()) is None
