"""Every scan is held against the loop it replaces."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays

from dryspell.science.recurrence import affine_scan, capped_scan, clamp_scan

SHAPES = st.tuples(st.integers(1, 4), st.integers(1, 70))


def affine_loop(a, b, x0):
    a, b = np.broadcast_arrays(a, b)
    states = np.empty(a.shape)
    state = np.broadcast_to(x0, a.shape[:-1]).astype(float)
    for k in range(a.shape[-1]):
        # A factor of 0 starts anew whatever was before
        state = np.where(a[..., k] == 0.0, b[..., k], a[..., k] * state + b[..., k])
        states[..., k] = state
    return states


def clamp_loop(r, low, high, w0):
    r, low, high = np.broadcast_arrays(r, low, high)
    states = np.empty(r.shape)
    state = np.broadcast_to(w0, r.shape[:-1]).astype(float)
    for k in range(r.shape[-1]):
        fixed = (low[..., k] == high[..., k]) & ~np.isnan(r[..., k])
        moved = np.minimum(np.maximum(state + r[..., k], low[..., k]), high[..., k])
        state = np.where(fixed, low[..., k], moved)
        states[..., k] = state
    return states


@st.composite
def affine_cases(draw):
    shape = draw(SHAPES)
    factors = draw(arrays(float, shape, elements=st.one_of(st.floats(-1, 1), st.just(0.0))))
    increments = draw(arrays(float, shape, elements=st.one_of(st.floats(-50, 50), st.just(np.nan))))
    start = draw(arrays(float, shape[:1], elements=st.one_of(st.floats(-50, 50), st.just(np.nan))))
    return factors, increments, start


@settings(deadline=None)
@given(affine_cases())
def test_an_affine_scan_equals_the_loop_with_gaps_and_restarts(case):
    np.testing.assert_allclose(affine_scan(*case), affine_loop(*case), rtol=1e-10, atol=1e-10)


@settings(deadline=None)
@given(affine_cases(), st.floats(-20, 40))
def test_a_capped_scan_equals_the_loop_with_gaps_and_restarts(case, cap):
    a, b, x0 = np.abs(case[0]), case[1], case[2]
    high = cap + 5.0 * np.cos(np.arange(a.shape[-1]))
    found = capped_scan(a, b, high, x0)
    state = x0.astype(float)
    for k in range(a.shape[-1]):
        state = np.minimum(np.where(a[:, k] == 0.0, b[:, k], a[:, k] * state + b[:, k]), high[k])
        np.testing.assert_allclose(found[:, k], state, rtol=1e-10, atol=1e-10)


def test_a_falling_line_under_a_bound_is_refused():
    with pytest.raises(ValueError, match="a is below 0"):
        capped_scan([0.5, -0.1], 1.0, 2.0, 0.0)


@st.composite
def clamp_cases(draw):
    shape = draw(SHAPES)
    steps = draw(arrays(float, shape, elements=st.one_of(st.floats(-2, 2), st.just(np.nan))))
    # Equal bounds are a restart; -inf and inf are none at all
    low = draw(arrays(float, shape, elements=st.sampled_from([-np.inf, -1.0, 0.0, 0.25])))
    high = np.maximum(low, draw(arrays(float, shape, elements=st.sampled_from([-1.0, 0.0, 0.5, np.inf]))))
    start = draw(arrays(float, shape[:1], elements=st.one_of(st.floats(-3, 3), st.just(np.nan))))
    return steps, low, high, start


@settings(deadline=None)
@given(clamp_cases())
def test_a_clamp_scan_equals_the_loop_with_gaps_and_restarts(case):
    np.testing.assert_allclose(clamp_scan(*case), clamp_loop(*case), rtol=1e-12, atol=1e-12)


@settings(deadline=None)
@given(arrays(float, array_shapes(min_dims=1, max_dims=3, max_side=9), elements=st.floats(-1, 1)))
def test_scans_take_any_leading_axes_and_single_figures(steps):
    np.testing.assert_allclose(affine_scan(0.5, steps, 1.0), affine_loop(0.5, steps, 1.0), atol=1e-12)
    np.testing.assert_allclose(clamp_scan(steps, 0.0, 0.3, 0.1), clamp_loop(steps, 0.0, 0.3, 0.1), atol=1e-12)


def test_a_long_decay_of_many_members_stays_exact():
    rng = np.random.default_rng(1)
    factors, increments = rng.uniform(0.0, 1.0, (64, 3001)), rng.normal(size=(64, 3001))
    start = rng.normal(size=64)
    expected = affine_loop(factors, increments, start)
    np.testing.assert_allclose(affine_scan(factors, increments, start), expected, rtol=1e-10, atol=1e-10)


def test_a_clamp_with_equal_bounds_far_apart_is_a_running_sum():
    steps = np.random.default_rng(2).normal(size=1000)
    np.testing.assert_allclose(clamp_scan(steps, -np.inf, np.inf, 3.0), 3.0 + np.cumsum(steps), rtol=1e-9)


def test_a_gap_reaches_to_the_next_restart_and_no_further():
    factors = np.array([0.5, 0.5, 0.5, 0.0, 0.5])
    increments = np.array([1.0, np.nan, 1.0, 8.0, 1.0])
    np.testing.assert_array_equal(affine_scan(factors, increments, 2.0), [2.0, np.nan, np.nan, 8.0, 5.0])
    # ... even past where a product of factors has run to 0
    factors = np.full(500, 0.01)
    increments = np.concatenate([[np.nan], np.ones(499)])
    assert np.isnan(affine_scan(factors, increments, 0.0)).all()


def test_scans_of_nothing_are_nothing():
    assert affine_scan(np.empty((3, 0)), 1.0, 0.0).shape == (3, 0)
    assert clamp_scan(np.empty((3, 0)), 0.0, 1.0, 0.0).shape == (3, 0)


def test_bounds_that_cross_are_refused():
    with pytest.raises(ValueError, match="low is above high"):
        clamp_scan([0.0, 1.0], 0.5, 0.4, 0.0)
