"""The vectorised sums against plain loops that take one step after the other."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.reference.drying import completion
from dryspell.science import cure

MIDNIGHT = np.datetime64("2026-03-01T00:00:00")
NAT = np.datetime64("NaT", "s")


def axis(seconds):
    return MIDNIGHT + np.asarray(seconds, dtype="timedelta64[s]")


def hourly(count):
    return axis(3600 * np.arange(count))


RATES = st.one_of(st.floats(0, 1.5), st.just(0.0), st.just(math.nan))


@st.composite
def sums(draw):
    size = draw(st.integers(2, 40))
    steps = draw(st.lists(st.integers(60, 7200), min_size=size - 1, max_size=size - 1))
    seconds = [0, *np.cumsum(steps).tolist()]
    rates = draw(st.lists(st.lists(RATES, min_size=size, max_size=size), min_size=1, max_size=3))
    # on, between and off the instants of the axis
    starts = draw(st.lists(st.sampled_from(seconds) | st.integers(-100, seconds[-1] + 100), min_size=1, max_size=6))
    return seconds, rates, starts


@given(sums(), st.sampled_from([1.0, 0.25, 3.0]))
def test_completion_is_that_of_a_plain_loop(case, needed):
    seconds, rates, starts = case
    ours = cure.completion_time(axis(starts), axis(seconds), np.array(rates), needed=needed)
    assert ours.shape == (len(rates), len(starts))
    for row, rate in zip(ours, rates, strict=True):
        for instant, start in zip(row, starts, strict=True):
            plain = completion(start, seconds, rate, needed)
            if plain is None:
                assert np.isnat(instant)
            else:
                # a second apart where the plain sum falls on the full second but for rounding
                assert abs(int((instant - MIDNIGHT) / np.timedelta64(1, "s")) - plain) <= 1


@given(sums())
def test_the_sum_is_the_identical_float_of_a_plain_loop(case):
    seconds, rates, _ = case
    ours = cure.accumulated(axis(seconds), np.array(rates))
    for row, rate in zip(ours, rates, strict=True):
        total, plain = 0.0, [0.0]
        for k in range(len(seconds) - 1):
            total += 0.5 * (rate[k + 1] + rate[k]) * ((seconds[k + 1] - seconds[k]) / 3600.0)
            plain.append(total)
        np.testing.assert_array_equal(row, plain)


@given(sums())
def test_what_is_gained_until_completion_is_what_was_needed(case):
    seconds, rates, starts = case
    times, rate = axis(seconds), np.nan_to_num(np.array(rates))
    done = cure.completion_time(axis(starts), times, rate)
    gained = cure.gained(axis(starts), done, times, rate)
    # at the full second after completion, so a second's gain more at the most
    known = np.isfinite(gained)
    np.testing.assert_array_equal(known[~np.isnat(done) & (done <= times[-1])], True)
    assert (gained[known] >= 1 - 2e-9).all()
    assert (gained[known] <= 1 + 1.5 / 3600 + 1e-9).all()


@given(sums())
def test_a_later_start_is_never_complete_earlier(case):
    seconds, rates, starts = case
    rate = np.nan_to_num(np.array(rates))
    done = cure.completion_time(axis(sorted(starts)), axis(seconds), rate)
    for row in done:
        on_axis = row[~np.isnat(row)]
        assert (np.diff(on_axis) >= np.timedelta64(-1, "s")).all()


def test_completion_at_a_steady_rate_is_exact_to_the_second():
    times = hourly(49)
    done = cure.completion_time(MIDNIGHT, times, np.full(49, 1 / 24))
    assert done == np.datetime64("2026-03-02T00:00:00")
    assert done.shape == ()
    assert done.dtype == "datetime64[s]"
    between = cure.completion_time(axis([1, 5400]), times, np.full(49, 1 / 7))
    np.testing.assert_array_equal(between, axis([7 * 3600 + 1, 7 * 3600 + 5400]))


def test_what_was_done_before_at_another_rate_is_taken_off_what_is_needed():
    times = hourly(25)
    wet, late = np.full((2, 25), 0.05), np.array([[0.1] * 25, [0.05] * 25])
    turn = np.array([[4 * 3600], [6 * 3600]])
    before = cure.gained(MIDNIGHT, axis(turn), times, wet)
    np.testing.assert_allclose(before, [[0.2], [0.3]])
    done = cure.completion_time(axis(turn), times, late, needed=1 - before)
    np.testing.assert_array_equal(done, axis([[12 * 3600], [20 * 3600]]))


def test_where_nothing_is_needed_the_start_is_given_back():
    starts = axis([90, 3600, 7201])
    done = cure.completion_time(starts, hourly(3), np.zeros(3), needed=[0.0, -0.5, 0.0])
    np.testing.assert_array_equal(done, np.array([*starts[:2], NAT]))


def test_rounding_does_not_put_completion_off_the_axis():
    # ten times 0.1 is a little less than 1 in binary numbers
    rate = np.full(11, 0.1)
    assert cure.accumulated(hourly(11), rate)[-1] < 1
    assert cure.completion_time(MIDNIGHT, hourly(11), rate) == axis(10 * 3600)


def test_an_unknown_rate_on_the_way_leaves_completion_unknown_and_elsewhere_does_no_harm():
    rate = np.full(12, 0.5)
    rate[4] = np.nan  # the two steps from 3 to 5 h are unknown
    starts = axis(3600 * np.array([0, 1, 1.5, 3, 4.5, 5, 6]))
    done = cure.completion_time(starts, hourly(12), rate)
    np.testing.assert_array_equal(done, np.array([*axis([7200, 10800]), NAT, NAT, NAT, *axis([25200, 28800])]))
    assert np.isnan(cure.accumulated(hourly(12), rate)[4:]).all()
    assert np.isfinite(cure.accumulated(hourly(12), rate)[:4]).all()
    gained = cure.gained(axis([0, 0, 18000]), axis([10800, 10801, 36000]), hourly(12), rate)
    np.testing.assert_allclose(gained, [1.5, np.nan, 2.5])


def test_what_is_off_the_axis_or_backwards_is_unknown():
    times, rate = hourly(5), np.full(5, 0.5)
    starts = np.array([*axis([-1, 4 * 3600, 4 * 3600 + 1, 3 * 3600]), NAT])
    assert np.isnat(cure.completion_time(starts, times, rate)).all()
    ends = np.array([*axis([3600, 4 * 3600, 4 * 3600 + 1, 3599]), MIDNIGHT])
    np.testing.assert_array_equal(cure.gained(starts, ends, times, rate), [np.nan, 0.0, np.nan, np.nan, np.nan])


def test_starts_take_any_shape_and_members_their_own_or_the_same():
    times = hourly(30)
    one, three = np.full(30, 0.2), np.full((3, 30), 0.2)
    grid = axis(3600 * np.arange(6).reshape(2, 3))
    np.testing.assert_array_equal(cure.completion_time(grid, times, one), grid + np.timedelta64(5, "h"))
    assert cure.completion_time(MIDNIGHT, times, three).shape == (3,)
    assert cure.completion_time(axis([0, 1]), times, three).shape == (3, 2)
    own = axis(3600 * np.array([[0], [2], [4]]))
    np.testing.assert_array_equal(cure.completion_time(own, times, three), own + np.timedelta64(5, "h"))
    with pytest.raises(ValueError, match=r"start needs the shape \(starts,\) or \(3, starts\)"):
        cure.completion_time(grid, times, three)


def test_what_cannot_be_is_refused_by_name():
    with pytest.raises(ValueError, match="times_utc needs to ascend strictly"):
        cure.accumulated(axis([0, 3600, 3600]), np.ones(3))
    with pytest.raises(ValueError, match="times_utc"):
        cure.accumulated(np.array([MIDNIGHT, NAT]), np.ones(2))
    with pytest.raises(ValueError, match=r"rate_per_h needs 3 instants on its last axis, got the shape \(2,\)"):
        cure.accumulated(hourly(3), np.ones(2))
    with pytest.raises(ValueError, match="rate_per_h is out of range"):
        cure.completion_time(MIDNIGHT, hourly(3), [0.1, -0.1, 0.1])
