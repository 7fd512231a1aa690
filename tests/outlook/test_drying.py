"""Films in steady air: what slows them, when they reach their stages, and the ends of the overcoat window."""

from dataclasses import replace

import numpy as np
import pytest

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.mix import mix_at
from dryspell.outlook.slowing import Slowing
from dryspell.science import air
from dryspell.trade.families import built_on, family
from outlook.build import coating

START = np.datetime64("2026-09-07T00:00:00", "s")


def steady(surface_c=18.0, humidity=55.0, wind=1.0, days=60, air_c=None):
    times = START + np.arange(days * 96) * np.timedelta64(900, "s")
    shape = (1, times.size)
    air_c = np.full(shape, surface_c if air_c is None else air_c)
    return Conditions(
        times=times,
        air_c=air_c,
        humidity_pct=np.full(shape, humidity),
        dew_point_c=air.dew_point(air_c, humidity),
        surface_c=np.full(shape, surface_c),
        wind_m_s=np.full(shape, wind),
        rain_mm=np.zeros(shape),
        rain_chance_pct=np.zeros(shape),
        water_mm=np.zeros(shape),
        in_hours=np.ones(times.size, bool),
        in_daylight=np.ones(times.size, bool),
    )


def hours(stage, of=None, slowing=None, **weather):
    clock = DryingClock(steady(**weather), of or coating(), slowing or Slowing())
    reached = getattr(clock.of_films(np.array([START])), stage)
    return float((reached[0, 0] - START) / np.timedelta64(1, "h"))


def test_at_18_degrees_every_stage_takes_what_is_printed():
    varnish = family("oil_varnish_1k")
    printed = {"touch_dry": 5, "dew_safe": 7, "rain_safe": 10, "sandable": 24, "recoat": 24, "overcoat_max": 72}
    for stage, wanted in (printed | {"in_service": 7 * 24, "full_cure": 28 * 24}).items():
        assert hours(stage, varnish) == pytest.approx(wanted, abs=0.01), stage
    clear = family("pu_clear_2k")
    for stage, wanted in {"hot_open": 3, "hot_close": 24, "recoat": 3, "sandable": 20, "in_service": 120}.items():
        assert hours(stage, clear) == pytest.approx(wanted, abs=0.01), stage
    assert np.isnan(hours("hot_open", varnish))
    assert np.isnan(hours("in_service", family("primer_1k")))
    assert hours("full_cure", family("primer_1k")) == pytest.approx(14 * 24, abs=0.01)


def test_in_service_is_never_before_sandable_and_full_cure_never_before_that():
    slow = built_on("primer_1k", "can", {"sandable": {"18 degC": "400 h"}, "in_service": {"18 degC": "100 h"}})
    assert hours("in_service", slow) == hours("full_cure", slow) == pytest.approx(400, abs=0.01)


class TestStillAir:
    # common practice, no source: 1.3 times as long, 1.2 for the longest times
    def test_under_a_third_of_a_metre_a_second_it_takes_longer(self):
        assert hours("sandable", wind=0.29) == pytest.approx(24 * 1.3, abs=0.01)
        assert hours("sandable", wind=0.3) == pytest.approx(24, abs=0.01)
        assert hours("overcoat_max", wind=0.1) == pytest.approx(72 * 1.2, abs=0.01)

    def test_a_closed_shelter_is_still_whatever_the_wind(self):
        assert hours("touch_dry", slowing=Slowing(in_still_air=True)) == pytest.approx(5 * 1.3, abs=0.01)

    def test_a_can_may_know_better(self):
        can = coating(factors={"still_air": 1, "still_window": 1})
        assert hours("sandable", can, wind=0.1) == pytest.approx(24, abs=0.01)
        assert hours("overcoat_max", can, wind=0.1) == pytest.approx(72, abs=0.01)


