"""Which coats are slow: thinned first ones, first ones on oily wood, thick ones, and those that follow too soon."""

from datetime import timedelta

import numpy as np
import pytest

from dryspell.outlook.model import Coat
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.slowing import next_slowing, quick_until, slowing_of
from dryspell.trade.families import family
from outlook.build import MONDAY, built, coating, piece, site, weather

VARNISH = coating()
SHADED = {"face": "vertical", "facing": "N", "body": "door"}
HOUR = np.timedelta64(1, "h")


def found(number=1, of=VARNISH, where=None, **laid):
    return dict(slowing_of(of, where or piece(), number, **({"thinner_parts": None} | laid)).factors)


# Common practice, no source: 0.8 for a first coat with 25 parts and more on bare wood, 1.5 for one on oily wood.
@pytest.mark.parametrize(
    ("number", "parts", "factors"),
    [
        (1, 50, {"thinned_first": 0.8}),
        (1, 25, {"thinned_first": 0.8}),
        (1, 24.9, {}),
        (1, None, {}),
        (2, 50, {}),
    ],
)
def test_only_a_first_coat_that_is_told_to_be_thinned_dries_sooner(number, parts, factors):
    assert found(number, thinner_parts=parts) == factors


def test_oily_wood_holds_back_the_first_coat_of_what_takes_up_oxygen():
    oily = piece(wood="oily")
    assert found(where=oily) == {"oily_wood": 1.5}
    assert found(2, where=oily) == {}
    assert found(of=family("pu_clear_2k"), where=oily) == {}
    assert found(of=coating(factors={"oily_wood": 2}), where=oily) == {"oily_wood": 2.0}


def test_a_film_counts_by_its_thickness_where_it_is_told():
    assert found(4, wet_film_um=127.0) == {"film_power": pytest.approx(2.0, abs=1e-3)}
    assert found(4, wet_film_um=127.0, of=coating(factors={"film_power": 0})) == {"film_power": 1.0}
    assert found(4, wet_film_um=80.0, of=family("penetrating_oil")) == {}


def test_a_slow_pace_counts_for_everything_and_a_quick_one_for_what_was_seen():
    slow, quick = (slowing_of(coating(factors={"pace": pace}), piece(), 4, thinner_parts=None) for pace in (1.2, 0.8))
    assert (dict(slow.factors), dict(slow.late)) == ({"pace": 1.2}, {})
    assert (dict(quick.factors), dict(quick.late)) == ({}, {"pace": 0.8})


def test_the_next_coat_is_taken_to_be_thinned_as_the_coating_has_it():
    assert dict(next_slowing(built()[1 - 1], piece(), None).factors) == {"thinned_first": 0.8}
    assert dict(next_slowing(built()[4 - 1], piece(), None).factors) == {}
    assert next_slowing(built()[4 - 1], piece(shelter="shed"), None).in_still_air
    assert not next_slowing(built()[4 - 1], piece(shelter="roof"), None).in_still_air


def test_only_what_takes_up_oxygen_is_built_up_by_a_tenth_a_coat_above_the_third():
    def quick(number, of=VARNISH):
        return slowing_of(of, piece(), number, thinner_parts=None).quick

    assert [quick(number) for number in (1, 3, 4, 7)] == pytest.approx([1, 1, 1.1, 1.4])
    assert quick(7, family("pu_clear_2k")) == 1
    assert quick(7, coating(factors={"build_up": 0})) == 1


def test_a_coat_is_at_the_least_time_within_a_fifth_more_than_the_one_below_took():
    laid = np.datetime64("2026-09-07T00:00:00", "s")
    until = quick_until(laid, np.array([laid + 30 * HOUR, np.datetime64("NaT", "s")]))
    assert until[0] == laid + 36 * HOUR
    assert np.isnat(until[1])


class TestInAnOutlook:
    table = weather(days=9, cloud=100, air=(17, 19))

    def film(self, *finished, number=5, **changes):
        coats = [
            Coat(piece="rail", number=number - len(finished) + 1 + k, finished_at=at, recorded_at=at)
            for k, at in enumerate(finished)
        ]
        now = finished[-1] + timedelta(hours=1)
        return make_outlook(
            piece(**SHADED, coats=9, **changes), site(), built(VARNISH, 9), coats, self.table, now, stale_after_h=999
        )

    def test_a_fifth_coat_a_day_after_the_fourth_is_slower_than_one_after_three_days(self):
        first = MONDAY + timedelta(hours=9)
        soon = self.film(first, first + timedelta(hours=27))
        late = self.film(first, first + timedelta(hours=72))
        assert soon.film.factors == {"build_up": 1.2}
        assert late.film.factors == {}
        took = [(look.film.stages.sandable - look.film.coat.finished_at) / timedelta(hours=1) for look in (soon, late)]
        assert took[0] == pytest.approx(1.2 * took[1], rel=0.04)

    def test_of_a_coat_from_before_the_known_weather_nothing_is_said(self):
        assert self.film(MONDAY - timedelta(hours=1), MONDAY + timedelta(hours=27)).film.factors == {}

    def test_the_next_coat_is_slow_if_it_follows_at_once_and_not_if_it_waits(self):
        outlook = self.film(MONDAY + timedelta(hours=14))
        assert [bool(window.factors) for window in outlook.windows[:4]] == [True, False, False, False]
        assert outlook.windows[0].factors == {"build_up": 1.3}

    def test_the_toe_rails_fourth_coat_at_ordinary_times_is_as_slow_as_printed(self):
        fourth = make_outlook(
            piece(**SHADED, done=3),
            site(),
            built(VARNISH),
            [],
            self.table,
            MONDAY + timedelta(hours=6),
            stale_after_h=999,
        )
        assert fourth.windows[0].factors == {}
