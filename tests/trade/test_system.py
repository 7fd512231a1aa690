"""A build-up coat by coat: thinner, abrasive and coating of each."""

from dataclasses import replace
from decimal import Decimal

import pytest
from pydantic import ValidationError

from dryspell.trade.before import before_text
from dryspell.trade.families import built_on, family, family_keys
from dryspell.trade.material import need_of
from dryspell.trade.piece import Piece
from dryspell.trade.system import Step, System, first_film, hot_most, in_rows, lay_at, lays_of, ruled

COATINGS = {key: family(key) for key in family_keys()}


def built(*steps, **how):
    return lays_of([Step.model_validate(step) for step in steps], COATINGS, **how)


def test_one_coating_is_thinned_coat_by_coat_as_its_family_has_it():
    """The ladder of a boat owners' association: half, then less, then neat (parts to a hundred)."""
    lays = built({"coating": "oil_varnish_1k", "times": 6})
    assert [lay.thinner_parts for lay in lays] == [50, 25, 10, 0, 0, 0]
    assert [lay.number for lay in lays] == [1, 2, 3, 4, 5, 6]
    assert {lay.wet_film_um for lay in lays} == {80.0}


# Common practice, no source: P180 on bare wood, P240 on an old film, P400 between coats.
@pytest.mark.parametrize(("over", "first"), [(False, "P180"), (True, "P240")])
def test_what_is_sanded_with_goes_by_what_is_below(over, first):
    lays = built({"coating": "oil_varnish_1k", "times": 3}, on_old_film=over)
    assert [lay.abrasive for lay in lays] == [first, "P400", "P400"]


def test_a_system_says_what_differs_and_where_the_coating_changes():
    lays = built(
        {"coating": "epoxy_sealer_2k", "times": 2, "hot": True},
        {"coating": "pu_clear_2k", "thinner": 10, "wet_film": "60 um", "abrasive": "P240", "after": {"18 degC": "3 d"}},
        {"coating": "pu_clear_2k", "abrasive": "none"},
    )
    assert [lay.coating.key for lay in lays] == ["epoxy_sealer_2k", "epoxy_sealer_2k", "pu_clear_2k", "pu_clear_2k"]
    assert [lay.changes for lay in lays] == [False, False, True, False]
    assert [lay.hot for lay in lays] == [False, True, False, False]  # a first coat has no soft one below
    third = lays[2]
    assert (third.thinner_parts, third.wet_film_um, third.abrasive) == (10, 60.0, "P240")
    assert third.after == ((18.0, 72.0),)
    assert lays[3].abrasive == "none"


def test_thinner_may_be_told_with_a_point_as_a_configuration_has_it():
    assert built({"coating": "oil_varnish_1k", "thinner": Decimal("2.5")})[0].thinner_parts == 2.5


def test_who_goes_on_past_the_last_coat_lays_it_again():
    lays = built({"coating": "oil_varnish_1k", "times": 2})
    assert lay_at(lays, 5) is lays[1]
    assert lay_at(lays, 0) is lays[0]


@pytest.mark.parametrize(
    ("step", "said"),
    [
        ({"thinner": -1}, "parts to a hundred"),
        ({"thinner": "25 %"}, "parts to a hundred"),
        ({"thinner": True}, "parts to a hundred"),
        ({"abrasive": "400"}, 'such as "P400"'),
        ({"times": 0}, "greater than or equal to 1"),
        ({"after": {"18 degC": "no time"}}, "cannot be used"),
    ],
)
def test_a_wrong_figure_is_answered_with_what_is_wanted(step, said):
    with pytest.raises(ValidationError, match=said):
        Step.model_validate({"coating": "oil_varnish_1k"} | step)


def test_a_system_counts_its_coats():
    system = System.model_validate({"key": "rail", "coats": [{"coating": "a", "times": 2}, {"coating": "b"}]})
    assert (system.count, system.name) == (3, "rail")


def before(lays):
    return [tuple(thing.value for thing in lay.before) for lay in lays]


