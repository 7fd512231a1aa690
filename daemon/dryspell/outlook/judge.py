"""Every start of the next coat against every limit of the coating, all starts at once.

A start stands for a coat brushed from it without a break. It is judged over spans that begin with it: while brushing,
until the last stroke is touch-dry, dew-safe, rain-safe, and until it is sandable. Two dew rulings are kept apart: a
margin to apply and a smaller one to hold.
"""

from dataclasses import dataclass

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock, Reached
from dryspell.outlook.model import Limit
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.trade.coating import Coating
from dryspell.weather.table import FloatArray, TimeArray

COLD_SPAN_H = 24.0
"""The coldest night that matters to a film is the first one (common practice: look 24 h ahead)."""
WET_MEMORY_H = 12.0
"""Dew or rain within this time before a start calls for the wait after it has gone."""
WET_MM = 0.005
"""Less water than this, a two-hundredth of a millimetre, is a dry surface."""
NEVER = 2**40
"""An index beyond every axis."""
SOME_RAIN_MM = 1e-6
ROUNDING = 1e-9
"""Hourly rain of 0.1 mm twice is 0.2 mm, whatever the floats say."""

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
class Asked:
    """What is asked of a coat, beside its coating's limits.

    Attributes
    ----------
    brush_steps
        Steps of the grid from the first stroke to the last.
    settle_steps
        Steps to wait after dew or rain has gone.
    ready_at
        When the coat underneath is ready for the next, datetime64[s] of shape (members,); NaT is never.
    soft_between
        From when and until when this coat may be brushed on the soft one underneath instead; None where it may not.
    """

    brush_steps: int
    settle_steps: int
    ready_at: TimeArray
    soft_between: tuple[TimeArray, TimeArray] | None = None


@dataclass(frozen=True)
class Ruling:
    """What one limit says of all starts; arrays have shape (members, starts).

    The span it looks at runs from index `first` to `last`. A limit with a number has `value`, the worst met in the
    span, `slack`, how far that is on the right side of `bound` (negative: wrong side), and `series`, what it was taken
    from; `most` says that the worst is the greatest.
    """

    limit: Limit
    passes: BoolArray
    first: IndexArray
    last: IndexArray
    unit: str = ""
    value: FloatArray | None = None
    bound: float | None = None
    slack: FloatArray | None = None
    series: FloatArray | None = None
    most: bool = False

    @property
    def steps_away(self) -> FloatArray | None:
        """The slack in comparable steps; no rain at all is no limit to be near to."""
        if self.slack is None or self.value is None:
            return None
        steps = self.slack / _SCALE[self.unit]
        return np.where(self.value == 0.0, np.inf, steps) if self.limit in _RAINS else steps


class _Spans:
    """The spans of every start under one strictness, and the look-ups into them."""

    def __init__(
        self, c: Conditions, reached: Reached, starts: IndexArray, asked: Asked, strictness: Strictness
    ) -> None:
        members, size = c.air_c.shape
        self._looks = c.looks
        self.start = np.broadcast_to(starts, (members, starts.size))
        stroke = self.start + asked.brush_steps
        self.laid = reached.laid

        def end(instant: TimeArray) -> IndexArray:
            taken = (instant - self.laid) / np.timedelta64(c.step_s, "s") * (1.0 + strictness.reserve)
            return stroke + np.where(np.isnan(taken), NEVER, np.ceil(taken - ROUNDING)).astype(np.int64)

        a_day = stroke + round(COLD_SPAN_H * 3600 / c.step_s)
        ends = {
            "stroke": stroke,
            "touch_dry": end(reached.touch_dry),
            "dew_safe": end(reached.dew_safe),
            "rain_safe": end(reached.rain_safe),
            "cold": np.minimum(end(reached.sandable), a_day),
        }
        self.needed = np.max(list(ends.values()), axis=0)
        self.ends = {name: np.minimum(index, size - 1) for name, index in ends.items()}

    def stays(
        self, limit: Limit, unit: str, series: FloatArray, bound: float, to: str, *, most: bool = False
    ) -> Ruling:
        """Test that a series stays at or above a bound (or at or below, for `most`) to the end of a span.

        What is not known breaks no limit: whether all is known is a limit of its own.
        """
        last = self.ends[to]
        first = np.minimum(self.start, last)
        series = np.where(np.isfinite(series), series, -np.inf if most else np.inf)
        value = (self._looks.most if most else self._looks.least)(limit, series).over(first, last)
        slack = bound - value if most else value - bound
        return Ruling(limit, slack >= 0.0, first, last, unit, value, bound, slack, series, most)


def films_of(c: Conditions, clock: DryingClock, starts: IndexArray, asked: Asked) -> Reached:
    """Return when the films of coats begun at some starts reach their stages."""
    return clock.of_films(c.times[np.minimum(starts + asked.brush_steps, c.times.size - 1)])


