"""A build-up coat by coat: thinner, abrasive and coating of each."""

from decimal import Decimal

import pytest
from pydantic import ValidationError

from dryspell.trade.families import family
from dryspell.trade.system import Lay, Step, System, lay_at, lays_of

COATINGS = {key: family(key) for key in ("oil_varnish_1k", "epoxy_sealer_2k", "pu_clear_2k")}


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
    assert [lay.hot for lay in lays] == [True, True, False, False]
    assert lays[2] == Lay(3, COATINGS["pu_clear_2k"], 10, 60.0, "P240", after=((18.0, 72.0),), changes=True)
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
