"""The days ahead at a piece as the chart and the table of its outlook show them: plain numbers at whole hours."""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from itertools import pairwise

import numpy as np

from dryspell.alerts.picture_data import HIGH_PCT, LOW_PCT, Values, nights_of, spread, values_of
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.exposure import SHELTERS
from dryspell.outlook.judge import wet
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray

BEFORE = timedelta(hours=3)
"""So much of what has been is shown before the present, for the eye to take its bearings."""
COUNTS_AS_RAIN_MM = 0.1
"""The least that a gauge tells (WMO-No. 8): less in an hour is no rain where ways of the weather are counted."""


@dataclass(frozen=True)
class Limits:
    """What the coating asks of the weather while it is brushed, and of the margin until it is dew-safe."""

    apply_k: float
    hold_k: float
    humidity_pct: float
    wind_m_s: float
    rain_mm: float
    chance_pct: float


@dataclass(frozen=True)
class Days:
    """What comes to a piece, at points that are whole hours of its site's clock.

    Attributes
    ----------
    start
        The first point, aware.
    now_h
        The present [h from the start]; below 0 or past the end where it is not shown.
    hours
        The points [h].
    surface_c, surface_low_c, surface_high_c, air_c, dew_point_c
        Temperatures [degC]: of several ways the weather may go the middle one, and of the surface what a tenth of them
        are under and over.
    margin_k, margin_low_k, margin_high_k
        Surface over dew point [K], likewise.
    humidity_pct, wind_m_s, sun_w_m2
        At the piece, the middle one.
    is_wet
        Whether dew or rain lies on the surface in half of the ways or more; None where it is not known.
    rain_mm
        What comes to the piece from each point to the next [mm], the mean of the ways.
    chance_pct
        How likely rain is from each point to the next [%]: the most that the source says, else the share of the ways
        that bring some; None where there is neither.
    nights
        From sunset to sunrise [h].
    members
        In how many ways the weather may go; 1 is a single forecast.
    limits
        Of the coating.
    in_the_rain
        Whether any rain can come to the piece.
    """

    start: datetime
    now_h: float
    hours: tuple[float, ...]
    surface_c: Values
    surface_low_c: Values
    surface_high_c: Values
    air_c: Values
    dew_point_c: Values
    margin_k: Values
    margin_low_k: Values
    margin_high_k: Values
    humidity_pct: Values
    wind_m_s: Values
    sun_w_m2: Values
    is_wet: tuple[bool | None, ...]
    rain_mm: Values
    chance_pct: Values
    nights: tuple[tuple[float, float], ...]
    members: int
    limits: Limits
    in_the_rain: bool

    @property
    def now_quarter_h(self) -> float:
        """The present to a quarter of an hour: a chart need not be drawn anew each minute."""
        return round(4.0 * self.now_h) / 4.0

    @property
    def end_h(self) -> float:
        """The last point. [h]"""
        return self.hours[-1]

    def at(self, hour: float) -> datetime:
        """Return the instant of an hour of it."""
        return self.start + timedelta(hours=hour)

    def hour(self, at: datetime) -> float:
        """Return the hour of an instant."""
        return (at - self.start).total_seconds() / 3600.0