def judge(
    c: Conditions,
    clock: DryingClock,
    coating: Coating,
    starts: IndexArray,
    asked: Asked,
    strictness: Strictness,
    reached: Reached | None = None,
) -> list[Ruling]:
    """Judge every start by every limit, in the order in which a failing one is named first.

    Parameters
    ----------
    starts
        Indices into the grid, shape (starts,).
    reached
        `films_of` these starts, where they are judged more than once; None to work them out.
    """
    spans = _Spans(c, reached or films_of(c, clock, starts, asked), starts, asked, strictness)
    guard = strictness.guard_k
    start, stroke = spans.start, spans.ends["stroke"]
    last = c.times.size - 1
    known = c.looks.least("known", c.known.astype(np.float64)).over(start, np.minimum(spans.needed, last)) == 1.0
    within = np.broadcast_to(c.in_hours.astype(np.float64), c.air_c.shape)
    under_cover = np.zeros_like(c.in_hours) if c.under_cover is None else c.under_cover
    clear_of_cover = np.broadcast_to((~under_cover).astype(np.float64), c.air_c.shape)
    light = np.broadcast_to(c.in_daylight.astype(np.float64), c.air_c.shape)
    return [
        Ruling(Limit.COAT_BELOW, _on_the_coat_below(c, asked, start), start, start),
        Ruling(Limit.HOURS, c.looks.least("hours", within).over(start, stroke) == 1.0, start, stroke),
        Ruling(Limit.COVER, c.looks.least("cover", clear_of_cover).over(start, stroke) == 1.0, start, stroke),
        Ruling(Limit.DAYLIGHT, c.looks.least("light", light).over(start, stroke) == 1.0, start, stroke),
        Ruling(Limit.DRY, _dry(c, coating, start, stroke, asked.settle_steps), start, stroke),
        spans.stays(Limit.AIR_LOW, "degC", c.air_c, coating.air_c[0] + guard, "stroke"),
        spans.stays(Limit.AIR_HIGH, "degC", c.air_c, coating.air_c[1] - guard, "stroke", most=True),
        spans.stays(Limit.SURFACE_LOW, "degC", c.surface_c, coating.surface_c[0] + guard, "stroke"),
        spans.stays(Limit.SURFACE_HIGH, "degC", c.surface_c, coating.surface_c[1] - guard, "touch_dry", most=True),
        spans.stays(Limit.HUMIDITY, "%", c.humidity_pct, coating.humidity_max_pct, "stroke", most=True),
        spans.stays(Limit.MARGIN_APPLY, "K", c.margin_k, coating.margin_apply_k + guard, "stroke"),
        spans.stays(Limit.WIND, "m/s", c.wind_m_s, coating.wind_stop_m_s, "stroke", most=True),
        spans.stays(Limit.SUN, "K", c.surface_c - c.air_c, coating.sun_excess_k, "touch_dry", most=True),
        spans.stays(Limit.MARGIN_HOLD, "K", c.margin_k, coating.margin_hold_k + guard, "dew_safe"),
        _rain(c, coating, spans),
        _rain_chance(c, coating, spans),
        spans.stays(Limit.COLD, "degC", c.surface_c, coating.film_low_c + guard, "cold"),
        Ruling(Limit.KNOWN, known & (spans.needed <= last), start, np.minimum(spans.needed, last)),
    ]


def _on_the_coat_below(c: Conditions, asked: Asked, start: IndexArray) -> BoolArray:
    """Say which starts find the coat underneath ready, or soft still for as long as the brush is out."""
    begun = c.times[start]
    ready: BoolArray = begun >= asked.ready_at[:, None]
    if asked.soft_between is not None:
        opens, closes = (instants[:, None] for instants in asked.soft_between)
        brushing = asked.brush_steps * np.timedelta64(c.step_s, "s")
        ready = ready | ((begun >= opens) & (begun + brushing <= closes))
    return ready


def wet(c: Conditions) -> BoolArray:
    """Say where the surface is wet: dew or rain lies on it, or it is no warmer than the dew point."""
    return np.asarray((c.water_mm > WET_MM) | (c.margin_k <= 0.0))


def _dry(c: Conditions, coating: Coating, start: IndexArray, stroke: IndexArray, settle: int) -> BoolArray:
    """Dry while brushing and for the wait before it; after a wet spell the margin to apply must have held as long.

    Common practice: after dew, an hour from the margin's passing the limit, since corners and the shaded side dry last.
    """
    wetness = c.looks.most("wet", wet(c).astype(np.float64))
    before = np.maximum(start - settle, 0)
    memory = np.maximum(start - round(WET_MEMORY_H * 3600 / c.step_s), 0)
    wet_now = wetness.over(before, stroke) > 0.0
    wet_lately = wetness.over(memory, start) > 0.0
    held = (
        c.looks.least("margin", c.margin_k).over(before, start) >= coating.margin_apply_k
    )  # an unknown hour did not hold
    return ~(wet_now | (wet_lately & ~held))


def _rain(c: Conditions, coating: Coating, spans: _Spans) -> Ruling:
    """Test the rain from the first stroke to rain-safe: its sum, and an hour at its heaviest, whichever is more."""
    last = np.maximum(spans.ends["rain_safe"], np.minimum(spans.start + 1, c.times.size - 1))
    first = np.minimum(spans.start + 1, last)
    known = np.where(np.isfinite(c.rain_mm), c.rain_mm, 0.0)
    fallen = np.cumsum(known, axis=1)
    total = np.take_along_axis(fallen, last, axis=1) - np.take_along_axis(fallen, first - 1, axis=1)
    hourly = known * (3600.0 / c.step_s)
    value = np.maximum(total, c.looks.most("rain", hourly).over(first, last))
    bound = coating.rain_max_mm
    passes = value < max(bound - ROUNDING, SOME_RAIN_MM)
    return Ruling(Limit.RAIN, passes, first, last, "mm", value, bound, bound - value, hourly, most=True)


def _rain_chance(c: Conditions, coating: Coating, spans: _Spans) -> Ruling:
    """Test the chance of rain, where a source gives one; where none does, the amounts alone decide."""
    last = np.maximum(spans.ends["rain_safe"], np.minimum(spans.start + 1, c.times.size - 1))
    first = np.minimum(spans.start + 1, last)
    known = np.where(np.isfinite(c.rain_chance_pct), c.rain_chance_pct, 0.0)
    value = c.looks.most("chance", known).over(first, last)
    bound = coating.rain_chance_max_pct
    return Ruling(Limit.RAIN_CHANCE, value < bound, first, last, "%", value, bound, bound - value, known, most=True)
