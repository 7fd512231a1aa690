"""How far a film has come: stages as running sums over the surface temperature it has met.

For each stage the part of it that is done in an hour is one over the time it would take at that temperature, slowed by
the air over it; the stage is reached when the parts sum to one, or to more where the film itself is slow. Damp air
slows the early, wet phase. Once the film is dew-safe its effect on the later stages is capped, or damp nights would
count twice: they are cold already.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from dryspell.outlook.conditions import STANDARD_PRESSURE_HPA, Conditions
from dryspell.outlook.slowing import NOTHING, Slowing
from dryspell.science import air, cure, factors
from dryspell.science.middle import middle
from dryspell.science.running import RunningSum
from dryspell.trade.coating import Coating, StageName
from dryspell.trade.factors import DRY_AIR_PCT, STILL_AIR_M_S
from dryspell.weather.table import FloatArray, TimeArray

Phase = Literal["early", "late", "window"]

_LONGEST: tuple[StageName, ...] = ("overcoat_max", "hot_close")
"""Stages that are a time to be within, not one to wait for: a film warmer than tabulated reaches them sooner still."""


class DryingClock:
    """Running sums of every stage over one piece's conditions; an hour of unknown weather adds nothing.

    Parameters
    ----------
    slowing
        What slows the films beside the weather.
    """

    def __init__(self, conditions: Conditions, coating: Coating, slowing: Slowing = NOTHING) -> None:
        self.coating = coating
        self.slowing = slowing
        self._c = conditions
        self._sums: dict[tuple[StageName, Phase], RunningSum] = {}
        self._speeds: dict[Phase, FloatArray] = {}
        self._rates: dict[StageName, FloatArray] = {}

    @property
    def times(self) -> TimeArray:
        """The axis, shape (times,)."""
        return self._c.times

    def slowed(self, slowing: Slowing) -> "DryingClock":
        """Return the clock of films that something else slows; the sums are the same where the air is as still."""
        clock = DryingClock(self._c, self.coating, slowing)
        clock._rates = self._rates
        if slowing.in_still_air == self.slowing.in_still_air:
            clock._sums, clock._speeds = self._sums, self._speeds
        return clock

    def sum(self, stage: StageName, phase: Phase) -> RunningSum:
        """Return the running sum of a stage, made once."""
        # Not functools.cache on a method: that ties the clock into a ring, and its arrays wait for the collector.
        if (stage, phase) not in self._sums:
            self._sums[stage, phase] = self._sum(stage, phase)
        return self._sums[stage, phase]

    def of_films(self, laid: TimeArray) -> "Reached":
        """Return when films reach their stages.

        Parameters
        ----------
        laid
            Instants of the last stroke, shape (films,); a film that is laid off the axis reaches nothing.
        """
        return Reached(self, laid)

    def progress(self, laid: np.datetime64, at: np.datetime64) -> float:
        """Return how far a film has come on the way to sandable, 1 when it is there (the member in the middle)."""
        return float(middle(self._done(laid, at)))

    def going(self, laid: np.datetime64, at: np.datetime64, until: np.datetime64) -> "Going":
        """Return how a film goes on between two instants that no other of the axis lies between."""
        taken_s, many = (until - at) / np.timedelta64(1, "s"), self.slowing.of_films(np.array([laid]), late=True)[:, 0]
        early, late = (self.sum("sandable", phase).between(np.array([at]), until)[:, 0] for phase in ("early", "late"))
        dew_safe = self.of_films(np.array([laid])).dew_safe[:, 0]
        return Going(at, self._done(laid, at), early / taken_s / many, late / taken_s / many, dew_safe)

    def _done(self, laid: np.datetime64, at: np.datetime64) -> FloatArray:
        """Return how far a film has come on the way to sandable by member, shape (members,)."""
        films = np.array([laid])
        turn = self.of_films(films).dew_safe
        turn = np.where(np.isnat(turn) | (turn > at), at, turn)
        early, late = self.sum("sandable", "early"), self.sum("sandable", "late")
        done: FloatArray = early.between(films, turn) + late.between(turn, at)
        return (done / self.slowing.of_films(films, late=True))[:, 0]

    def _sum(self, stage: StageName, phase: Phase) -> RunningSum:
        if stage not in self._rates:
            self._rates[stage] = stage_rate(self.coating, stage, self._c.surface_c)
        if phase not in self._speeds:
            self._speeds[phase] = self._speed(phase)
        rate = self._rates[stage] * self._speeds[phase]
        np.copyto(rate, 0.0, where=~np.isfinite(rate))
        return RunningSum(self._c.times, rate)

    def _speed(self, phase: Phase) -> FloatArray:
        """Return how fast films dry for the air over them, as a share of the printed speed."""
        c, of = self._c, self.coating.factors
        is_still = (c.wind_m_s < STILL_AIR_M_S) | self.slowing.in_still_air
        is_dry = (c.humidity_pct < DRY_AIR_PCT) & (self.coating.cures_by == "coalescence")
        still, dry = (of.still_window, of.dry_window) if phase == "window" else (of.still_air, of.dry_air)
        slow: FloatArray = np.where(is_still, still, 1.0) * np.where(is_dry, dry, 1.0)
        if phase == "window":
            return 1.0 / slow
        if self.coating.cures_by == "moisture":
            vapour = air.saturation_vapour_pressure(c.dew_point_c)
            # At sea level: thinner air holds more vapour to the kilogram, so a film high up is no slower than this.
            ratio = air.mixing_ratio_g_kg(vapour, STANDARD_PRESSURE_HPA)
            return factors.moisture_factor(ratio, full_g_kg=of.moisture_g_kg) / slow
        if not self.coating.humidity_slows:
            return 1.0 / slow
        if phase == "early" and self.coating.cures_by == "coalescence":
            return factors.evaporation_factor(c.surface_c, c.dew_point_c, full_at_pct=of.evaporation_pct) / slow
        damp = factors.humidity_factor(c.humidity_pct, of.damp)
        return 1.0 / (slow * (np.minimum(damp, of.damp_late) if phase == "late" else damp))


@dataclass(frozen=True)
class Going:
    """How a film goes on from an instant to the next one of the axis; arrays have the shape (members,).

    Attributes
    ----------
    done
        How far it has come by then on the way to sandable.
    early_per_s, late_per_s
        What a second adds before and after it is dew-safe.
    dew_safe
        When that is; NaT is never.
    """

    since: np.datetime64
    done: FloatArray
    early_per_s: FloatArray
    late_per_s: FloatArray
    dew_safe: TimeArray

    def progress(self, at: np.datetime64) -> float:
        """Return how far it has come at a later instant, as `DryingClock.progress` does."""
        turn: TimeArray = np.where(
            np.isnat(self.dew_safe) | (self.dew_safe > at), at, np.maximum(self.dew_safe, self.since)
        )
        second = np.timedelta64(1, "s")
        early_s, late_s = (turn - self.since) / second, (at - turn) / second
        return float(middle(self.done + early_s * self.early_per_s + late_s * self.late_per_s))


class Reached:
    """When films reach their stages, datetime64[s] of shape (members, films), worked out when asked for.

    NaT is later than the axis reaches, or a stage the coating has not.
    """

    def __init__(self, clock: DryingClock, laid: TimeArray) -> None:
        self._clock = clock
        self.laid = laid
        self._early_needed = clock.slowing.of_films(laid, late=False)
        self._late_needed = clock.slowing.of_films(laid, late=True)

    @cached_property
    def touch_dry(self) -> TimeArray:
        """It takes no dust and no print of a finger."""
        return self._early("touch_dry")

    # Where a data sheet gives a slower touch-dry than ours and is silent on the rest, the rest cannot come before.
    @cached_property
    def dew_safe(self) -> TimeArray:
        """Dew no longer marks it."""
        return np.maximum(self._early("dew_safe"), self.touch_dry)

    @cached_property
    def rain_safe(self) -> TimeArray:
        """A shower no longer marks it."""
        return np.maximum(self._early("rain_safe"), self.dew_safe)

    @cached_property
    def sandable(self) -> TimeArray:
        """It is hard right through."""
        return self._late("sandable")

    @cached_property
    def recoat(self) -> TimeArray:
        """The next coat may go on."""
        return self._late("recoat")

    @cached_property
    def overcoat_max(self) -> TimeArray:
        """From now on it is sanded before it is coated."""
        return self._longest("overcoat_max")

    @cached_property
    def hot_open(self) -> TimeArray:
        """A coat on the soft film may begin."""
        return self._late("hot_open")

    @cached_property
    def hot_close(self) -> TimeArray:
        """A coat on the soft film must be on."""
        return self._longest("hot_close")

    @cached_property
    def in_service(self) -> TimeArray:
        """It may be touched, loaded and covered."""
        return np.maximum(self._late("in_service"), self.sandable)

    @cached_property
    def full_cure(self) -> TimeArray:
        """It has all its hardness."""
        before = self.sandable if self._clock.coating.in_service is None else self.in_service
        return np.maximum(self._late("full_cure"), before)

    def _early(self, stage: StageName) -> TimeArray:
        return self._clock.sum(stage, "early").passes(self.laid, self._early_needed)

    def _late(self, stage: StageName) -> TimeArray:
        early, late = self._clock.sum(stage, "early"), self._clock.sum(stage, "late")
        rest = self._late_needed - early.between(self.laid, self.dew_safe)
        # A stage that is over before the film is dew-safe keeps to the early sum.
        reached = late.passes(self.dew_safe, np.maximum(rest, 0.0))
        over = ~(rest > 0.0)
        # That of few films, so that the rest are not asked.
        if (films := np.flatnonzero(over.any(axis=0))).size:
            before = early.passes(self.laid[films], self._late_needed[:, films])
            reached[:, films] = np.where(over[:, films], before, reached[:, films])
        return reached

    def _longest(self, stage: StageName) -> TimeArray:
        return self._clock.sum(stage, "window").passes(self.laid, 1.0)


def stage_rate(coating: Coating, stage: StageName, surface_c: FloatArray) -> FloatArray:
    """Return the part of a stage that is done in an hour at each surface temperature [1/h]; NaN in gives NaN out."""
    points = coating.stage(stage)
    if points is None:
        return np.zeros_like(surface_c)
    rate = cure.fit_stage(
        [t for t, _ in points],
        [h for _, h in points],
        below_coldest=coating.below_coldest,
        above_warmest="faster" if stage in _LONGEST else "no faster",
        lowest_c=coating.surface_c[0] if len(points) == 1 else None,
    )
    return rate.rate_per_h(surface_c)
