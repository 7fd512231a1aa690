"""From judged starts to what a person reads: windows, and the time between them with its reason."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cached_property
from typing import get_args

import numpy as np

from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock, Reached
from dryspell.outlook.judge import NOMINAL, ROUNDING, Asked, Ruling, judge, spans_of, wet
from dryspell.outlook.mix import mix_at
from dryspell.outlook.model import Block, Limit, Reason, Stages, Window, Word
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.science.middle import middle
from dryspell.trade.coating import Coating
from dryspell.weather.table import FloatArray, TimeArray

WARN_SHARE = 0.5
"""Refuse at a chance of rain of 30 %, warn from 15 % (common practice, no source)."""

MANY = 0.6
"""Where more of the starts than this are to be asked again, all of them are, for what is known of them serves."""

_UNITS = get_args(Reason.model_fields["unit"].annotation)


@dataclass(frozen=True)
class Judged:
    """All starts of one next coat, judged.

    Attributes
    ----------
    starts
        Indices into the grid, consecutive, shape (starts,).
    nominal
        The rulings as the forecast stands.
    passes, robust
        By start: whether enough members pass; whether they still do with a turn for the worse, on weather that is
        given often enough to show a night.
    share
        Share of members that pass.
    weather_share, weather_robust
        The same of the weather alone, whether the coat underneath is ready or not.
    agreement
        How many are enough.
    """

    conditions: Conditions
    clock: DryingClock
    asked: Asked
    starts: IndexArray
    nominal: list[Ruling]
    share: FloatArray
    passes: BoolArray
    robust: BoolArray
    weather_share: FloatArray
    weather_robust: BoolArray
    agreement: Agreement

    def word(self, k: int) -> Word:
        """Return the verdict on the k-th start."""
        if self.passes[k]:
            return "coat" if self.robust[k] else "tight"
        return "unknown" if self.blocking(k).limit is Limit.KNOWN else "wait"

    def blocking(self, k: int) -> Ruling:
        """Return the limit that blocks the k-th start."""
        return self.nominal[int(self.first_failing[k])]

    @cached_property
    def first_failing(self) -> IndexArray:
        """Which ruling blocks each start: the first that too few members pass, else the one that fewest pass."""
        failing = self.failing
        first: IndexArray = np.where(failing.any(axis=0), np.argmax(failing, axis=0), np.argmin(self.shares, axis=0))
        return first

    @cached_property
    def steps_away(self) -> list[tuple[Ruling, FloatArray]]:
        """Of each limit with a number, how far every start is from it in the member that speaks for enough."""
        measured = [(ruling, ruling.steps_away) for ruling in self.nominal]
        rank = self.agreement.among(self.conditions.air_c.shape[0], self.agreement.good)
        return [(ruling, np.partition(steps, rank, axis=0)[rank]) for ruling, steps in measured if steps is not None]

    def slack(self, ruling: Ruling) -> FloatArray:
        """Return the slack of a ruling with a number in the member that decides, shape (starts,)."""
        if ruling.limit not in self._slacks:
            slack = np.asarray(ruling.slack)
            rank = self.agreement.among(slack.shape[0], self.agreement.least)
            self._slacks[ruling.limit] = np.partition(slack, rank, axis=0)[rank]
        return self._slacks[ruling.limit]

    @cached_property
    def _slacks(self) -> dict[Limit, FloatArray]:
        return {}

    @cached_property
    def wet(self) -> BoolArray:
        """Where the surface is wet in any member, shape (times,)."""
        return np.asarray(wet(self.conditions).any(axis=0))

    @cached_property
    def seconds(self) -> list[int]:
        """The grid in seconds since 1970."""
        seconds: list[int] = self.conditions.times.astype("datetime64[s]").astype(np.int64).tolist()
        return seconds

    @cached_property
    def shares(self) -> FloatArray:
        """Share of members that pass each ruling, shape (rulings, starts)."""
        return np.stack([ruling.passes.mean(axis=0) for ruling in self.nominal])

    @cached_property
    def failing(self) -> BoolArray:
        """Which rulings too few members pass, shape (rulings, starts)."""
        return np.asarray(self.shares < self.agreement.least - ROUNDING)


def judge_all(
    c: Conditions,
    clock: DryingClock,
    coating: Coating,
    starts: IndexArray,
    asked: Asked,
    *,
    agreement: Agreement = ALL,
) -> Judged:
    """Judge all starts as forecast, and with a turn for the worse.

    Parameters
    ----------
    starts
        Consecutive indices into the grid.
    agreement
        How many members have to agree.
    """
    spans = spans_of(c, clock, starts, asked)
    nominal = judge(c, clock, coating, starts, asked, NOMINAL, spans)
    # How the weather turns out does not change when the coat underneath is taken to be ready.
    ready = _all([ruling for ruling in nominal if ruling.limit is Limit.COAT_BELOW])
    weather = _weather(nominal)
    share = (weather & ready).mean(axis=0)
    weather_share = weather.mean(axis=0)
    robust = weather.copy()
    # A turn for the worse lets nothing pass that does not as it is: most starts need not be asked again.
    able = weather_share >= agreement.good - ROUNDING
    robust[:, ~able] = False
    if able.any():
        which = slice(None) if able.mean() > MANY else np.flatnonzero(able)
        some = spans.only(which)
        for strictness in agreement.worse:
            robust[:, which] &= _weather(judge(c, clock, coating, starts[which], asked, strictness, some))
    often_enough = ~on_coarse(c, nominal)
    return Judged(
        conditions=c,
        clock=clock,
        asked=asked,
        starts=starts,
        nominal=nominal,
        share=share,
        passes=share >= agreement.least - ROUNDING,
        robust=((robust & ready).mean(axis=0) >= agreement.good - ROUNDING) & often_enough,
        weather_share=weather_share,
        weather_robust=(robust.mean(axis=0) >= agreement.good - ROUNDING) & often_enough,
        agreement=agreement,
    )


def windows_of(judged: Judged) -> tuple[Window, ...]:
    """Return the spans of passing starts, in order."""
    runs = [(first, last) for first, last in _runs(judged.passes) if judged.passes[first]]
    if not runs:
        return ()
    c, slack = judged.conditions, np.min([steps for _, steps in judged.steps_away], axis=0)
    best = [_best(judged, slack, first, last) for first, last in runs]
    strokes = np.minimum(judged.starts[best] + judged.asked.brush_steps, c.times.size - 1)
    stages = stages_of(judged.clock.of_films(c.times[strokes]))
    coarse = on_coarse(c, judged.nominal)[best].tolist()
    return tuple(
        _window(judged, *run, k, of_film, is_coarse=is_coarse)
        for run, k, of_film, is_coarse in zip(runs, best, stages, coarse, strict=True)
    )


def blocks_of(judged: Judged) -> tuple[Block, ...]:
    """Return the spans of starts that do not pass, cut where their first reason changes."""
    which = np.where(judged.passes, -1, judged.first_failing)
    runs = _runs(which)
    failing = np.logical_or.reduceat(judged.failing, [first for first, _ in runs], axis=1).T.tolist()
    return tuple(
        _block(judged, first, last, fails)
        for (first, last), fails in zip(runs, failing, strict=True)
        if which[first] >= 0
    )


def why_not(judged: Judged, k: int) -> Reason:
    """Return the first reason that blocks the k-th start."""
    return _reason(judged, judged.blocking(k), k, k)


def nearest_limit(judged: Judged, k: int) -> Reason:
    """Return the limit that the k-th start comes nearest to."""
    near = [(float(steps[k]), ruling) for ruling, steps in judged.steps_away]
    return _reason(judged, min(near, key=lambda pair: pair[0])[1], k, k)


def stages_of(reached: Reached) -> list[Stages]:
    """Return the instants of the stages of each film, to the minute; of several members the one in the middle."""
    instants = {
        "touch_dry": reached.touch_dry,
        "dew_safe": reached.dew_safe,
        "rain_safe": reached.rain_safe,
        "sandable": reached.sandable,
        "recoat": reached.recoat,
        "sand_first_after": reached.overcoat_max,
        "hot_open": reached.hot_open,
        "hot_close": reached.hot_close,
        "in_service": reached.in_service,
        "full_cure": reached.full_cure,
    }
    columns = [_in_the_middle(each) for each in instants.values()]
    return [Stages(**dict(zip(instants, of_film, strict=True))) for of_film in zip(*columns, strict=True)]


def _in_the_middle(instants: TimeArray) -> list[datetime | None]:
    """Return of each film the instant in the middle of its members', shape (members, films), up to the full minute."""
    # NaT sorts last: a stage that half of the members do not reach has no instant.
    middle = np.sort(instants, axis=0)[(instants.shape[0] - 1) // 2] + np.timedelta64(59, "s")
    found: list[datetime | None] = middle.astype("datetime64[m]").tolist()
    return [None if each is None else each.replace(tzinfo=UTC) for each in found]


def on_coarse(c: Conditions, rulings: list[Ruling]) -> BoolArray:
    """Say of each start whether what it needs stands, in any member, on weather too coarse to show a night."""
    if not c.coarse.any():
        return np.zeros(rulings[-1].passes.shape[1], dtype=np.bool_)
    needed = next(ruling for ruling in rulings if ruling.limit is Limit.KNOWN)
    coarse = c.looks.most("coarse", lambda: c.coarse[None].astype(np.float64))
    return np.asarray((coarse.over(np.minimum(needed.first, needed.last), needed.last) > 0.0).any(axis=0))


def _all(rulings: list[Ruling]) -> BoolArray:
    passed: BoolArray = np.logical_and.reduce([ruling.passes for ruling in rulings])
    return passed


def _weather(rulings: list[Ruling]) -> BoolArray:
    return _all([ruling for ruling in rulings if ruling.limit is not Limit.COAT_BELOW])


def _runs(values: BoolArray | IndexArray) -> list[tuple[int, int]]:
    """Return first and last index of each run of equal values."""
    if values.size == 0:
        return []
    edges = np.flatnonzero(np.diff(values.astype(np.int64))) + 1
    firsts = np.concatenate([[0], edges])
    lasts = np.concatenate([edges - 1, [values.size - 1]])
    return list(zip(firsts.tolist(), lasts.tolist(), strict=True))


def _good(judged: Judged, first: int, last: int) -> IndexArray:
    """Return the starts of a run that are good."""
    return np.flatnonzero(judged.robust[first : last + 1]) + first


def _best(judged: Judged, slack: FloatArray, first: int, last: int) -> int:
    """Return the start of a run that is furthest from any limit, a good one where there is one."""
    good = _good(judged, first, last)
    candidates = good if good.size else np.arange(first, last + 1)
    return int(candidates[np.argmax(slack[candidates])])


def _window(judged: Judged, first: int, last: int, best: int, stages: Stages, *, is_coarse: bool) -> Window:
    good = _good(judged, first, last)
    word: Word = "coat" if good.size else "tight"
    column = judged.starts[best]
    c = judged.conditions
    stroke = min(int(column) + judged.asked.brush_steps, c.times.size - 1)
    return Window(
        start=_instant(judged, first),
        last_start=_instant(judged, last),
        good_from=_instant(judged, int(good[0])) if good.size else None,
        brush_down_by=_stroke(judged, int(good[-1]) if good.size else last),
        tight_until=_stroke(judged, last),
        word="coat" if word == "coat" else "tight",
        best_start=_instant(judged, best),
        probability=round(float(judged.share[best]), 3) if judged.agreement.is_odds else None,
        coarse=is_coarse,
        binding=nearest_limit(judged, best),
        margin_apply_k=_worst(judged, Limit.MARGIN_APPLY, best),
        margin_hold_k=_worst(judged, Limit.MARGIN_HOLD, best),
        surface_c=round(float(middle(c.surface_c[:, column])), 2),
        humidity_pct=round(float(middle(c.humidity_pct[:, column])), 1),
        stages=stages,
        mix=mix_at(c, judged.clock.coating, int(column)),
        factors=judged.clock.slowing.named(c.times[stroke]),
        cautions=_cautions(judged, best),
    )


def _cautions(judged: Judged, k: int) -> tuple[Reason, ...]:
    """Return what passes its limit at the k-th start but is past the comfortable figure: a maybe (common practice)."""
    coating = judged.clock.coating
    comfortable = {
        Limit.HUMIDITY: coating.humidity_good_pct[1],
        Limit.WIND: coating.wind_good_m_s,
        Limit.RAIN_CHANCE: coating.rain_chance_max_pct * WARN_SHARE,
    }
    reasons = (_reason(judged, r, k, k) for r in judged.nominal if r.limit in comfortable)
    return tuple(
        reason.model_copy(update={"bound": comfortable[reason.limit]})
        for reason in reasons
        if reason.value is not None and reason.value > comfortable[reason.limit]
    )


def _block(judged: Judged, first: int, last: int, fails: list[bool]) -> Block:
    index = int(judged.first_failing[first])
    others = [
        ruling.limit for ruling, fail in zip(judged.nominal[index + 1 :], fails[index + 1 :], strict=True) if fail
    ]
    return Block(
        start=_instant(judged, first),
        end=_instant(judged, last) + timedelta(seconds=judged.conditions.step_s),
        reason=_reason(judged, judged.nominal[index], first, last),
        others=tuple(others),
    )


def _reason(judged: Judged, ruling: Ruling, first: int, last: int) -> Reason:
    """Return a ruling as a reason, with the worst number among a run of starts and the instant it is met.

    Of several members the one speaks that decides: where it fails there, too few pass, and where it passes, enough do.
    """
    if ruling.value is None or ruling.slack is None or ruling.series is None:
        at = _relief(judged, ruling, last)
        dry_at = _dry_at(judged, at) if ruling.limit is Limit.DRY else None
        return Reason(limit=ruling.limit, at=at, dry_at=dry_at, what=_unknown(judged, ruling, first))
    members = ruling.slack.shape[0]
    k = first + int(np.argmin(judged.slack(ruling)[first : last + 1]))
    member = int(np.argsort(ruling.slack[:, k])[judged.agreement.among(members, judged.agreement.least)])
    span = slice(int(ruling.first[member, k]), int(ruling.last[member, k]) + 1)
    series = ruling.series[member, span]
    worst = int(np.argmax(series) if ruling.most else np.argmin(series))
    return Reason(
        limit=ruling.limit,
        value=round(float(ruling.value[member, k]), 3),
        bound=ruling.bound,
        unit=ruling.unit if ruling.unit in _UNITS else "",
        at=_of_grid(judged, span.start + worst),
    )


def _relief(judged: Judged, ruling: Ruling, last: int) -> datetime | None:
    """Return when a limit without a number lets go: the first later start that passes it."""
    failing = judged.failing[[each.limit for each in judged.nominal].index(ruling.limit), last:]
    later = int(np.argmin(failing))
    return None if failing[later] else _instant(judged, last + later)


def _dry_at(judged: Judged, relief: datetime | None) -> datetime | None:
    """Return when the surface is dry at last before a wet spell lets go."""
    if relief is None:
        return None
    times = judged.conditions.times
    wet_at = np.flatnonzero(judged.wet & (times <= np.datetime64(relief.replace(tzinfo=None), "s")))
    return _of_grid(judged, min(int(wet_at[-1]) + 1, times.size - 1)) if wet_at.size else None


def _unknown(judged: Judged, ruling: Ruling, k: int) -> str:
    """Return which weather variable is not known in the span of a start, "" where all weather ends in it."""
    if ruling.limit is not Limit.KNOWN:
        return ""
    span = slice(int(ruling.first[0, k]), int(ruling.last[:, k].max()) + 1)
    given = judged.conditions.given
    holes = {name: int(np.argmin(known[span])) for name, known in given.items() if not known[span].all()}
    return min(holes, key=lambda name: holes[name], default="")


def _worst(judged: Judged, limit: Limit, k: int) -> float:
    ruling = next(ruling for ruling in judged.nominal if ruling.limit is limit)
    if ruling.value is None:
        return float("nan")
    rank = judged.agreement.among(ruling.value.shape[0], judged.agreement.good)
    return round(float(np.partition(ruling.value[:, k], rank)[rank]), 2)


def _instant(judged: Judged, k: int) -> datetime:
    return _of_grid(judged, int(judged.starts[k]))


def _stroke(judged: Judged, k: int) -> datetime:
    return _instant(judged, k) + timedelta(seconds=judged.asked.brush_steps * judged.conditions.step_s)


def _of_grid(judged: Judged, index: int) -> datetime:
    return datetime.fromtimestamp(judged.seconds[index], tz=UTC)
