"""How a film dries: a sum over the temperatures it has met, never a clock.

A data sheet gives for each stage (touch-dry, sandable and so on) the hours at one or more film temperatures.
`fit_stage` turns them into a `StageRate`; `accumulated` sums the rate over time, and the stage is reached where the sum
passes 1, at the `completion_time`.

What multiplies the times beside temperature is in `dryspell.science.factors`. The rules beyond the tabulated
temperatures are common practice, no source, unless marked.

References
----------
.. [1] Equivalent age, ASTM C1074 and the maturity-method literature (the form from abstracts; the standard's text was
   not at hand): t_e = integral of exp(-E/R (1/T - 1/T_r)) dt with the absolute temperature of the film.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from dryspell.science.bounds import FloatArray, within
from dryspell.science.running import RunningSum, TimeArray, running_sum

BelowColdest = Literal["stops", "slows"]
AboveWarmest = Literal["no faster", "faster"]

_GAS_CONSTANT = 8.314  # [J mol-1 K-1]
_KELVIN = 273.15
_COLDEST_C, _HOTTEST_C = -100.0, 150.0

ASSUMED_ENERGY_J_MOL = 45_000.0  # with one time only: about a doubling for 10 K, the common rule
PLAUSIBLE_ENERGY_J_MOL = (20_000.0, 90_000.0)  # outside it two printed times hardly belong together
_COLDER_THAN_POINT_K = 5.0  # how far one printed time is trusted downwards where no lowest temperature is printed
_WARMER_THAN_POINT_K = 12.0  # and upwards
_HALVING_K = 7.0  # a film that only slows in the cold takes twice as long for each of these
_FREEZING_C = 0.0  # and stops here


def _film_temperature(name: str, values: npt.ArrayLike) -> FloatArray:
    return within(name, values, _COLDEST_C, _HOTTEST_C, "degC")


def _arrhenius(energy_j_mol: float, t_c: FloatArray | float, reference_c: float) -> FloatArray:
    """Return how many times faster a reaction runs at a temperature than at the reference [1]."""
    inverse = 1.0 / (np.asarray(t_c, dtype=np.float64) + _KELVIN) - 1.0 / (reference_c + _KELVIN)
    return np.exp(-energy_j_mol / _GAS_CONSTANT * inverse)


@dataclass(frozen=True)
class StageRate:
    """How long a stage takes at any film temperature. Made by `fit_stage`.

    Attributes
    ----------
    temps_c, hours
        The printed points, coldest first. [degC], [h]
    reference_c, reference_h
        A temperature to compare stages at, and the time there: on the curve between the printed points, by the
        activation energy outside them. [degC], [h]
    activation_energy_j_mol
        Apparent activation energy. [J mol-1]
    assumed
        The energy is the common rule, because only one time is printed.
    implausible
        The energy lies outside 20 to 90 kJ/mol: look at the printed times again.
    below_coldest
        What drying does below `lowest_c`: it stops, or slows to half for each 7 K and stops at 0 degC.
    lowest_c
        Down to where the printed times speak: the coldest point, or what was given with a single one. [degC]
    above_warmest
        What becomes of the time in a warmer film than the printed times speak of: it is no shorter, which is careful of
        a least time; or it goes on falling by the activation energy (of 20 kJ/mol at the least), which is careful of a
        greatest one.
    """

    temps_c: tuple[float, ...]
    hours: tuple[float, ...]
    reference_c: float
    reference_h: float
    activation_energy_j_mol: float
    assumed: bool
    implausible: bool
    below_coldest: BelowColdest
    lowest_c: float
    above_warmest: AboveWarmest = "no faster"

    def hours_at(self, t_c: npt.ArrayLike) -> FloatArray:
        """Return the hours the stage takes at a steady film temperature [h]; inf where the film does not dry.

        Between the points the logarithm of the time is linear in temperature. A film warmer than the warmest point
        (than 12 K over a single one) is taken to dry no faster than there, unless `above_warmest` is "faster".

        Parameters
        ----------
        t_c
            Film temperature, any shape. [degC]

        Raises
        ------
        ValueError
            For a temperature outside -100 to 150 degC.
        """
        t = _film_temperature("t_c", t_c)
        if len(self.temps_c) > 1:
            hours = np.exp(np.interp(t, self.temps_c, np.log(self.hours)))
            if self.above_warmest == "faster":
                energy = max(self.activation_energy_j_mol, PLAUSIBLE_ENERGY_J_MOL[0])
                hours = hours / _arrhenius(energy, np.maximum(t, self.temps_c[-1]), self.temps_c[-1])
        else:
            (at_c,), (h,) = self.temps_c, self.hours
            warmest = np.inf if self.above_warmest == "faster" else at_c + _WARMER_THAN_POINT_K
            hours = h / _arrhenius(self.activation_energy_j_mol, np.clip(t, self.lowest_c, warmest), at_c)
        short_k = self.lowest_c - t
        is_cold = np.asarray(short_k > 0.0)
        if not is_cold.any():
            return np.asarray(hours)
        if self.below_coldest == "stops":
            return np.where(is_cold, np.inf, hours)
        # A power costs more than all the rest, and most of the weather is not so cold.
        slowing = np.power(2.0, short_k / _HALVING_K, out=np.ones(is_cold.shape), where=is_cold)
        return np.where(is_cold & (t <= _FREEZING_C), np.inf, hours * slowing)

    def rate_per_h(self, t_c: npt.ArrayLike) -> FloatArray:
        """Return the share of the stage done in an hour at a film temperature [h-1]; 0 where the film does not dry."""
        return 1.0 / self.hours_at(t_c)


def fit_stage(
    temps_c: Sequence[float],
    hours: Sequence[float],
    *,
    below_coldest: BelowColdest = "stops",
    above_warmest: AboveWarmest = "no faster",
    lowest_c: float | None = None,
    reference_c: float = 18.0,
) -> StageRate:
    """Turn the times a data sheet prints for a stage into its rate at any film temperature.

    Two and more points: the curve goes through them, and the activation energy is fitted to them by least squares on
    the logarithm of the time. One point: the energy is assumed, 45 kJ/mol (about a doubling for 10 K), and said so.

    Parameters
    ----------
    temps_c, hours
        Film temperatures and the hours the stage takes there, in any order. [degC], [h]
    below_coldest, above_warmest
        What drying does below and above the printed times; a time that is a greatest one wants "faster" above.
    lowest_c
        With one point: the lowest film temperature the sheet allows, 5 K below the point where it is left out. Two and
        more points speak for themselves. [degC]
    reference_c
        Temperature of `StageRate.reference_h`. [degC]

    Raises
    ------
    ValueError
        Without a point, with times that are not more than nothing, with two times for one temperature, or with a longer
        time at a warmer temperature.
    """
    if not len(temps_c) == len(hours) >= 1:
        raise ValueError(f"temps_c and hours need one value each for a point, got {len(temps_c)} and {len(hours)}")
    points = sorted((float(t), float(h)) for t, h in zip(temps_c, hours, strict=True))
    temps, times = tuple(t for t, _ in points), tuple(h for _, h in points)
    _film_temperature("temps_c", temps)
    if not all(np.isfinite(temps)) or not all(np.isfinite(h) and h > 0.0 for h in times):
        raise ValueError(f"hours need to be more than nothing at known temperatures, got {times} at {temps}")
    for (cold, slow), (warm, fast) in pairwise(points):
        if cold == warm or fast > slow:
            raise ValueError(
                f"hours need to fall as it gets warmer, got {slow:g} at {cold:g} and {fast:g} at {warm:g} degC"
            )

    assumed = len(points) == 1
    energy = ASSUMED_ENERGY_J_MOL
    lowest = temps[0]
    inverse, logarithm = 1.0 / (np.array(temps) + _KELVIN), np.log(times)
    if assumed:
        lowest = min(temps[0], temps[0] - _COLDER_THAN_POINT_K if lowest_c is None else float(lowest_c))
    else:
        spread = inverse - inverse.mean()
        energy = float(_GAS_CONSTANT * (spread @ logarithm) / (spread @ spread))
    if temps[0] <= reference_c <= temps[-1]:
        reference_h = float(np.exp(np.interp(reference_c, temps, logarithm)))
    else:
        # the fitted line goes through the mean of the points
        centre_c = float(1.0 / inverse.mean() - _KELVIN)
        reference_h = float(np.exp(logarithm.mean()) / _arrhenius(energy, reference_c, centre_c))
    return StageRate(
        temps_c=temps,
        hours=times,
        reference_c=reference_c,
        reference_h=reference_h,
        activation_energy_j_mol=energy,
        assumed=assumed,
        implausible=not PLAUSIBLE_ENERGY_J_MOL[0] <= energy <= PLAUSIBLE_ENERGY_J_MOL[1],
        below_coldest=below_coldest,
        lowest_c=lowest,
        above_warmest=above_warmest,
    )


def accumulated(times_utc: npt.ArrayLike, rate_per_h: npt.ArrayLike) -> FloatArray:
    """Return how much of a stage is done at each instant, 0 at the first, by the trapezoid.

    The steps are added one after the other, so that a plain loop comes to the identical float. After an unknown rate
    the sum is unknown.

    Parameters
    ----------
    times_utc
        Instants in UTC, strictly ascending, shape (times,).
    rate_per_h
        From `StageRate.rate_per_h`, over the factors that slow it, shape (..., times). [h-1]

    Raises
    ------
    ValueError
        For instants that do not ascend, a rate of another length or one below 0.
    """
    return running_sum(times_utc, rate_per_h)


def gained(start: npt.ArrayLike, end: npt.ArrayLike, times_utc: npt.ArrayLike, rate_per_h: npt.ArrayLike) -> FloatArray:
    """Return how much of a stage is done between two instants, wherever they lie on the axis.

    NaN where either is NaT or not within the axis, where the end is before the start, and where a rate between them is
    unknown. Shapes and errors as for `completion_time`; start and end broadcast against each other.
    """
    return RunningSum(times_utc, rate_per_h).between(start, end)


def completion_time(
    start: npt.ArrayLike, times_utc: npt.ArrayLike, rate_per_h: npt.ArrayLike, *, needed: npt.ArrayLike = 1.0
) -> TimeArray:
    """Return the instants at which the sum of the rate from each start on passes what is needed.

    Inside a step of the axis the sum grows evenly. The instant is rounded up to the full second; the sum may be short
    by 1e-9 for rounding. NaT where that is not within the axis, where the start is not, and where a rate on the way is
    unknown (before the start or after completion it does no harm). Where nothing is needed the start is given back.

    Parameters
    ----------
    start
        Instants in UTC from which to sum, datetime64. With rates of shape (times,) any shape, and the result has it.
        With rates of shape (members, times) one instant or (starts,), the same for every member, or (members, starts);
        the result is then (members,) or (members, starts).
    times_utc
        Instants in UTC, strictly ascending, shape (times,).
    rate_per_h
        From `StageRate.rate_per_h`, over the factors that slow it, shape (times,) or (members, times). [h-1]
    needed
        How much has to be done, 1 for the whole stage; broadcast against the result. What was done before the start, at
        another rate say, is taken off here. [1]

    Raises
    ------
    ValueError
        For instants that do not ascend, a rate of another length or one below 0, or starts of another shape.
    """
    return RunningSum(times_utc, rate_per_h).passes(start, needed)


def equivalent_age(
    times_utc: npt.ArrayLike, temps_c: npt.ArrayLike, activation_energy: float, reference_c: float
) -> FloatArray:
    """Return the hours at the reference temperature that would have brought a film as far [h], cumulative [1]_.

    Parameters
    ----------
    times_utc
        Instants in UTC, strictly ascending, shape (times,).
    temps_c
        Temperature of the film (not of the air), shape (times,) or (members, times). Hourly or finer: a daily mean
        comes out too young. [degC]
    activation_energy
        Apparent activation energy. [J mol-1]
    reference_c
        Reference temperature. [degC]

    Raises
    ------
    ValueError
        For instants that do not ascend, or a temperature outside -100 to 150 degC.
    """
    return running_sum(times_utc, _arrhenius(activation_energy, _film_temperature("temps_c", temps_c), reference_c))
