import numpy as np
import pytest

from dryspell.weather.nowcast import LASTS_H, USUAL, lasting, leaning

TIMES = np.datetime64("2026-06-01T00:00:00") + np.timedelta64(3600, "s") * np.arange(48)
HALF_HOUR = np.timedelta64(1800, "s")


def test_how_long_a_departure_lasts_is_found_of_a_first_order_process():
    # Its correlation after k steps is r^k (Yule 1927).
    random = np.random.default_rng(4)
    error = np.zeros(20000)
    for k, new in enumerate(random.standard_normal(error.size - 1)):
        error[k + 1] = 0.9 * error[k] + new
    error[random.uniform(size=error.size) < 0.1] = np.nan
    assert lasting(error)[:LASTS_H] == pytest.approx(0.9 ** np.arange(LASTS_H), abs=0.04)


def test_departures_that_do_not_last_are_let_go_at_once():
    left = lasting(np.random.default_rng(5).standard_normal(5000))
    assert left[0] == 1.0
    assert np.all(left[1:] < 0.05)


def test_with_few_hours_the_usual_course_is_taken():
    for error in (np.full(100, np.nan), np.zeros(100)):
        assert lasting(error) == pytest.approx(USUAL)
    assert lasting(np.array([1.0, -1.0] * 5)) == pytest.approx(USUAL, abs=0.2)


def test_a_departure_never_grows_again():
    left = lasting(np.tile(np.sin(np.arange(24) / 24 * 2 * np.pi), 60))
    assert np.all(np.diff(left) <= 0.0)
    assert left[-1] == 0.0


def test_a_reading_between_two_hours_is_held_against_what_lies_between():
    values = np.arange(48.0)[np.newaxis]
    added = leaning(TIMES, values, TIMES[4] + HALF_HOUR, 6.5, USUAL)[0]
    assert np.all(added[:5] == 0.0)
    assert added[5] == pytest.approx(2.0 * (USUAL[0] + USUAL[1]) / 2)
    assert np.all(added[30:] == 0.0)


def test_an_unknown_neighbour_counts_only_where_it_is_needed():
    values = np.arange(48.0)[np.newaxis].copy()
    values[0, 5] = np.nan
    assert leaning(TIMES, values, TIMES[4], 6.0, USUAL)[0, 4] == 2.0
    assert np.all(leaning(TIMES, values, TIMES[4] + HALF_HOUR, 6.0, USUAL) == 0.0)
    values[0, 4:6] = [np.nan, 5.0]
    assert leaning(TIMES, values, TIMES[5], 6.0, USUAL)[0, 5] == 1.0


def test_a_table_that_begins_within_the_hour_is_held_against_its_first_value():
    values = np.full((2, 48), 10.0)
    assert leaning(TIMES, values, TIMES[0] - HALF_HOUR, 12.0, USUAL)[1, 0] == pytest.approx(2.0 * (1 + USUAL[1]) / 2)
    for far in (TIMES[0] - 3 * HALF_HOUR, TIMES[-1] + 3 * HALF_HOUR):
        assert np.all(leaning(TIMES, values, far, 12.0, USUAL) == 0.0)
