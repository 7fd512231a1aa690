"""The course of a face's temperature and water through time, found for all instants at once.

The balance of `dryspell.science.balance` is an ordinary differential equation in the temperature. About a trial
trajectory it is made linear, C dT/dt = g (E - T), with a conductance g and an equilibrium E at every instant; in each
step that is solved exactly, for E running straight and g at its mean; the steps are chained by a scan, and the outcome
is the next trial. This is Newton's method on the whole trajectory. There is no loop over time.

The water on the face is the clamped sum of what condenses, falls and evaporates. In a step the face gives off no more
water than it holds and gets: the share of it that counts as wet in the step is held over potential evaporation, 1 at
most. So the share goes from 1 to 0 without a jump as a film runs out, heat and water always agree, the film ends at an
instant, and the sweeps do not flip between wet and dry. (Real films break into drops and wet less of the face before
they are gone, and rain brings its own temperature; both are left out.)

A dry face is settled after three or four sweeps, one on which films come and go after ten to twenty, but only there
where they do: a face forgets its temperature within hours. So each trajectory is cut into pieces that are swept side by
side, each from the end the piece before it had last, and a piece that no longer changes is not swept again unless the
one before it does. Few enough pieces are taken at a time that they stay in the processor's cache.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from dryspell.science.balance import LATENT_HEAT_J_KG, HeatBalance
from dryspell.science.bounds import FloatArray
from dryspell.science.recurrence import affine_states, clamp_states

BoolArray = npt.NDArray[np.bool_]
Change = Callable[[npt.NDArray[Any]], npt.NDArray[Any]]
IntArray = npt.NDArray[np.intp]

# Where a sweep changed a dry piece by no more than this, the next would by less than 1e-6 K: the error falls as its
# square, times 0.1 to the kelvin at most.
_SETTLED_K = 2e-3
# Where there is water, it is that of the trial and one sweep behind; and where a film ends or condensation begins, most
# sweeps leave a third of the error of the one before. Where they leave more than a half, it has to be much smaller.
_SETTLED_WET_K, _SETTLED_SLOWLY_K = 1e-4, 2e-6
# How closely a piece starts from the end of the one before. The water is worth as much heat as the kelvins.
_JOINED_K, _JOINED_MM = 1e-5, 1e-7
_MOST_SWEEPS = 30
_SWEEPS_OF_ALL = 3  # never fewer, so that a piece's outcome does not depend on which others are swept beside it
_STEPS_IN_PIECE = 32
_PIECES_AT_A_TIME = 384


@dataclass(frozen=True)
class Anew:
    """Where an instant does not follow from the one before, and what is found there instead; shape (rows, times)."""

    where: BoolArray
    temperature_c: FloatArray
    water_mm: FloatArray

    def each(self, change: Change) -> "Anew":
        """Return all three with the same done to them."""
        return Anew(change(self.where), change(self.temperature_c), change(self.water_mm))


@dataclass(frozen=True)
class Body:
    """What the course of a face takes from what it is made of, as in `Exposure`; shape (rows, 1), or (1, 1) for all."""

    heat_capacity_j_m2_k: FloatArray
    wet_absorbs_mm: FloatArray
    evaporating_share: FloatArray

    def each(self, change: Change) -> "Body":
        """Return all three with the same done to them."""
        return Body(change(self.heat_capacity_j_m2_k), change(self.wet_absorbs_mm), change(self.evaporating_share))


@dataclass(frozen=True)
class Course:
    """What trajectories are made of, without gaps in it; the first axis is the trajectories, the last is time.

    Attributes
    ----------
    balance
        The heat balance; its columns have the shape (rows, times), with 1 in place of either where they are the same
        for all.
    body
        What the faces are made of.
    step_s
        Length of each step, shape (times - 1,). [s]
    rained_mm
        Rain in each step, shape (rows or 1, times - 1); None for none. [mm]
    start_c, start_mm
        Temperature and water at the first instant, shape (rows,). [degC, mm]
    anew
        What begins anew later on; None for nothing.
    """

    balance: HeatBalance
    body: Body
    step_s: FloatArray
    rained_mm: FloatArray | None
    start_c: FloatArray
    start_mm: FloatArray
    anew: Anew | None = None


def settle(course: Course) -> tuple[FloatArray, FloatArray]:
    """Sweep until nothing changes any more; return temperature and water [degC, mm], shape (rows, times)."""
    rows, times = course.start_c.size, course.step_s.size + 1
    temperature, water = np.empty((rows, times)), np.empty((rows, times))
    temperature[:, 0], water[:, 0] = course.start_c, course.start_mm
    long = min(_STEPS_IN_PIECE, times - 1)
    in_row = -(-(times - 1) // max(long, 1))
    # The last piece is filled up with the last instant, again and again.
    instants = np.minimum(np.arange(long + 1)[:, None] + long * np.arange(in_row), times - 1)
    at_a_time = max(_PIECES_AT_A_TIME // max(in_row, 1), 1)
    for first in range(0, rows if times > 1 else 0, at_a_time):
        block = np.s_[first : first + at_a_time]
        for whole, pieces in zip((temperature, water), _settle_block(course, block, instants), strict=True):
            in_order = pieces[1:].reshape(long, in_row, -1).transpose(2, 1, 0)
            whole[block, 1:] = in_order.reshape(in_order.shape[0], -1)[:, : times - 1]
    return temperature, water


@dataclass(frozen=True)
class _Pieces:
    """Pieces of trajectories side by side: shape (instants, pieces), of steps (instants - 1, pieces).

    What is the same at all instants or in all pieces has 1 in place of them.
    """

    balance: HeatBalance
    body: Body
    step_s: FloatArray
    rained_mm: FloatArray | None
    anew: Anew | None

    def taken(self, which: IntArray) -> "_Pieces":
        """Return some of the pieces."""

        def take(part: npt.NDArray[Any]) -> npt.NDArray[Any]:
            return part.take(which, axis=1) if part.shape[1] > 1 else part

        return _Pieces(
            balance=self.balance.each(take),
            body=self.body.each(take),
            step_s=take(self.step_s),
            rained_mm=None if self.rained_mm is None else take(self.rained_mm),
            anew=None if self.anew is None else self.anew.each(take),
        )


def _cut(course: Course, block: slice, instants: IntArray) -> _Pieces:
    """Cut some trajectories into pieces: the first piece of each, the second of each, and so on."""
    rows, steps = course.start_c[block].size, instants[1:] - 1

    def cut(column: npt.NDArray[Any], at: IntArray) -> npt.NDArray[Any]:
        of_rows = column[block] if column.shape[0] > 1 else column
        if column.shape[1] == 1:
            return np.tile(of_rows.T, at.shape[1]) if column.shape[0] > 1 else column
        return np.broadcast_to(np.ascontiguousarray(of_rows.T)[at], (*at.shape, rows)).reshape(at.shape[0], -1)

    return _Pieces(
        balance=course.balance.each(lambda column: cut(column, instants)),
        body=course.body.each(lambda column: cut(column, instants)),
        step_s=cut(course.step_s[None], steps),
        rained_mm=None if course.rained_mm is None else cut(course.rained_mm, steps),
        anew=None if course.anew is None else course.anew.each(lambda column: cut(column, instants[1:])),
    )


def _settle_block(course: Course, block: slice, instants: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return temperature and water of the pieces of some trajectories [degC, mm]."""
    pieces = _cut(course, block, instants)
    rows = course.start_c[block].size  # a piece follows on the one so many places before it
    temperature = np.empty((instants.shape[0], instants.shape[1] * rows))
    temperature[:] = _first_trial(pieces.balance)
    water, change = np.zeros_like(temperature), np.zeros_like(temperature[1:])
    temperature[0, :rows], water[0, :rows] = course.start_c[block], course.start_mm[block]
    active = np.arange(temperature.shape[1])
    before = np.full(temperature.shape[1], np.inf)
    for sweep in range(_MOST_SWEEPS):
        at = np.s_[:] if sweep < _SWEEPS_OF_ALL else active
        swept = pieces if sweep < _SWEEPS_OF_ALL else pieces.taken(active)
        trial = temperature[:, at]
        new, held, wet = _sweep(swept, trial, water[0, at])
        now = new - trial[1:]
        if sweep >= _SWEEPS_OF_ALL:
            # Where a film is about to end, a sweep can overshoot and the next one come back: there the secant through
            # both says how far to go. (The small figures keep it out of rounding, and of what settles without it.)
            last = change[:, at]
            ratio = now * last / (last * last + 1e-12)
            new = trial[1:] + now / (1.0 - np.clip(ratio + 0.1, -1.5, 0.0))
        temperature[1:, at], water[1:, at], change[:, at] = new, held[1:], now

        unsettled = np.zeros(temperature.shape[1], dtype=np.bool_)
        largest = np.maximum(now.max(axis=0), -now.min(axis=0))
        slow = (largest > 0.5 * before[at]) & (largest > _SETTLED_SLOWLY_K)
        unsettled[at] = slow | (largest > np.where(wet, _SETTLED_WET_K, _SETTLED_K))
        before[at] = largest
        unsettled[rows:] |= np.abs(temperature[-1, :-rows] - temperature[0, rows:]) > _JOINED_K
        unsettled[rows:] |= np.abs(water[-1, :-rows] - water[0, rows:]) > _JOINED_MM
        temperature[0, rows:], water[0, rows:] = temperature[-1, :-rows], water[-1, :-rows]
        active = np.flatnonzero(unsettled)
        if active.size == 0 and sweep >= _SWEEPS_OF_ALL - 1:
            break
    return temperature, water