class TestStain:
    """The figures are those of the trade; common practice, no source."""

    @staticmethod
    def door(stain="solvent_stain", **first):
        return built({"coating": stain, **first}, {"coating": "urethane_alkyd_1k", "times": 7})

    def test_it_is_a_coat_of_the_build_up_that_leaves_no_film(self):
        lays = self.door()
        assert [lay.number for lay in lays] == [1, 2, 3, 4, 5, 6, 7, 8]
        assert (lays[0].wet_film_um, lays[0].thinner_parts, lays[0].abrasive) == (0.0, 0.0, "P180")
        assert first_film(lays) is lays[1]
        assert first_film(built({"coating": "water_stain"})).coating.key == "water_stain"

    def test_the_coats_over_it_are_thinned_as_they_would_be_on_bare_wood(self):
        """The door of the trade's second worked example: stain, then 20 parts, 10 parts and neat."""
        assert [lay.thinner_parts for lay in self.door()[1:]] == [20, 10, 0, 0, 0, 0, 0]
        assert [lay.over_wood for lay in self.door()] == [1, 1, 2, 3, 4, 5, 6, 7]

    def test_it_is_bought_by_how_far_a_litre_goes(self):
        """The trade's second worked example: 2.53 m2 at 14 m2/L and a tenth lost, 0.20 L."""
        door = Piece.model_validate(
            {"key": "door", "site": "yard", "coating": "any", "area": "2.53 m^2", "loss": "10 %"}
        )
        need = need_of(self.door()[0], door)
        assert need.mix_l == pytest.approx(0.20, abs=0.002)
        assert (need.thinner_l, need.dry_um, need.is_full) == (0.0, 0.0, False)

    def test_neither_it_nor_the_first_two_coats_over_it_are_sanded(self):
        lays = self.door()
        assert [lay.abrasive for lay in lays] == ["P180", "none", "none", "none", "P400", "P400", "P400", "P400"]
        assert before(lays[:5]) == [(), ("no_sanding",), ("no_sanding",), ("no_sanding",), ()]
        assert [lay.may_be_sanded for lay in lays[:5]] == [True, False, False, False, True]
        # Another coating below calls for sanding; a stain below forbids it.
        assert lays[1].changes
        assert not lays[1].must_be_sanded
        assert before_text(lays[1].before) == "do not sand: stain below"

    def test_whoever_says_what_is_sanded_with_has_it_from_the_sheet(self):
        lays = built({"coating": "solvent_stain"}, {"coating": "urethane_alkyd_1k", "times": 2, "abrasive": "P600"})
        assert [lay.abrasive for lay in lays] == ["P180", "P600", "P600"]
        assert before(lays) == [(), (), ()]

    def test_the_grain_that_water_raises_is_sanded_before_it(self):
        assert before(self.door("water_stain")[:2]) == [("raise_grain",), ("no_sanding",)]
        assert "raises" in before_text(self.door("water_stain")[0].before)
        assert before(self.door("solvent_stain")[:1]) == [()]


def test_before_the_last_two_coats_and_another_coating_the_film_is_sanded():
    lays = built({"coating": "oil_varnish_1k", "times": 5})
    assert before(lays) == [(), (), (), ("sand_for_last",), ("sand_for_last",)]
    assert [lay.must_be_sanded for lay in lays] == [False, False, False, True, True]
    primed = built({"coating": "primer_1k"}, {"coating": "alkyd_enamel_1k", "times": 3})
    assert before(primed)[1] == ("sand_for_change",)


def test_an_epoxy_is_washed_before_it_is_sanded():
    lays = built({"coating": "epoxy_sealer_2k", "times": 2}, {"coating": "oil_varnish_1k", "times": 3})
    assert before(lays)[1:3] == [("wash",), ("wash", "sand_for_change")]
    assert before_text(lays[2].before).startswith("wash the epoxy")


def test_who_says_that_nothing_is_sanded_before_a_coat_is_not_told_to():
    lays = built({"coating": "oil_varnish_1k", "times": 3, "abrasive": "none"})
    assert before(lays) == [(), (), ()]


def test_an_oil_leaves_no_film_that_would_be_sanded_before_the_last_two_coats():
    assert before(built({"coating": "penetrating_oil", "times": 3})) == [(), (), ()]


def test_the_last_two_coats_may_be_a_pair_on_one_sanding():
    """As in the trade's third scenario: coats 2, 3 and 4 in one day, then sanded, 5 and 6 the next."""
    lays = built({"coating": "epoxy_sealer_2k"}, {"coating": "pu_clear_2k", "times": 6, "hot": True})
    assert [lay.hot for lay in lays] == [False, False, True, True, True, False, True]


class TestRows:
    """At most 2 of a fast-build finish, 3 or 4 of a two-part clear (common practice, no source)."""

    @staticmethod
    def hot(key, times, row=0):
        return [lay.hot for lay in in_rows(built({"coating": key, "times": times, "hot": True}), row)]

    def test_a_full_row_has_to_harden_and_is_sanded(self):
        assert self.hot("pu_clear_2k", 9) == [False, True, True, False, True, True, False, False, True]
        assert self.hot("fast_build_1k", 6) == [False, True, False, True, False, True]
        lays = in_rows(built({"coating": "fast_build_1k", "times": 6, "hot": True}))
        assert before(lays)[2] == ("sand_after_row",)
        assert lays[2].must_be_sanded
        assert lays[2].abrasive == "P400"

    def test_what_lies_below_in_a_row_counts(self):
        lays = built({"coating": "pu_clear_2k", "times": 9, "hot": True})[3:]
        assert [lay.hot for lay in in_rows(lays, 1)][:4] == [True, True, False, True]
        assert [lay.hot for lay in in_rows(lays, 3)][:4] == [False, True, True, False]

    def test_where_nothing_is_said_it_is_two(self):
        assert hot_most(built_on("pu_clear_2k", "clear", {"hot_most": "none"})) == 2
        assert hot_most(built_on("pu_clear_2k", "clear", {"hot_most": 4})) == 4


def test_what_is_sanded_goes_by_what_was_really_laid():
    """Somebody left the stain out and began with the first coat of varnish."""
    first, *others = built({"coating": "water_stain"}, {"coating": "oil_varnish_1k", "times": 5})
    lays = ruled([replace(first, coating=COATINGS["oil_varnish_1k"]), *others])
    assert [lay.abrasive for lay in lays] == ["P180", "P400", "P400", "P400", "P400", "P400"]
    assert not any(lay.changes for lay in lays)
    assert before(lays)[:2] == [(), ()]
