"""The multipliers on times: their defaults, where they are from, and what a configuration may put in their place."""

import pytest
from pydantic import ValidationError

from dryspell.trade.coating import NO_SOURCE, OUR_CHOICE, YOURS
from dryspell.trade.factors import Factors, factor_keys, factors_of
from dryspell.trade.families import built_on, family, family_keys


def test_the_defaults_are_those_of_the_trades_table():
    # common practice, no source
    of = Factors()
    assert of.damp == ((65, 1), (75, 1.15), (80, 1.25), (85, 1.4), (90, 1.7), (95, 2.2))
    assert (of.damp_late, of.dry_air, of.dry_window) == (1.25, 0.8, 0.8)
    assert (of.still_air, of.still_window) == (1.3, 1.2)
    assert (of.thinned_first, of.oily_wood, of.build_up, of.film_power, of.pace) == (0.8, 1.5, 0.1, 1.5, 1)


def test_every_factor_is_described_and_counts_for_some_coating():
    ways = ("oxidation", "reaction", "coalescence", "moisture")
    used = {key for way in ways for key in factors_of(way, humidity_slows=True)}
    assert used == set(factor_keys())
    assert all(field.description for field in Factors.model_fields.values())


def test_where_damp_air_does_not_slow_a_coating_its_factors_are_not_shown():
    assert {"damp", "damp_late", "evaporation"} & set(factors_of("coalescence", humidity_slows=False)) == set()
    assert "dry_air" in factors_of("coalescence", humidity_slows=False)


def test_a_coating_shows_the_factors_that_count_for_it_with_their_marks():
    clear, water = family("pu_clear_2k"), family("acrylic_clear_wb")
    assert "factors.damp" not in clear.figures()
    assert "factors.oily_wood" not in clear.figures()
    assert water.figures()["factors.evaporation"] == 55
    assert water.mark_of("factors.evaporation") == OUR_CHOICE
    assert water.mark_of("factors.still_air") == NO_SOURCE
    assert all(family(key).mark_of(name) for key in family_keys() for name in family(key).figures())


def test_one_factor_of_the_can_leaves_the_others_and_is_marked():
    can = built_on("oil_varnish_1k", "can", {"factors": {"still_air": 1.6, "damp": {"60 %": 1, "90 %": 3}}})
    assert (can.factors.still_air, can.factors.oily_wood) == (1.6, 1.5)
    assert can.factors.damp == ((60, 1), (90, 3))
    assert can.mark_of("factors.still_air") == can.mark_of("factors.damp") == YOURS
    assert can.mark_of("factors.oily_wood") == NO_SOURCE
    assert "factors" not in can.marks


def test_a_factor_takes_what_it_holds_back():
    of = Factors.model_validate({"moisture": "8 g/kg", "evaporation": "60 %"})
    assert (of.moisture_g_kg, of.evaporation_pct) == (8, 60)
    held = {key: getattr(of, name) for key, name in factor_keys().items()}
    assert Factors.model_validate(held) == of


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("still_air", "1.3", "is no factor; wanted a number of 0.1 to 10"),
        ("still_air", True, "is no factor"),
        ("still_air", 0, "is no factor"),
        ("damp_late", 0.5, "is no factor; wanted a number of 1 to 10"),
        ("build_up", 2, "is no factor; wanted a number of 0 to 1"),
        ("damp", 1.3, "is no table"),
        ("damp", {}, "is no table"),
        ("damp", {"60": 1}, 'the humidity "60" has no unit'),
        ("damp", {"60 %": 2, "70 %": 1}, "no factor less in damper air"),
        ("damp", {"60 %": 1, "0.6": 1}, 'the humidity "0.6" has no unit'),
        ("damp", {"120 %": 1}, "humidities of 0 to 100 %"),
        ("damp", {"60 %": 0.5}, "wanted a number of 1 to 10"),
        ("moisture", "3 m", "is a length, not a share"),
        ("evaporation", "100 %", "is not within 1 to 99 %"),
    ],
)
def test_what_is_no_factor_is_refused_in_words(key, value, message):
    with pytest.raises(ValidationError, match=message):
        Factors.model_validate({key: value})