def span_of(now: datetime, site: Site, day: date | None, days: int) -> tuple[datetime, datetime]:
    """Return what is to be shown: from a while before the present, or from the midnight that begins a day."""
    if day is None:
        local = (now - BEFORE).astimezone(site.zone)
        local = local.replace(hour=local.hour // 3 * 3, minute=0, second=0, microsecond=0)
    else:
        local = datetime.combine(day, time(), tzinfo=site.zone)
    last = datetime.combine(local.date() + timedelta(days=days), local.time(), tzinfo=site.zone)
    return local.astimezone(UTC), last.astimezone(UTC)


def days_of(
    met: Conditions,
    sun_w_m2: FloatArray,
    piece: Piece,
    coating: Coating,
    site: Site,
    now: datetime,
    between: tuple[datetime, datetime],
    *,
    odds: bool = False,
) -> Days | None:
    """Return the days ahead, None where less than two hours of them are known.

    Parameters
    ----------
    met
        The weather as it reaches the piece.
    sun_w_m2
        The sun's power on the face, on the grid of `met` [W m-2].
    now
        The present instant, aware.
    between
        From when to when, aware, whole hours of the site's clock.
    odds
        Whether shares of the ways the weather may go are probabilities.
    """
    first, last = (int(np.searchsorted(met.times, _stamp(at), side="left")) for at in between)
    step = 3600 // met.step_s
    points = np.arange(first, min(last, met.times.size - 1) + 1, step)
    known = np.isfinite(met.surface_c[:, points]).all(axis=0)
    if np.count_nonzero(known) < 2:
        return None
    points = points[: int(np.flatnonzero(known)[-1]) + 1]
    times = met.times[points]
    start = datetime.fromtimestamp(int(times[0].astype(np.int64)), tz=UTC)
    margin = spread(met.margin_k[:, points], (LOW_PCT, 50.0, HIGH_PCT))
    surface = spread(met.surface_c[:, points], (LOW_PCT, 50.0, HIGH_PCT))
    rain, chance = _rain(met, points, odds=odds)

    def middle(series: FloatArray) -> Values:
        return values_of(spread(series[:, points], (50.0,))[0])

    return Days(
        start=start,
        now_h=(now - start).total_seconds() / 3600.0,
        hours=tuple(float(h) for h in (times - times[0]) / np.timedelta64(1, "h")),
        surface_low_c=values_of(surface[0]),
        surface_c=values_of(surface[1]),
        surface_high_c=values_of(surface[2]),
        air_c=middle(met.air_c),
        dew_point_c=middle(met.dew_point_c),
        margin_low_k=values_of(margin[0]),
        margin_k=values_of(margin[1]),
        margin_high_k=values_of(margin[2]),
        humidity_pct=middle(met.humidity_pct),
        wind_m_s=middle(met.wind_m_s),
        sun_w_m2=middle(sun_w_m2),
        is_wet=_wet(met, points),
        rain_mm=rain,
        chance_pct=chance,
        nights=nights_of(times, site),
        members=met.air_c.shape[0],
        limits=Limits(
            coating.margin_apply_k,
            coating.margin_hold_k,
            coating.humidity_max_pct,
            coating.wind_stop_m_s,
            coating.rain_max_mm,
            coating.rain_chance_max_pct,
        ),
        in_the_rain=SHELTERS[piece.shelter].rain,
    )


def _stamp(at: datetime) -> np.datetime64:
    return np.datetime64(int(at.timestamp()), "s")


def _wet(met: Conditions, points: np.ndarray[tuple[int, ...], np.dtype[np.int64]]) -> tuple[bool | None, ...]:
    known: list[bool] = np.asarray(met.known[:, points].all(axis=0)).tolist()
    share: list[float] = np.asarray(wet(met)[:, points].mean(axis=0)).tolist()
    return tuple(of >= 0.5 if ok else None for of, ok in zip(share, known, strict=True))


def _rain(
    met: Conditions, points: np.ndarray[tuple[int, ...], np.dtype[np.int64]], *, odds: bool
) -> tuple[Values, Values]:
    """Return from each point to the next the mean of the rain, and how likely there is some; none at the last."""
    fallen: list[float | None] = []
    chances: list[float | None] = []
    for here, there in pairwise(points):
        cells = slice(int(here) + 1, int(there) + 1)  # a cell ends at its instant
        each = met.rain_mm[:, cells].sum(axis=1)
        said = met.rain_chance_pct[:, cells]
        fallen.append(round(float(each.mean()), 2) if np.isfinite(each).all() else None)
        if np.isfinite(said).all():
            chances.append(round(float(np.median(said.max(axis=1))), 1))
        elif odds and np.isfinite(each).all():
            chances.append(round(100.0 * float(np.mean(each >= COUNTS_AS_RAIN_MM)), 1))
        else:
            chances.append(None)
    return (*fallen, None), (*chances, None)
