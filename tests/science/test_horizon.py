"""The skyline before the sun."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.science.horizon import skyline_height, stands_clear

DEGREES = st.floats(0, 359.9)


def test_the_line_is_straight_between_directions_and_goes_on_round_north():
    skyline = [(270.0, 40.0), (90.0, 20.0), (180.0, 0.0)]
    found = skyline_height(skyline, [90, 135, 180, 225, 270, 315, 0, 45, 360, -90])
    np.testing.assert_allclose(found, [20, 10, 0, 20, 40, 35, 30, 25, 30, 40])


def test_one_direction_is_the_same_height_all_round():
    np.testing.assert_array_equal(skyline_height([(200.0, 15.0)], [0, 90, 200, 359]), 15.0)


@given(st.dictionaries(st.integers(0, 35).map(lambda ten: ten * 10.0), st.floats(0, 90), min_size=1), DEGREES)
def test_the_line_stays_between_the_two_directions_that_enclose_it(heights, azimuth):
    def neighbour(turn):
        return heights[min(heights, key=lambda direction: (turn * (direction - azimuth)) % 360)]

    ends = sorted((neighbour(1), neighbour(-1)))
    assert ends[0] - 1e-9 <= skyline_height(list(heights.items()), azimuth) <= ends[1] + 1e-9


def test_a_wall_hides_the_sun_up_to_its_own_height():
    # A wall 3 m high, 3 m away to the south, seen from its foot's height: 45 degrees straight ahead.
    skyline = [(180.0, math.degrees(math.atan2(3, 3)))]
    np.testing.assert_array_equal(
        stands_clear(skyline, [44.9, 45.1, 100.0, np.nan], 180.0), [True, False, False, False]
    )


@pytest.mark.parametrize(
    ("skyline", "text"),
    [([], "at least one"), ([(0.0, 5.0), (360.0, 9.0)], "only once"), ([(0.0, 91.0)], "skyline is out of range")],
)
def test_what_is_no_skyline_is_refused(skyline, text):
    with pytest.raises(ValueError, match=text):
        skyline_height(skyline, 0.0)
