"""Coatings: built-in families, and what a can's sheet puts in their place."""

import pytest
from pydantic import ValidationError

from dryspell.trade.coating import NO_SOURCE, YOURS, Coating, toml_keys
from dryspell.trade.families import built_on, family, family_keys
from dryspell.trade.stages import read_points


def test_points_are_read_coldest_first_in_the_readers_units():
    assert read_points({"68 degF": "5 h", "10 degC": "540 min"}) == ((10.0, 9.0), (20.0, 5.0))


def test_a_coating_can_be_rebuilt_from_what_it_holds():
    spar = family("oil_varnish_1k")
    held = {field.alias or name: getattr(spar, name) for name, field in Coating.model_fields.items()}
    assert Coating.model_validate(held) == spar


def test_the_last_part_of_thinner_holds_for_every_later_coat():
    assert [family("oil_varnish_1k").thinner_of(coat) for coat in (1, 2, 3, 4, 12)] == [50, 25, 10, 0, 0]


def test_a_stage_that_a_coating_has_not_is_none():
    assert family("oil_varnish_1k").stage("hot_open") is None
    assert family("pu_clear_2k").stage("hot_open") is not None
    assert "hot_open" not in family("oil_varnish_1k").figures()


def test_a_can_without_a_stage_of_its_family_says_none():
    assert built_on("pu_clear_2k", "clear", {"hot_open": "none", "hot_close": "none"}).stage("hot_open") is None


def test_a_stage_that_every_film_goes_through_cannot_be_none():
    with pytest.raises(ValidationError, match="is no table of times"):
        built_on("pu_clear_2k", "clear", {"recoat": "none"})


def test_a_figure_of_the_can_is_marked_as_such_and_the_rest_is_not():
    clear = built_on("pu_clear_2k", "my_clear", {"humidity_max": "70 %"})
    assert (clear.label, clear.family) == ("my clear", "pu_clear_2k")
    assert clear.mark_of("humidity_max") == YOURS
    assert clear.mark_of("humidity_good") == NO_SOURCE
    assert clear.mark_of("overcoat_max") == family("pu_clear_2k").mark_of("overcoat_max")


@pytest.mark.parametrize(
    ("figures", "said"),
    [
        ({"coats_for": [7, 8]}, "wanted 3 whole numbers of 0 to 40, for mild sun and usual sun and severe sun"),
        ({"coats_for": [7, 8, 6]}, "does not rise"),
        ({"coats_for": [7, 8, True]}, "is no list of numbers of coats"),
        ({"upkeep": "2"}, "wanted 2 whole numbers"),
        ({"hot_most": 0}, "wanted a whole number of 1 to 40"),
        ({"hot_most": "3"}, "wanted a whole number of 1 to 40"),
        ({"stain": "yes"}, "valid boolean"),
    ],
)
def test_a_number_of_coats_that_is_none_is_answered_with_what_is_wanted(figures, said):
    with pytest.raises(ValidationError, match=said):
        built_on("pu_clear_2k", "clear", figures)


def test_a_can_may_say_nothing_of_its_coats():
    silent = built_on("pu_clear_2k", "clear", {"coats_for": "none", "upkeep": "none", "hot_most": "none"})
    assert (silent.coats_for, silent.upkeep, silent.hot_most) == (None, None, None)


def test_every_figure_of_a_coating_has_a_description():
    assert all(toml_keys().values())


def test_there_are_nine_families_and_two_stains_each_a_coating_of_its_own_key():
    assert len(family_keys()) == 11
    assert [key for key in family_keys() if family(key).stain] == ["solvent_stain", "water_stain"]
    assert [family(key).key for key in family_keys()] == list(family_keys())
