"""How far a film has come: stages as running sums over the surface temperature it has met.

For each stage the part of it that is done in an hour is one over the time it would take at that temperature, slowed by
damp air; the stage is reached when the parts sum to one. Damp air slows the early, wet phase. Once the film is
dew-safe its effect on the later stages is capped, or damp nights would count twice: they are cold already.
"""

from dataclasses import dataclass
from typing import cast

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.science import cure
from dryspell.science.running import RunningSum
from dryspell.trade.coating import Coating, StageName
from dryspell.weather.table import FloatArray, TimeArray

LATE_HUMIDITY_CAP = 1.25
"""Most that damp air may lengthen the stages after dew-safe (common practice, no source)."""

_EARLY: tuple[StageName, ...] = ("touch_dry", "dew_safe", "rain_safe")
_LATE: tuple[StageName, ...] = ("sandable", "recoat")


@dataclass(frozen=True)
class Reached:
    """When films reach their stages, datetime64[s] of shape (members, films); NaT is later than the axis reaches."""

    touch_dry: TimeArray
    dew_safe: TimeArray
    rain_safe: TimeArray
    sandable: TimeArray
    recoat: TimeArray
    overcoat_max: TimeArray


class DryingClock:
    """Running sums of every stage over one piece's conditions; an hour of unknown weather adds nothing.

    Parameters
    ----------
    wet_film_um
        The wet film as laid, 0 where it is not known: a thicker one than the coating's full coat takes longer.
    """

    def __init__(self, conditions: Conditions, coating: Coating, wet_film_um: float = 0.0) -> None:
        damp = cure.humidity_factor(conditions.humidity_pct) if coating.humidity_slows else 1.0
        is_told = bool(wet_film_um and coating.wet_film_um)
        thick = cure.film_thickness_factor(wet_film_um, coating.wet_film_um) if is_told else 1.0

        def total(stage: StageName, slowed: FloatArray | float) -> RunningSum:
            rate = stage_rate(coating, stage, conditions.surface_c) / (slowed * thick)
            return RunningSum(conditions.times, np.where(np.isfinite(rate), rate, 0.0))

        self._members = conditions.air_c.shape[0]
        self._sums = {stage: total(stage, damp) for stage in (*_EARLY, *_LATE)}
        self._late = {stage: total(stage, np.minimum(damp, LATE_HUMIDITY_CAP)) for stage in _LATE}
        # Common practice gives damp air no part in the overcoat window.
        self._sums["overcoat_max"] = total("overcoat_max", 1.0)

    def of_films(self, laid: TimeArray) -> Reached:
        """Return when films reach their stages.

        Parameters
        ----------
        laid
            Instants of the last stroke, shape (films,); a film that is laid off the axis reaches nothing.
        """
        touch_dry, dew_safe, rain_safe, overcoat_max = (
            self._sums[stage].passes(laid, 1.0) for stage in (*_EARLY, "overcoat_max")
        )
        # Where a data sheet gives a slower touch-dry than ours and is silent on the rest, the rest cannot come before.
        dew_safe = np.maximum(dew_safe, touch_dry)
        rain_safe = np.maximum(rain_safe, dew_safe)
        late = {stage: self._reached_late(stage, laid, dew_safe) for stage in _LATE}
        return Reached(touch_dry, dew_safe, rain_safe, late["sandable"], late["recoat"], overcoat_max)

    def share_done(self, laid: np.datetime64, at: np.datetime64) -> float:
        """Return the part of the way to sandable that a film has come (the member in the middle)."""
        turn = self.of_films(np.array([laid])).dew_safe
        turn = np.where(np.isnat(turn) | (turn > at), at, turn)
        done = self._sums["sandable"].between(np.array([laid]), turn) + self._late["sandable"].between(turn, at)
        return float(np.clip(np.median(done), 0.0, 1.0))

    def _reached_late(self, stage: StageName, laid: TimeArray, dew_safe: TimeArray) -> TimeArray:
        rest = 1.0 - self._sums[stage].between(laid, dew_safe)
        late = self._late[stage].passes(dew_safe, np.maximum(rest, 0.0))
        # A stage that is over before the film is dew-safe keeps to the early sum.
        return cast("TimeArray", np.where(rest > 0.0, late, self._sums[stage].passes(laid, 1.0)))


def stage_rate(coating: Coating, stage: StageName, surface_c: FloatArray) -> FloatArray:
    """Return the part of a stage that is done in an hour at each surface temperature [1/h]; NaN in gives NaN out."""
    points = coating.stage(stage)
    if points is None:
        return np.zeros_like(surface_c)
    rate = cure.fit_stage(
        [t for t, _ in points],
        [h for _, h in points],
        below_coldest=coating.below_coldest,
        lowest_c=coating.surface_c[0] if len(points) == 1 else None,
    )
    return rate.rate_per_h(surface_c)
