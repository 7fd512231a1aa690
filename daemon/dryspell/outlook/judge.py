"""Every start of the next coat against every limit of the coating, all starts at once.

A start stands for a coat brushed from it without a break. It is judged over spans that begin with it: while brushing,
until the last stroke is touch-dry, dew-safe, rain-safe, and until it is sandable. Two dew rulings are kept apart: a
margin to apply and a smaller one to hold.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.model import Limit
from dryspell.outlook.spans import BoolArray, IndexArray, Sliding, Spans
from dryspell.outlook.start_spans import COLD_SPAN_H, NEVER, ROUNDING, Asked, StartSpans
from dryspell.trade.coating import Coating
from dryspell.weather.table import FloatArray

__all__ = [
    "COLD_SPAN_H",
    "NEVER",
    "NOMINAL",
    "ONE_DEGREE",
    "ROUNDING",
    "SLOWER",
    "Asked",
    "Ruling",
    "Strictness",
    "judge",
    "spans_of",
    "wet",
]

WET_MEMORY_H = 12.0
"""Dew or rain within this time before a start calls for the wait after it has gone."""
WET_MM = 0.005
"""Less water than this, a two-hundredth of a millimetre, is a dry surface."""
SOME_RAIN_MM = 1e-6

# How far from a limit counts as one step away from it, to compare limits of different kinds.
_SCALE = {"K": 1.0, "degC": 1.0, "%": 5.0, "m/s": 1.0, "mm": 0.2, "h": 1.0, "": 1.0}
_RAINS = (Limit.RAIN, Limit.RAIN_CHANCE)


@dataclass(frozen=True)
class Strictness:
    """How much worse than forecast it may turn out: slower drying (share of the time) and degrees."""

    reserve: float = 0.0
    guard_k: float = 0.0


NOMINAL = Strictness()
SLOWER = Strictness(reserve=0.2)
ONE_DEGREE = Strictness(guard_k=1.0)


@dataclass(frozen=True)
class Ruling:
    """What one limit says of all starts; arrays have shape (members, starts).

    The span it looks at runs from index `first` to `last`. A limit with a number has `value`, the worst met in the
    span, `bound`, what that is held against, and `series`, what it was taken from; `most` says that the worst is the
    greatest.
    """

    limit: Limit
    passes: BoolArray
    first: IndexArray
    last: IndexArray
    unit: str = ""
    value: FloatArray | None = None
    bound: float | None = None
    series: FloatArray | None = None
    most: bool = False

    @cached_property
    def slack(self) -> FloatArray | None:
        """How far the worst is on the right side of the bound (negative: wrong side)."""
        if self.value is None or self.bound is None:
            return None
        return self.bound - self.value if self.most else self.value - self.bound

    @property
    def steps_away(self) -> FloatArray | None:
        """The slack in comparable steps; no rain at all is no limit to be near to."""
        if self.slack is None or self.value is None:
            return None
        steps = self.slack / _SCALE[self.unit]
        return np.where(self.value == 0.0, np.inf, steps) if self.limit in _RAINS else steps


def spans_of(c: Conditions, clock: DryingClock, starts: IndexArray, asked: Asked) -> StartSpans:
    """Return the spans that coats begun at some starts are judged over, under whatever strictness."""
    laid = c.times[np.minimum(starts + asked.brush_steps, c.times.size - 1)]
    return StartSpans(c, clock.of_films(laid), starts, asked)


def judge(
    c: Conditions,
    clock: DryingClock,
    coating: Coating,
    starts: IndexArray,
    asked: Asked,
    strictness: Strictness,
    spans: StartSpans | None = None,
) -> list[Ruling]:
    """Judge every start by every limit, in the order in which a failing one is named first.

    Parameters
    ----------
    starts
        Indices into the grid, shape (starts,).
    spans
        `spans_of` these starts, where they are judged more than once; None to work them out.
    """
    spans = spans or spans_of(c, clock, starts, asked)
    guard, start = strictness.guard_k, spans.start
    brushing, ends = spans.around(0, asked.brush_steps), spans.ends(strictness.reserve)
    stroke = spans.of_each(brushing.last)
    known, _ = spans.worst("known", lambda: c.known.astype(np.float64), ends.whole, most=False)
    clear_of_cover = np.ones_like(c.in_hours) if c.under_cover is None else ~c.under_cover

    def stays(limit: Limit, unit: str, name: str, bound: float, over: Spans | Sliding, *, most: bool = False) -> Ruling:
        """Test that a series stays at or above a bound (or at or below, for `most`) to the end of a span.

        What is not known breaks no limit: whether all is known is a limit of its own.
        """
        value, series = spans.worst(name, lambda: _harmless(_SERIES[name](c), most=most), over, most=most)
        passes = value <= bound if most else value >= bound
        first, last = spans.of_each(over.first), spans.of_each(over.last)
        return Ruling(limit, passes, first, last, unit, value, bound, series, most)

    return [
        Ruling(Limit.COAT_BELOW, _on_the_coat_below(c, asked, start), start, start),
        Ruling(Limit.HOURS, spans.all_brushing("hours", c.in_hours), start, stroke),
        Ruling(Limit.COVER, spans.all_brushing("cover", clear_of_cover), start, stroke),
        Ruling(Limit.DAYLIGHT, spans.all_brushing("light", c.in_daylight), start, stroke),
        Ruling(Limit.DRY, _dry(c, coating, asked, spans), start, stroke),
        stays(Limit.AIR_LOW, "degC", "air", coating.air_c[0] + guard, brushing),
        stays(Limit.AIR_HIGH, "degC", "air", coating.air_c[1] - guard, brushing, most=True),
        stays(Limit.SURFACE_LOW, "degC", "surface", coating.surface_c[0] + guard, brushing),
        stays(Limit.SURFACE_HIGH, "degC", "surface", coating.surface_c[1] - guard, ends.touch_dry, most=True),
        stays(Limit.HUMIDITY, "%", "humidity", coating.humidity_max_pct, brushing, most=True),
        stays(Limit.MARGIN_APPLY, "K", "margin", coating.margin_apply_k + guard, brushing),
        stays(Limit.WIND, "m/s", "wind", coating.wind_stop_m_s, brushing, most=True),
        stays(Limit.SUN, "K", "excess", coating.sun_excess_k, ends.touch_dry, most=True),
        stays(Limit.MARGIN_HOLD, "K", "margin", coating.margin_hold_k + guard, ends.dew_safe),
        _rain(c, coating, spans, ends.rain),
        _rain_chance(c, coating, spans, ends.rain),
        stays(Limit.COLD, "degC", "surface", coating.film_low_c + guard, ends.cold),
        Ruling(Limit.KNOWN, (known == 1.0) & ends.is_whole, start, ends.whole.last),
    ]


_SERIES: dict[str, Callable[[Conditions], FloatArray]] = {
    "air": lambda c: c.air_c,
    "surface": lambda c: c.surface_c,
    "humidity": lambda c: c.humidity_pct,
    "margin": lambda c: c.margin_k,
    "wind": lambda c: c.wind_m_s,
    "excess": lambda c: c.surface_c - c.air_c,
}


def _harmless(series: FloatArray, *, most: bool) -> FloatArray:
    """Return a series that breaks no limit where it is not known."""
    return np.where(np.isfinite(series), series, -np.inf if most else np.inf)


def _on_the_coat_below(c: Conditions, asked: Asked, start: IndexArray) -> BoolArray:
    """Say which starts find the coat underneath ready, or soft still for as long as the brush is out."""
    begun = c.times[start[:1]]
    ready: BoolArray = begun >= asked.ready_at[:, None]
    if asked.soft_between is not None:
        opens, closes = (instants[:, None] for instants in asked.soft_between)
        brushing = asked.brush_steps * np.timedelta64(c.step_s, "s")
        ready = ready | ((begun >= opens) & (begun + brushing <= closes))
    return ready


def wet(c: Conditions) -> BoolArray:
    """Say where the surface is wet: dew or rain lies on it, or it is no warmer than the dew point."""
    return np.asarray((c.water_mm > WET_MM) | (c.margin_k <= 0.0))


def _dry(c: Conditions, coating: Coating, asked: Asked, spans: StartSpans) -> BoolArray:
    """Dry while brushing and for the wait before it; after a wet spell the margin to apply must have held as long.

    Common practice: after dew, an hour from the margin's passing the limit, since corners and the shaded side dry last.
    """

    def wetness() -> FloatArray:
        return wet(c).astype(np.float64)

    memory = round(WET_MEMORY_H * 3600 / c.step_s)
    wet_now = spans.worst("wet", wetness, spans.around(asked.settle_steps, asked.brush_steps), most=True)[0] > 0.0
    wet_lately = spans.worst("wet", wetness, spans.around(memory, 0), most=True)[0] > 0.0
    margin, _ = spans.worst("known margin", lambda: c.margin_k, spans.around(asked.settle_steps, 0), most=False)
    held = margin >= coating.margin_apply_k  # an unknown hour did not hold
    return ~(wet_now | (wet_lately & ~held))


def _rain(c: Conditions, coating: Coating, spans: StartSpans, over: Spans) -> Ruling:
    """Test the rain from the first stroke to rain-safe: its sum, and an hour at its heaviest, whichever is more."""

    def hourly() -> FloatArray:
        return _or_none(c.rain_mm) * (3600.0 / c.step_s)

    heaviest, series = spans.worst("rain", hourly, over, most=True)
    value = np.maximum(spans.total("rain", lambda: _or_none(c.rain_mm), over), heaviest)
    bound = coating.rain_max_mm
    passes = value < max(bound - ROUNDING, SOME_RAIN_MM)
    return Ruling(Limit.RAIN, passes, spans.of_each(over.first), over.last, "mm", value, bound, series, most=True)


def _rain_chance(c: Conditions, coating: Coating, spans: StartSpans, over: Spans) -> Ruling:
    """Test the chance of rain, where a source gives one; where none does, the amounts alone decide."""
    value, series = spans.worst("chance", lambda: _or_none(c.rain_chance_pct), over, most=True)
    bound = coating.rain_chance_max_pct
    first, last = spans.of_each(over.first), over.last
    return Ruling(Limit.RAIN_CHANCE, value < bound, first, last, "%", value, bound, series, most=True)


def _or_none(fallen: FloatArray) -> FloatArray:
    """Return what falls, nothing where that is not known."""
    return np.where(np.isfinite(fallen), fallen, 0.0)
