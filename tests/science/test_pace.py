"""What a finisher's own coats teach about a coating's times, and when they teach nothing."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.science.pace import PRIOR_COATS, learn_pace

NEAR = st.floats(0.8, 1.25)


def test_without_a_coat_nothing_is_learned():
    assert (learn_pace([]).factor, learn_pace([]).coats) == (1, 0)


def test_one_coat_moves_it_a_third_of_the_way_and_ten_most_of_it():
    assert learn_pace([1.5]).factor == pytest.approx(1.5 ** (1 / 3))
    assert learn_pace([1.5] * 10).factor == pytest.approx(1.5 ** (10 / 12))
    assert learn_pace([0.7, 0.7]).factor == pytest.approx(0.7**0.5)


def test_the_middle_counts_and_a_slip_does_not():
    learned = learn_pace([1.2, 1.25, 1.3, 1.22, 2.9])
    assert learned.factor == pytest.approx(1.25 ** (5 / 7))
    assert not learned.contradictory
    # whoever looks two days later has not seen when it was ready
    assert learn_pace([1.2, 40.0]) == learn_pace([1.2])


def test_coats_that_contradict_each_other_teach_nothing():
    learned = learn_pace([0.6, 1.8, 0.5, 2.0])
    assert (learned.factor, learned.coats, learned.contradictory) == (1, 4, True)
    assert learned.apart > 1.5
    assert learn_pace([0.5, 2.0]).contradictory


@given(st.lists(NEAR, min_size=1, max_size=20))
def test_it_lies_between_what_is_printed_and_what_was_seen(shares):
    learned = learn_pace(shares)
    assert min(*shares, 1.0) - 1e-9 <= learned.factor <= max(*shares, 1.0) + 1e-9


@given(st.lists(NEAR, min_size=2, max_size=9), st.floats(0.9, 1.2))
def test_slower_coats_never_make_it_faster(shares, slower):
    slower = max(slower, 1.0)
    more = learn_pace([share * slower for share in shares])
    assert more.factor >= learn_pace(shares).factor - 1e-9


def test_many_coats_of_a_slow_hand_are_found_out_to_a_few_per_cent():
    rng = np.random.default_rng(3)
    learned = learn_pace(1.3 * np.exp(rng.normal(0, 0.12, 40)))
    assert learned.factor == pytest.approx(1.3 ** (40 / (40 + PRIOR_COATS)), rel=0.04)


@pytest.mark.parametrize(
    ("progress", "prior", "name"), [([1, 0], 2, "progress"), ([-1], 2, "progress"), ([1], 0, "prior")]
)
def test_what_cannot_be_is_refused_by_name(progress, prior, name):
    with pytest.raises(ValueError, match=name):
        learn_pace(progress, prior_coats=prior)
