"""What will reach the film that is on before it is safe from it: rain, dew, sun or cold, and when.

A coat is on already, so nothing is judged but the film: the surface's margin over the dew point until it is dew-safe,
rain until it is rain-safe, the sun until it is touch-dry, and cold until it is sandable, in its first 24 h. The limits
are those that a start has to keep, so that a film is spoken of before anything has spoiled it.
"""

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

import numpy as np

from dryspell.outlook.agreement import Agreement
from dryspell.outlook.below import stamp
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import COLD_SPAN_H, ROUNDING, SOME_RAIN_MM
from dryspell.outlook.model import Coat, FilmRisk, Hazard, Limit, Reason
from dryspell.outlook.spans import BoolArray
from dryspell.weather.checks import as_datetime
from dryspell.weather.table import FloatArray, TimeArray

LOOKED_AFTER_D = 7.0
"""A film a week old is past anything that weather does to a fresh one (common practice, no source)."""
SOON_SHARE = 0.25
"""Of the ways in which it comes, a quarter come sooner than the instant that is told. No source."""


@dataclass(frozen=True)
class _Danger:
    """One thing that may reach a film; arrays of shape (members, times), `until` of shape (members,)."""

    hazard: Hazard
    limit: Limit
    unit: Literal["K", "degC", "%", "mm"]
    series: FloatArray
    bound: float
    most: bool
    happens: BoolArray
    until: TimeArray


def film_risks(
    c: Conditions, clock: DryingClock, coat: Coat, now: datetime, agreement: Agreement
) -> tuple[FilmRisk, ...]:
    """Return what will reach the film of a coat before it is safe from it: one risk a hazard, the first to come first.

    Parameters
    ----------
    c
        The weather as it reaches the piece.
    clock
        Of the coat's own coating over it, with what slows it.
    agreement
        Whether the share of members is a probability; where it is none, one member is enough.
    """
    if not _is_looked_after(coat, now) or stamp(now) >= c.times[-1]:
        return ()
    found = [_risk(c, danger, now, agreement) for danger in _dangers(c, clock, coat, now)]
    likeliest: dict[Hazard, FilmRisk] = {}
    for risk in (risk for risk in found if risk is not None):
        before = likeliest.get(risk.hazard)
        if before is None or (-risk.odds, risk.at) < (-before.odds, before.at):
            likeliest[risk.hazard] = risk
    return tuple(sorted(likeliest.values(), key=lambda risk: risk.at))


def risks_later(risks: tuple[FilmRisk, ...], coat: Coat, now: datetime) -> tuple[FilmRisk, ...]:
    """Return what `film_risks` said a while ago as it is said now, no instant of the grid having gone by."""
    if not _is_looked_after(coat, now):
        return ()
    at = as_datetime(stamp(now))
    return tuple(risk if risk.at >= at else risk.model_copy(update={"at": at}) for risk in risks)


def _is_looked_after(coat: Coat, now: datetime) -> bool:
    return not coat.spoilt and (now - coat.finished_at).total_seconds() / 86_400.0 <= LOOKED_AFTER_D


def _dangers(c: Conditions, clock: DryingClock, coat: Coat, now: datetime) -> list[_Danger]:
    laid = np.clip(stamp(coat.finished_at), c.times[0], c.times[-1])
    reached, coating = clock.of_films(np.array([laid])), clock.coating
    seen_hard = None if coat.sandable_at is None else stamp(coat.sandable_at)

    def until(instants: TimeArray) -> TimeArray:
        """Return when a stage is reached by member, the end of the axis where that is later."""
        at = np.where(np.isnat(instants[:, 0]), c.times[-1], instants[:, 0])
        return at if seen_hard is None else np.minimum(at, seen_hard)

    a_day = stamp(coat.finished_at) + np.timedelta64(round(COLD_SPAN_H * 3600), "s")
    sandable, wet = until(reached.sandable), until(reached.touch_dry)
    dew_safe, rain_safe = until(reached.dew_safe), until(reached.rain_safe)
    excess, hottest = c.surface_c - c.air_c, coating.surface_c[1]
    chance, most_chance = c.rain_chance_pct, coating.rain_chance_max_pct
    return [
        _Danger(
            "rain", Limit.RAIN, "mm", c.rain_mm, coating.rain_max_mm, True,
            _rain(c, coating.rain_max_mm, coat, now, rain_safe), rain_safe,
        ),
        _Danger("rain", Limit.RAIN_CHANCE, "%", chance, most_chance, True, chance >= most_chance, rain_safe),
        _Danger(
            "dew", Limit.MARGIN_HOLD, "K", c.margin_k, coating.margin_hold_k, False,
            c.margin_k < coating.margin_hold_k, dew_safe,
        ),
        _Danger("sun", Limit.SUN, "K", excess, coating.sun_excess_k, True, excess > coating.sun_excess_k, wet),
        _Danger("sun", Limit.SURFACE_HIGH, "degC", c.surface_c, hottest, True, c.surface_c > hottest, wet),
        _Danger(
            "cold", Limit.COLD, "degC", c.surface_c, coating.film_low_c, False,
            c.surface_c < coating.film_low_c, np.minimum(sandable, a_day),
        ),
    ]  # fmt: skip


