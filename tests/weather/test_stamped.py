"""Readings at the stamps of a table; all numbers worked out by hand from the CF convention's cell methods."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.weather.stamped import at_stamps

NOON = np.datetime64("2026-06-02T12:00:00", "s")
AIR, RAIN, SUN, GUST = (
    "air_temperature",
    "precipitation_amount",
    "surface_downwelling_shortwave_flux_in_air",
    "wind_speed_of_gust",
)


def at(*minutes):
    return NOON + np.array(minutes, dtype=np.int64) * np.timedelta64(60, "s")


def found(name, minutes, values, stamps):
    return at_stamps(name, at(*minutes), np.asarray(values, dtype=np.float64), at(*stamps)).tolist()


def test_a_point_is_the_mean_of_the_readings_near_its_stamp():
    assert found(AIR, [-16, -15, 0, 15, 16], [90, 1, 2, 6, 90], [-60, 0]) == [pytest.approx(np.nan, nan_ok=True), 3.0]


def test_readings_near_two_stamps_go_to_the_nearer_one():
    assert found(AIR, [-10, -5, 5, 10], [1, 2, 4, 5], [-15, 0, 15]) == [1.0, 3.0, 5.0]


def test_a_stamp_with_no_reading_near_has_the_line_between_two_that_are_not_far_apart():
    assert found(AIR, [-30, 30], [1, 3], [-60, 0, 60]) == pytest.approx([np.nan, 2, np.nan], nan_ok=True)
    assert found(AIR, [-38, 38], [1, 3], [-60, 0, 60]) == pytest.approx([np.nan] * 3, nan_ok=True)


def test_a_single_reading_serves_for_the_stamp_it_is_near():
    assert found(AIR, [3], [7], [-60, 0, 60]) == pytest.approx([np.nan, 7, np.nan], nan_ok=True)


def test_amounts_are_added_over_the_step_that_ends_at_the_stamp():
    every_ten = list(range(-60, 61, 10))
    assert found(RAIN, every_ten, range(13), [0, 60]) == pytest.approx([21, 57])  # 1 to 6, 7 to 12


def test_an_amount_across_a_stamp_is_shared_out_by_time():
    # 30 minutes to 12:10, of which 10 are past noon.
    assert found(RAIN, [-60, -20, 10, 60], [9, 2, 3, 5], [0, 60]) == pytest.approx([4, 6])


def test_means_are_averaged_by_the_time_that_each_reading_tells_of():
    # 200 over 40 minutes and 500 over 20.
    assert found(SUN, [-60, -20, 0], [0, 200, 500], [0]) == pytest.approx([300])


def test_the_greatest_of_maxima_is_taken():
    assert found(GUST, list(range(-60, 61, 10)), [99, 1, 2, 8, 3, 1, 4, 5, 6, 7, 1, 1, 2], [0, 60]) == [8, 7]


@pytest.mark.parametrize("name", [RAIN, SUN, GUST])
def test_a_step_that_readings_do_not_cover_is_unknown(name):
    # Nothing is known before the first reading: ten minutes of the hour are too many, five are not.
    assert np.isnan(found(name, [-50, -25, 0], [1, 1, 1], [0])[0])
    assert np.isfinite(found(name, [-55, -25, 0], [1, 1, 1], [0])[0])
    assert np.isnan(found(name, [-60, -30], [1, 1], [0])[0])


def test_an_amount_after_a_long_silence_is_of_no_hour():
    assert np.isnan(found(RAIN, [-240, 0], [9, 9], [-60, 0])).all()
    assert found(RAIN, [-180, 0], [0, 9], [-60, 0]) == pytest.approx([3, 3])


@pytest.mark.parametrize("name", [AIR, RAIN, SUN, GUST])
def test_no_readings_tell_nothing(name):
    assert np.isnan(found(name, [], [], [0, 60])).all()


@given(st.integers(0, 2**32 - 1), st.integers(1, 29))
def test_rain_is_neither_made_nor_lost_however_readings_and_stamps_lie(seed, every):
    rng = np.random.default_rng(seed)
    minutes = np.arange(-240, 241, every)
    amounts = rng.uniform(0, 5, minutes.size)
    stamps = np.arange(-180, 181, 20) if every < 20 else np.arange(-180, 181, 60)
    whole = at_stamps(RAIN, at(*minutes), amounts, at(*stamps))
    inside = np.interp([stamps[0] - (stamps[1] - stamps[0]), stamps[-1]], minutes, np.cumsum(amounts))
    assert np.sum(whole) == pytest.approx(inside[1] - inside[0])