class TestAirOverTheFilm:
    def test_damp_air_counts_fully_before_dew_safe_and_at_most_a_quarter_after(self):
        # 95 %: 2.2 times until dew-safe at 15.4 h (7/24 of the way to sandable), then 1.25 times the other 17 h
        assert hours("dew_safe", humidity=95.0) == pytest.approx(7 * 2.2, abs=0.01)
        assert hours("sandable", humidity=95.0) == pytest.approx(7 * 2.2 + 17 * 1.25, abs=0.01)
        assert hours("overcoat_max", humidity=95.0) == pytest.approx(72, abs=0.01)

    def test_a_waterborne_film_does_not_dry_at_the_dew_point(self):
        clear = family("acrylic_clear_wb")
        assert hours("touch_dry", clear) == pytest.approx(1.5, abs=0.01)
        # at 77.5 % half the vapour pressure is short of what is at 55 %
        assert hours("dew_safe", clear, humidity=77.5) == pytest.approx(12, abs=0.1)
        assert np.isnan(hours("touch_dry", clear, humidity=100.0))
        assert hours("touch_dry", clear, surface_c=25.0, air_c=18.0, humidity=85.0) == pytest.approx(1, abs=0.01)

    def test_a_waterborne_film_that_damp_air_is_told_not_to_slow_goes_by_the_table(self):
        can = built_on("acrylic_clear_wb", "can", {"humidity_slows": False})
        assert hours("touch_dry", can, humidity=100.0) == pytest.approx(1.5, abs=0.01)

    def test_very_dry_air_shortens_everything_for_a_waterborne_film_only(self):
        # common practice, no source
        clear = family("acrylic_clear_wb")
        assert hours("sandable", clear, humidity=29.0) == pytest.approx(4 * 0.8, abs=0.01)
        assert hours("overcoat_max", clear, humidity=29.0) == pytest.approx(72 * 0.8, abs=0.01)
        assert hours("sandable", clear, humidity=31.0) == pytest.approx(4, abs=0.01)
        assert hours("sandable", humidity=29.0) == pytest.approx(24, abs=0.01)

    def test_a_moisture_cured_film_starves_in_dry_air(self):
        one_part = built_on("urethane_alkyd_1k", "mcu", {"cures_by": "moisture"})
        # 25 degC, 50 %: 9.85 g/kg of the 10 that it wants; 12 h printed for 25 degC
        assert hours("sandable", one_part, surface_c=25.0, humidity=50.0) == pytest.approx(12 / 0.985, abs=0.03)
        # 18 degC, 30 %: 3.8 g/kg (psychrolib 3.82)
        assert hours("touch_dry", one_part, humidity=30.0) == pytest.approx(4 / 0.382, rel=0.01)
        # damp air does not slow it: that is for its limit to refuse
        assert hours("touch_dry", one_part, humidity=95.0) == pytest.approx(4, abs=0.01)


class TestSlowFilms:
    def test_a_multiplier_counts_for_the_whole_film_but_for_the_longest_times(self):
        slowing = Slowing({"oily_wood": 1.5, "thinned_first": 0.8})
        for stage, wanted in {"touch_dry": 5, "rain_safe": 10, "sandable": 24}.items():
            assert hours(stage, slowing=slowing) == pytest.approx(wanted * 1.2, abs=0.01)
        assert hours("overcoat_max", slowing=slowing) == pytest.approx(72, abs=0.01)
        assert slowing.named(START) == {"oily_wood": 1.5, "thinned_first": 0.8}

    def test_the_share_done_is_that_of_the_whole_slow_way(self):
        clock = DryingClock(steady(), coating(), Slowing({"oily_wood": 1.5}))
        assert clock.progress(START, START + np.timedelta64(18, "h")) == pytest.approx(0.5, abs=1e-3)
        assert clock.progress(START, START + np.timedelta64(54, "h")) == pytest.approx(1.5, abs=1e-3)

    def test_a_coating_found_quick_is_sandable_sooner_but_no_sooner_safe_from_dew(self):
        quick = Slowing(late={"pace": 0.7})
        assert hours("sandable", slowing=quick) == pytest.approx(24 * 0.7, abs=0.01)
        for stage, wanted in {"touch_dry": 5, "dew_safe": 7, "rain_safe": 10, "overcoat_max": 72}.items():
            assert hours(stage, slowing=quick) == pytest.approx(wanted, abs=0.01)
        assert quick.named(START) == {"pace": 0.7}

    def test_a_film_laid_too_soon_on_the_one_below_is_slower_than_one_that_waited(self):
        until = np.array([START + np.timedelta64(2, "h")])
        clock = DryingClock(steady(), coating(), Slowing(quick=1.1, quick_until=until))
        laid = START + np.array([2, 3]) * np.timedelta64(1, "h")
        took = (clock.of_films(laid).sandable[0] - laid) / np.timedelta64(1, "h")
        np.testing.assert_allclose(took, [24 * 1.1, 24], atol=0.01)
        assert [clock.slowing.named(at) for at in laid] == [{"build_up": 1.1}, {}]


def test_hot_films_lose_their_longest_times_sooner_but_gain_nothing_on_the_least_ones():
    clear = family("pu_clear_2k")
    assert hours("hot_close", clear, surface_c=40.0) < 9 < hours("hot_close", clear, surface_c=30.0)
    assert hours("overcoat_max", clear, surface_c=40.0) == hours("hot_close", clear, surface_c=40.0)
    assert hours("hot_open", clear, surface_c=40.0) == hours("hot_open", clear, surface_c=30.0)
    assert hours("sandable", clear, surface_c=40.0) == hours("sandable", clear, surface_c=30.0)


def test_a_mix_keeps_as_long_as_the_air_at_the_start_allows():
    mix = mix_at(steady(), family("pu_clear_2k"), 0)
    assert (mix.pot_life_h, mix.brushable_h, mix.induction_min) == (4.0, 2.67, (0, 15))
    assert mix_at(steady(surface_c=25.0), family("epoxy_sealer_2k"), 5).pot_life_h == pytest.approx(0.33, abs=0.01)
    assert mix_at(steady(), family("oil_varnish_1k"), 0) is None
    cool, hot = steady(), steady(surface_c=25.0)
    two = replace(cool, air_c=np.concatenate([cool.air_c, hot.air_c]))
    assert mix_at(two, family("pu_clear_2k"), 0).pot_life_h == 2.5  # the shortest of the members
    c = steady(days=1)
    assert mix_at(c, family("pu_clear_2k"), c.times.size - 4) is None
