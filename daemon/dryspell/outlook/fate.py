"""What became of a coat in weather that has been: judged by what spoils a film, not by what a verdict asks.

A verdict keeps a margin to what spoils a film, looks at the hands and the habits of a finisher, and goes by a forecast.
Here the weather is known, and the film alone is asked:

- dew: the surface is no warmer than the dew point before the film is dew-safe, or is wet as the brush touches it;
- rain: as much as the coating's figure falls before the film is rain-safe;
- cold: the film gets colder than the coating's figure before it is sandable, in its first 24 h;
- heat: the sun warms it over the air, or the surface gets hotter, by more than its figures before it is touch-dry.

What comes first is what it was spoiled by. Where the weather is not known, and nothing known has spoiled it before, its
fate is not known either.
"""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import COLD_SPAN_H, NEVER, ROUNDING, SOME_RAIN_MM, wet
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.weather.table import TimeArray


class Fate(StrEnum):
    """What became of a coat."""

    GOOD = "good"
    RAIN = "rain"
    DEW = "dew"
    COLD = "cold"
    HEAT = "heat"
    UNKNOWN = "unknown"

    @property
    def spoiled(self) -> bool:
        """Whether it has to be sanded off."""
        return self in SPOILERS


SPOILERS = (Fate.RAIN, Fate.DEW, Fate.COLD, Fate.HEAT)
"""In the order in which one is named of several that come at once."""


@dataclass(frozen=True)
class Fates:
    """The fates of coats, one for each start; of several members the worst counts.

    Attributes
    ----------
    spoiled_at
        By what may spoil them: the index of the grid at which it does, NEVER where it does not, shape (starts,).
    known
        Whether all the weather is known until nothing can spoil them any more, shape (starts,).
    """

    spoiled_at: dict[Fate, IndexArray]
    known: BoolArray

    @property
    def good(self) -> BoolArray:
        """Which are known not to be spoiled."""
        never = np.logical_and.reduce([at == NEVER for at in self.spoiled_at.values()])
        return np.asarray(self.known & never)

    def of(self, k: int) -> Fate:
        """Return the fate of the k-th."""
        at = {fate: int(self.spoiled_at[fate][k]) for fate in SPOILERS}
        first = min(SPOILERS, key=lambda fate: at[fate])
        if at[first] == NEVER:
            return Fate.GOOD if self.known[k] else Fate.UNKNOWN
        return first


def fates(c: Conditions, clock: DryingClock, starts: IndexArray, brush_steps: int) -> Fates:
    """Return what becomes of coats begun at some starts.

    Parameters
    ----------
    c
        The weather as it was.
    clock
        Of the coating over it, with what slows these films.
    starts
        Indices of the grid, shape (starts,).
    brush_steps
        Steps of the grid from the first stroke to the last.
    """
    size = c.times.size
    first = starts[None]
    stroke = np.minimum(starts + brush_steps, size - 1)
    laid = c.times[stroke]
    reached = clock.of_films(laid)
    a_day = stroke + round(COLD_SPAN_H * 3600 / c.step_s)

    def end(instants: TimeArray) -> IndexArray:
        """Return the last index of the grid before a stage is reached."""
        steps = (instants - c.times[0]) / np.timedelta64(c.step_s, "s")
        return np.where(np.isnat(instants), NEVER, np.ceil(steps - ROUNDING) - 1).astype(np.int64)

    touch_dry, dew_safe, rain_safe = (end(at) for at in (reached.touch_dry, reached.dew_safe, reached.rain_safe))
    cold = np.minimum(end(reached.sandable), a_day)
    coating = clock.coating
    hot = (c.surface_c - c.air_c > coating.sun_excess_k) | (c.surface_c > coating.surface_c[1])
    at_brush = np.take_along_axis(_next(wet(c)), np.broadcast_to(first, touch_dry.shape), axis=1)
    found = {
        Fate.RAIN: _rained(c, coating.rain_max_mm, first, rain_safe),
        # Rain that falls on the film is not dew, whatever lies on it then.
        Fate.DEW: np.minimum(_met(c.margin_k <= 0.0, first, dew_safe), np.where(at_brush == first, at_brush, NEVER)),
        Fate.COLD: _met(c.surface_c < coating.film_low_c, first, cold),
        Fate.HEAT: _met(hot, first, touch_dry),
    }
    needed = np.max([touch_dry, dew_safe, rain_safe, cold], axis=0)
    hole = _next(~c.known)
    known = (needed < size) & (np.take_along_axis(hole, np.broadcast_to(first, needed.shape), axis=1) > needed)
    unknown_at = np.where(known, NEVER, np.take_along_axis(hole, np.broadcast_to(first, needed.shape), axis=1))
    return Fates(
        # What comes after a hole may have been forestalled by what was in it: only the first counts.
        {fate: np.where(at < unknown_at, at, NEVER).min(axis=0) for fate, at in found.items()},
        known.all(axis=0),
    )


def _next(happens: BoolArray) -> IndexArray:
    """Return, for each index of the grid, the first one from it on at which something happens; NEVER for none."""
    at = np.where(happens, np.arange(happens.shape[1]), NEVER)
    return np.minimum.accumulate(at[:, ::-1], axis=1)[:, ::-1]


def _met(happens: BoolArray, first: IndexArray, last: IndexArray) -> IndexArray:
    """Return the first index from `first` to `last` at which something happens, NEVER for none."""
    at = np.take_along_axis(_next(happens), np.broadcast_to(first, last.shape), axis=1)
    return np.where(at <= last, at, NEVER)


def _rained(c: Conditions, most_mm: float, first: IndexArray, last: IndexArray) -> IndexArray:
    """Return when the rain begins that comes to `most_mm` from one index to another, NEVER where it does not."""
    rain = np.where(np.isfinite(c.rain_mm), c.rain_mm, 0.0)
    fallen = np.cumsum(rain, axis=1)
    first = np.broadcast_to(first, last.shape)
    until = np.minimum(last + 1, c.times.size - 1)  # the cell in which the film gets rain-safe counts whole
    total = np.take_along_axis(fallen, until, axis=1) - np.take_along_axis(fallen, first, axis=1)
    begins = np.take_along_axis(_next(rain > 0.0), np.minimum(first + 1, c.times.size - 1), axis=1)
    return np.where(total >= max(most_mm - ROUNDING, SOME_RAIN_MM), begins, NEVER)
