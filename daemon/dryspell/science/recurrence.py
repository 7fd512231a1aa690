"""Recurrences over time without a loop over time.

A step of a recurrence is a function from the state before to the state after. Where the functions of a kind are closed
under composition (two of them in a row are again one of the kind) and each is a few numbers, all states follow from
log2(n) passes over whole arrays: compose the steps in pairs, solve the half as long recurrence of the pairs, and apply
the first of each pair once to fill in the states between. That is the parallel prefix sum for any associative operation
(Ladner & Fischer 1980, J. ACM 27, 831-838; from memory), in its work-efficient form: about 2 n compositions in all.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray

_Steps = tuple[FloatArray, ...]


def affine_scan(a: npt.ArrayLike, b: npt.ArrayLike, x0: npt.ArrayLike) -> FloatArray:
    """Return x with x[k] = a[k] x[k-1] + b[k] along the last axis, x[-1] meaning `x0`.

    Parameters
    ----------
    a, b
        Factors and increments, broadcast against each other; the last axis is the sequence. Meant for states that fade
        or stay (magnitude of `a` up to 1): products of larger factors can overflow where the states themselves do not.
    x0
        State before the first step, broadcast against the leading axes.

    Notes
    -----
    A NaN in `a`, `b` or `x0` makes every later state NaN, up to a step with `a` = 0 and a known `b`: that does not
    depend on what was before, so it starts the sequence anew.
    """
    first, second = np.broadcast_arrays(np.asarray(a, dtype=np.float64), np.asarray(b, dtype=np.float64))
    return _over_gaps(affine_states, (first, second), x0, restarts=first == 0.0)


def capped_scan(a: npt.ArrayLike, b: npt.ArrayLike, high: npt.ArrayLike, x0: npt.ArrayLike) -> FloatArray:
    """Return x with x[k] = min(a[k] x[k-1] + b[k], high[k]) along the last axis, x[-1] meaning `x0`.

    Parameters
    ----------
    a, b, high
        Factors from 0 to 1, increments and bounds, broadcast against each other; the last axis is the sequence.
    x0
        State before the first step, broadcast against the leading axes.

    Raises
    ------
    ValueError
        For a factor below 0: then the steps are no more closed under composition.

    Notes
    -----
    NaN as in `affine_scan`.
    """
    steps = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (a, b, high)))
    if np.any(steps[0] < 0.0):
        raise ValueError("a is below 0")
    return _over_gaps(_capped_states, (steps[0], steps[1], steps[2]), x0, restarts=steps[0] == 0.0)


def _capped_states(steps: _Steps, start: FloatArray) -> FloatArray:
    # A rising line under a bound, twice: min(a_k min(a_j x + b_j, h_j) + b_k, h_k)
    #   = min(a_k a_j x + a_k b_j + b_k, min(a_k h_j + b_k, h_k))     for a_k not below 0
    return _scan(
        lambda then, before: (
            then[0] * before[0],
            then[0] * before[1] + then[1],
            np.minimum(then[0] * before[2] + then[1], then[2]),
        ),
        lambda then, state: np.minimum(then[0] * state + then[1], then[2]),
        steps,
        start,
    )


def clamp_scan(r: npt.ArrayLike, low: npt.ArrayLike, high: npt.ArrayLike, w0: npt.ArrayLike) -> FloatArray:
    """Return w with w[k] = min(max(w[k-1] + r[k], low[k]), high[k]) along the last axis, w[-1] meaning `w0`.

    Parameters
    ----------
    r
        What is added in each step; the last axis is the sequence.
    low, high
        Bounds after each step, broadcast against `r`; `low` not above `high`, infinite for no bound.
    w0
        State before the first step, broadcast against the leading axes.

    Raises
    ------
    ValueError
        Where `low` is above `high`.

    Notes
    -----
    A NaN makes every later state NaN, up to a step with `low` equal to `high` and a known `r`: its outcome does not
    depend on what was before, so it starts the sequence anew.
    """
    steps = np.broadcast_arrays(*(np.asarray(part, dtype=np.float64) for part in (r, low, high)))
    if np.any(steps[1] > steps[2]):
        raise ValueError("low is above high")
    return _over_gaps(clamp_states, (steps[0], steps[1], steps[2]), w0, restarts=steps[1] == steps[2])


def affine_states(steps: _Steps, start: FloatArray) -> FloatArray:
    """Return the states of `affine_scan` along the first axis, from (a, b) of one shape that hold no NaN."""
    # Step k after step j: a_k (a_j x + b_j) + b_k = (a_k a_j) x + (a_k b_j + b_k)
    return _scan(
        lambda then, before: (then[0] * before[0], then[0] * before[1] + then[1]),
        lambda then, state: then[0] * state + then[1],
        steps,
        start,
    )


def clamp_states(steps: _Steps, start: FloatArray) -> FloatArray:
    """Return the states of `clamp_scan` along the first axis, from (r, low, high) of one shape that hold no NaN."""
    # Clamping after a shift, twice: with c_k(w) = min(max(w + r_k, l_k), h_k),
    #   c_k(c_j(w)) = clamp(clamp(w + r_j + r_k, l_j + r_k, h_j + r_k), l_k, h_k)     a shift moves its clamp along
    #               = clamp(w + (r_j + r_k), clamp(l_j + r_k, l_k, h_k), clamp(h_j + r_k, l_k, h_k))
    # which is a shift and a clamp again, because min and max with constants are monotone.
    return _scan(
        lambda then, before: (before[0] + then[0], _clamp(then, before[1]), _clamp(then, before[2])),
        _clamp,
        steps,
        start,
    )


def _clamp(step: _Steps, state: FloatArray) -> FloatArray:
    return np.minimum(np.maximum(state + step[0], step[1]), step[2])


def _over_gaps(
    scan: Callable[[_Steps, FloatArray], FloatArray],
    steps: _Steps,
    start: npt.ArrayLike,
    restarts: npt.NDArray[np.bool_],
) -> FloatArray:
    """Scan steps along the last axis that may hold NaN.

    NaN is kept out of the arithmetic, where 0 x NaN would carry it over a restart; how far it reaches is worked out
    from the positions of the last NaN and the last restart.
    """
    shape = np.broadcast_shapes(steps[0].shape[:-1], np.shape(start))
    begin = np.broadcast_to(np.asarray(start, dtype=np.float64), shape)
    steps = tuple(np.broadcast_to(part, (*shape, steps[0].shape[-1])) for part in steps)
    bad = np.logical_or.reduce([np.isnan(part) for part in steps])
    whole = not (np.isnan(begin).any() or bad.any())
    clean = steps if whole else tuple(np.where(bad, 0.0, part) for part in steps)
    states = np.moveaxis(scan(tuple(np.moveaxis(part, -1, 0) for part in clean), np.nan_to_num(begin)), 0, -1)
    if whole:
        return states
    position = np.arange(1, bad.shape[-1] + 1)
    last_bad = np.maximum.accumulate(np.where(bad, position, 0), axis=-1)
    last_restart = np.maximum.accumulate(np.where(restarts & ~bad, position, 0), axis=-1)
    unknown = (last_bad > last_restart) | (np.isnan(begin)[..., None] & (last_restart == 0))
    return np.where(unknown, np.nan, states)


def _scan(
    compose: Callable[[_Steps, _Steps], _Steps],
    apply: Callable[[_Steps, FloatArray], FloatArray],
    steps: _Steps,
    start: FloatArray,
) -> FloatArray:
    """Return the state after every step; `compose(later, earlier)` makes one step of two."""
    n = steps[0].shape[0]
    if n < 2:
        return apply(steps, start[None])
    earlier = tuple(part[: n - 1 : 2] for part in steps)
    later = tuple(part[1::2] for part in steps)
    after_pairs = _scan(compose, apply, compose(later, earlier), start)
    states = np.empty_like(steps[0], shape=(n, *start.shape))
    states[1::2] = after_pairs
    states[:1] = apply(tuple(part[:1] for part in steps), start[None])
    states[2::2] = apply(tuple(part[2::2] for part in steps), after_pairs[: (n - 1) // 2])
    return states