def _rain(c: Conditions, most_mm: float, coat: Coat, now: datetime, rain_safe: TimeArray) -> BoolArray:
    """Say where rain falls that is too much for the film: with what fell on it before, unless that was too much."""
    least = max(most_mm - ROUNDING, SOME_RAIN_MM)
    known = np.where(np.isfinite(c.rain_mm), c.rain_mm, 0.0)
    # The cell in which the film gets rain-safe counts whole.
    on_film = (c.times > stamp(coat.finished_at)) & (c.times - np.timedelta64(c.step_s, "s") < rain_safe[:, None])
    still = on_film & (c.times > stamp(now))
    to_come = np.sum(known, axis=1, where=still, keepdims=True)
    fallen = np.sum(known, axis=1, where=on_film & ~still, keepdims=True)
    heaviest = np.max(known, axis=1, where=still, initial=0.0, keepdims=True) * 3600.0 / c.step_s
    too_much = (np.maximum(to_come, heaviest) >= least) | ((fallen < least) & (fallen + to_come >= least))
    return np.asarray(too_much & still & (known > 0.0))


def _risk(c: Conditions, danger: _Danger, now: datetime, agreement: Agreement) -> FilmRisk | None:
    step = np.timedelta64(c.step_s, "s")
    # Amounts and chances are those of the cell that ends at the instant: they begin a step before it.
    begins = c.times - (step if danger.hazard == "rain" else np.timedelta64(0, "s"))
    ahead = (c.times > stamp(now)) & (begins[None] < danger.until[:, None])
    met = danger.happens & ahead
    hit: BoolArray = np.asarray(met.any(axis=1))
    if not hit.any():
        return None
    share = float(hit.mean())
    if danger.limit is Limit.RAIN_CHANCE:
        share *= float(np.max(danger.series, where=met, initial=0.0)) / 100.0
    onsets = np.sort(begins[np.argmax(met[hit], axis=1)])
    at = max(onsets[int(SOON_SHARE * (onsets.size - 1))], stamp(now))
    safe = np.sort(danger.until)[(danger.until.size - 1) // 2]
    value, worst = _worst(c, danger, ahead, hit)
    return FilmRisk(
        hazard=danger.hazard,
        at=as_datetime(at),
        share=round(share, 3) if agreement.is_odds or danger.limit is Limit.RAIN_CHANCE else None,
        safe_at=None if safe >= c.times[-1] else as_datetime(safe),
        reason=Reason(
            limit=danger.limit, value=round(value, 3), bound=danger.bound, unit=danger.unit, at=as_datetime(worst)
        ),
    )


def _worst(c: Conditions, danger: _Danger, ahead: BoolArray, hit: BoolArray) -> tuple[float, np.datetime64]:
    """Return the worst that comes in the member in the middle of those in which it comes, and when."""
    sign = 1.0 if danger.most else -1.0
    series = np.where(ahead & np.isfinite(danger.series), sign * danger.series, -np.inf)[hit]
    if danger.limit is Limit.RAIN:
        worst = np.sum(np.where(np.isfinite(series), series, 0.0), axis=1)
        worst = np.maximum(worst, series.max(axis=1) * 3600.0 / c.step_s)
    else:
        worst = series.max(axis=1)
    middle = int(np.argsort(worst)[(worst.size - 1) // 2])
    return sign * float(worst[middle]), c.times[int(np.argmax(series[middle]))]