def _first_trial(balance: HeatBalance) -> FloatArray:
    """Return about the temperatures at which a dry face takes up nothing [degC]: one step of Newton from 10 degC."""
    heat, slope = balance.dry(np.full(balance.emissivity.shape, 10.0))
    return 10.0 + heat / slope


def _sweep(pieces: _Pieces, trial_c: FloatArray, start_mm: FloatArray) -> tuple[FloatArray, FloatArray, BoolArray]:
    """Return the trajectory of the balance made linear about a trial, and the water of the trial.

    The temperatures are those after the first instant, [degC]; the water is that at all of them, [mm]. The third is,
    for each piece, whether water lies or comes there, or condensation is about to begin or end.
    """
    # In place where it can be: fresh memory costs more than the arithmetic.
    heat, slope = pieces.balance.dry(trial_c)
    latent, latent_slope = pieces.balance.latent(trial_c)
    evaporating = np.maximum(latent, 0.0)
    condensing = evaporating - latent
    heat += condensing

    kg_per_w = pieces.step_s * (0.5 / LATENT_HEAT_J_KG)
    got = condensing[:-1] + condensing[1:]
    got *= kg_per_w
    if pieces.rained_mm is not None:
        got += pieces.rained_mm
    could_lose = evaporating[:-1] + evaporating[1:]
    could_lose *= kg_per_w
    water = _water(pieces, got - could_lose, start_mm)
    got += water[:-1]
    got /= np.maximum(could_lose, 1e-300, out=could_lose)
    ample = got  # what there is over what could go
    share = np.minimum(ample, 1.0)
    if pieces.body.evaporating_share.any():
        share += (1.0 - share) * pieces.body.evaporating_share
    # What the vapour adds to g. By rights it would jump where condensing begins and where a film runs out, and the
    # sweeps would go to and fro over the jump. The cube keeps it smooth, and settled soonest of the powers tried; the
    # heat itself is not touched.
    slope_share = share * share
    slope_share *= share

    def equilibrium(ends: slice) -> tuple[FloatArray, FloatArray]:
        """Return g and E at one end of each step."""
        conductance = slope_share * latent_slope[ends]
        conductance += slope[ends]
        away = share * evaporating[ends]
        np.subtract(heat[ends], away, out=away)
        away /= conductance
        away += trial_c[ends]
        return conductance, away

    y, term = equilibrium(np.s_[:-1])
    g_1, e_1 = equilibrium(np.s_[1:])
    # T' = (E - T) g/C with E straight from E0 to E1 and y = g dt/C:
    #   T1 = T0 exp(-y) + E0 (m - exp(-y)) + E1 (1 - m),  m = (1 - exp(-y)) / y
    y += g_1
    y *= pieces.step_s * (0.5 / pieces.body.heat_capacity_j_m2_k)
    gone = -np.expm1(-y)
    mean = np.divide(gone, y, out=y)
    factor = np.subtract(1.0, gone, out=gone)
    term *= mean - factor
    e_1 *= np.subtract(1.0, mean, out=mean)
    term += e_1
    if pieces.anew is not None:
        factor = np.where(pieces.anew.where, 0.0, factor)
        term = np.where(pieces.anew.where, pieces.anew.temperature_c, term)
    temperature = affine_states((factor, term), trial_c[0])
    turns = (latent[1:] + latent_slope[1:] * (temperature - trial_c[1:])) * latent[1:] < 0.0
    return temperature, water, np.logical_or(turns, ample > 0.0, out=turns).max(axis=0)


def _water(pieces: _Pieces, net_mm: FloatArray, start_mm: FloatArray) -> FloatArray:
    """Return the water of pieces that would gain so much in each step, could they lose more than they hold [mm]."""
    water = np.zeros((net_mm.shape[0] + 1, net_mm.shape[1]))
    water[0], most_mm = start_mm, pieces.body.wet_absorbs_mm
    if pieces.anew is not None:
        low = np.where(pieces.anew.where, pieces.anew.water_mm, 0.0)
        high = np.where(pieces.anew.where, pieces.anew.water_mm, most_mm)
        water[1:] = clamp_states((net_mm, low, high), start_mm)
    elif start_mm.any() or net_mm.max() > 0.0:
        low, high = np.broadcast_to(0.0, net_mm.shape), np.broadcast_to(most_mm, net_mm.shape)
        water[1:] = clamp_states((net_mm, low, high), start_mm)
    return water
