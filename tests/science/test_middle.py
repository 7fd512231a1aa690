"""The median as numpy has it, whose own is the reference."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from dryspell.science.middle import middle

FIGURES = st.floats(-1e6, 1e6) | st.just(np.nan)


@given(arrays(np.float64, array_shapes(min_dims=1, max_dims=2, max_side=6), elements=FIGURES))
def test_it_is_the_median_of_numpy_to_the_last_bit(values):
    np.testing.assert_array_equal(middle(values), np.median(values, axis=0))


@given(st.lists(st.booleans(), min_size=1, max_size=7))
def test_what_is_true_counts_one(said):
    assert middle(said) == np.median(said)


def test_of_no_values_there_is_none():
    assert np.isnan(middle(np.empty((0, 3)))).tolist() == [True, True, True]
