"""Spans against plain Python: the least and the most of a slice."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from dryspell.outlook.spans import Sliding, SpanLeast, SpanMost

numbers = st.floats(-1e3, 1e3)


@given(st.data(), st.lists(numbers, min_size=1, max_size=70))
def test_the_least_and_most_of_every_span_are_those_of_the_slice(data, values):
    first = data.draw(st.integers(0, len(values) - 1))
    last = data.draw(st.integers(first, len(values) - 1))
    row = np.array([values])
    at = np.array([[first]]), np.array([[last]])
    assert SpanLeast(row).over(*at).item() == min(values[first : last + 1])
    assert SpanMost(row).over(*at).item() == max(values[first : last + 1])


def test_an_unknown_value_makes_the_spans_that_hold_it_unknown_and_no_others():
    row = np.array([[3.0, 2.0, np.nan, 5.0]])
    first, last = np.array([[0, 0, 2, 3]]), np.array([[1, 2, 3, 3]])
    np.testing.assert_array_equal(SpanLeast(row).over(first, last), [[2.0, np.nan, np.nan, 5.0]])


def test_every_member_answers_from_its_own_row():
    rows = np.array([[1.0, 5.0], [7.0, 6.0]])
    first, last = np.array([[0], [0]]), np.array([[1], [1]])
    np.testing.assert_array_equal(SpanLeast(rows).over(first, last), [[1.0], [6.0]])


@given(st.data(), st.lists(numbers, min_size=2, max_size=70), st.integers(0, 9), st.integers(0, 9))
def test_spans_round_some_places_are_those_of_the_slices(data, values, before, after):
    places = data.draw(st.sets(st.integers(0, len(values) - 1), min_size=1))
    at = np.array(sorted(places))
    rows = np.array([values, values[::-1]])
    around = Sliding(at, before, after, len(values))
    for table, pick in ((SpanLeast(rows), min), (SpanMost(rows), max)):
        wanted = [[pick(row[max(place - before, 0) : place + after + 1]) for place in at] for row in rows.tolist()]
        np.testing.assert_array_equal(table.of(around), wanted)
