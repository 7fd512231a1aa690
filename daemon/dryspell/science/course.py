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

from collections.abc import Callable, Sequence
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
    if course.step_s.size == 0:
        return course.start_c[:, None].copy(), course.start_mm[:, None].copy()
    cut = _Cut(course)
    at_a_time = max(_PIECES_AT_A_TIME // cut.in_row, 1)
    blocks = [range(first, min(first + at_a_time, cut.rows)) for first in range(0, cut.rows, at_a_time)]
    trial = _Trial.side_by_side([_swept_all(cut, np.array(block)) for block in blocks])
    for _ in range(_SWEEPS_OF_ALL, _MOST_SWEEPS):
        active = np.flatnonzero(trial.unsettled)
        if active.size == 0:
            break
        for some in np.split(active, range(_PIECES_AT_A_TIME, active.size, _PIECES_AT_A_TIME)):
            trial.sweep(cut.pieces(some), some, overshoots=True)
        trial.join()
    return cut.in_order(trial.temperature_c), cut.in_order(trial.water_mm)


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


class _Cut:
    """Trajectories cut into pieces, which go by number: the first piece of each, the second of each, and so on."""

    def __init__(self, course: Course) -> None:
        self.course, self.rows, steps = course, course.start_c.size, course.step_s.size
        long = min(_STEPS_IN_PIECE, steps)
        self.in_row = -(-steps // long)
        # The last piece is filled up with the last instant, again and again.
        self._instants = np.minimum(np.arange(long + 1)[:, None] + long * np.arange(self.in_row), steps)

    def numbers(self, rows: IntArray) -> IntArray:
        """Return the pieces of some trajectories."""
        return (np.arange(self.in_row)[:, None] * self.rows + rows).reshape(-1)

    def pieces(self, which: IntArray) -> _Pieces:
        """Return pieces side by side."""
        piece, row = np.divmod(which, self.rows)
        instants = self._instants.take(piece, axis=1)
        steps, course = instants[1:] - 1, self.course

        def take(column: npt.NDArray[Any], at: IntArray) -> npt.NDArray[Any]:
            many, times = column.shape
            if times == 1:
                return column[:, 0].take(row)[None] if many > 1 else column
            return column.reshape(-1).take(at + row * times if many > 1 else at)

        return _Pieces(
            balance=course.balance.each(lambda column: take(column, instants)),
            body=course.body.each(lambda column: take(column, instants)),
            step_s=take(course.step_s[None], steps),
            rained_mm=None if course.rained_mm is None else take(course.rained_mm, steps),
            anew=None if course.anew is None else course.anew.each(lambda column: take(column, instants[1:])),
        )

    def in_order(self, pieces: FloatArray) -> FloatArray:
        """Return what all pieces hold, shape (instants, pieces), as (rows, times)."""
        whole = np.empty((self.rows, self.course.step_s.size + 1))
        whole[:, 0] = pieces[0, : self.rows]
        in_order = pieces[1:].reshape(-1, self.in_row, self.rows).transpose(2, 1, 0)
        whole[:, 1:] = in_order.reshape(self.rows, -1)[:, : whole.shape[1] - 1]
        return whole


@dataclass(frozen=True)
class _Trial:
    """Trajectories as far as they are settled; shape (instants, pieces), each piece `rows` after the one before it.

    Attributes
    ----------
    change_k, largest_k
        What the last sweep changed: after each step, and at the most in a piece.
    unsettled
        Which pieces are to be swept again.
    """

    rows: int
    temperature_c: FloatArray
    water_mm: FloatArray
    change_k: FloatArray
    largest_k: FloatArray
    unsettled: BoolArray

    @classmethod
    def side_by_side(cls, parts: Sequence["_Trial"]) -> "_Trial":
        """Return the trajectories of all parts as one."""
        rows = [part.rows for part in parts]

        def beside(name: str) -> npt.NDArray[Any]:
            each = [getattr(part, name) for part in parts]
            of_rows = [part.reshape(*part.shape[:-1], -1, n) for part, n in zip(each, rows, strict=True)]
            return np.concatenate(of_rows, axis=-1).reshape(*each[0].shape[:-1], -1)

        names = ("temperature_c", "water_mm", "change_k", "largest_k", "unsettled")
        return parts[0] if len(parts) == 1 else cls(sum(rows), *(beside(name) for name in names))

    def sweep(self, pieces: _Pieces, at: IntArray | slice, *, overshoots: bool) -> None:
        """Sweep some of the pieces, and note which of them are not settled by that."""
        trial = self.temperature_c[:, at]
        new, held, wet = _sweep(pieces, trial, self.water_mm[0, at])
        now = new - trial[1:]
        if overshoots:
            # Where a film is about to end, a sweep can overshoot and the next one come back: there the secant through
            # both says how far to go. (The small figures keep it out of rounding, and of what settles without it.)
            last = self.change_k[:, at]
            ratio = now * last / (last * last + 1e-12)
            new = trial[1:] + now / (1.0 - np.clip(ratio + 0.1, -1.5, 0.0))
        self.temperature_c[1:, at], self.water_mm[1:, at], self.change_k[:, at] = new, held[1:], now
        largest = np.maximum(now.max(axis=0), -now.min(axis=0))
        slow = (largest > 0.5 * self.largest_k[at]) & (largest > _SETTLED_SLOWLY_K)
        self.unsettled[at] = slow | (largest > np.where(wet, _SETTLED_WET_K, _SETTLED_K))
        self.largest_k[at] = largest

    def join(self) -> None:
        """Begin each piece where the one before it has ended; one that begins elsewhere by that is not settled."""
        for held, apart in ((self.temperature_c, _JOINED_K), (self.water_mm, _JOINED_MM)):
            begins, ended = held[0, self.rows :], held[-1, : -self.rows]
            self.unsettled[self.rows :] |= np.abs(ended - begins) > apart
            begins[:] = ended


def _swept_all(cut: _Cut, rows: IntArray) -> _Trial:
    """Return some trajectories when all of their pieces have been swept as often as any is."""
    pieces, course = cut.pieces(cut.numbers(rows)), cut.course
    temperature = np.empty((pieces.step_s.shape[0] + 1, cut.in_row * rows.size))
    temperature[:] = _first_trial(pieces.balance)
    water, change = np.zeros_like(temperature), np.zeros_like(temperature[1:])
    temperature[0, : rows.size], water[0, : rows.size] = course.start_c[rows], course.start_mm[rows]
    largest, unsettled = np.full(temperature.shape[1], np.inf), np.zeros(temperature.shape[1], dtype=np.bool_)
    trial = _Trial(rows.size, temperature, water, change, largest, unsettled)
    for _ in range(_SWEEPS_OF_ALL):
        trial.sweep(pieces, np.s_[:], overshoots=False)
        trial.join()
    return trial


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
