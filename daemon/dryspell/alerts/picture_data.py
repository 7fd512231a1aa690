"""The next 36 hours at a piece as the picture of them shows it: plain numbers, half an hour apart."""

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.exposure import SHELTERS
from dryspell.science import sun
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray

SPAN = timedelta(hours=36)
STRIDE_S = 1800
LOW_PCT, HIGH_PCT = 10.0, 90.0

Values = tuple[float | None, ...]
"""One a point; None is not known."""


@dataclass(frozen=True)
class Ahead:
    """What comes to a piece, over hours counted from `start`.

    Attributes
    ----------
    start
        The first point, aware.
    hours
        The points [h].
    surface_c, air_c, dew_point_c
        Temperatures [degC]; of several ways the weather may go, the middle one.
    margin_k, margin_low_k, margin_high_k
        Surface over dew point [K]: the middle, and what a tenth of the ways are under and over.
    rain_mm
        Hour by hour: when it begins [h], and how much comes to the piece in it [mm].
    nights
        From sunset to sunrise [h].
    apply_k, hold_k
        What the coating asks of the margin while brushing, and until the film is dew-safe [K].
    in_the_rain
        Whether any rain can come to the piece.
    """

    start: datetime
    hours: tuple[float, ...]
    surface_c: Values
    air_c: Values
    dew_point_c: Values
    margin_k: Values
    margin_low_k: Values
    margin_high_k: Values
    rain_mm: tuple[tuple[float, float], ...]
    nights: tuple[tuple[float, float], ...]
    apply_k: float
    hold_k: float
    in_the_rain: bool


def ahead_of(met: Conditions, piece: Piece, site: Site, coating: Coating, now: datetime) -> Ahead | None:
    """Return the next 36 hours, None where less than two points of them are known.

    Parameters
    ----------
    met
        The weather as it reaches the piece.
    now
        The present instant, aware.
    """
    at = np.datetime64(int(now.astimezone(UTC).timestamp()), "s")
    first = int(np.searchsorted(met.times, at, side="left"))
    stride = max(1, STRIDE_S // met.step_s)
    last = int(np.searchsorted(met.times, at + np.timedelta64(SPAN), side="right"))
    points = np.arange(first, last, stride)
    known = np.isfinite(met.surface_c[:, points]).all(axis=0)
    if np.count_nonzero(known) < 2:
        return None
    times = met.times[points]
    start = datetime.fromtimestamp(int(times[0].astype(np.int64)), tz=UTC)
    margin = spread(met.margin_k[:, points], (LOW_PCT, 50.0, HIGH_PCT))
    return Ahead(
        start=start,
        hours=tuple(float(h) for h in (times - times[0]) / np.timedelta64(1, "h")),
        surface_c=values_of(spread(met.surface_c[:, points], (50.0,))[0]),
        air_c=values_of(spread(met.air_c[:, points], (50.0,))[0]),
        dew_point_c=values_of(spread(met.dew_point_c[:, points], (50.0,))[0]),
        margin_low_k=values_of(margin[0]),
        margin_k=values_of(margin[1]),
        margin_high_k=values_of(margin[2]),
        rain_mm=_by_the_hour(met, first, last),
        nights=nights_of(times, site),
        apply_k=coating.margin_apply_k,
        hold_k=coating.margin_hold_k,
        in_the_rain=SHELTERS[piece.shelter].rain,
    )


def spread(values: FloatArray, shares_pct: tuple[float, ...]) -> FloatArray:
    """Return percentiles over the members, shape (shares, times); NaN where a member is not known."""
    return np.asarray(np.percentile(values, shares_pct, axis=0))


def values_of(values: FloatArray) -> Values:
    """Return values rounded to a hundredth, None for what is not known."""
    return tuple(round(float(value), 2) if np.isfinite(value) else None for value in values)


def _by_the_hour(met: Conditions, first: int, last: int) -> tuple[tuple[float, float], ...]:
    """Return the rain of each whole hour from the first point on, the mean of the ways it may go."""
    steps = 3600 // met.step_s
    cells = met.rain_mm[:, first + 1 : last]  # a cell ends at its instant
    hours = cells.shape[1] // steps
    fallen = cells[:, : hours * steps].reshape(cells.shape[0], hours, steps).sum(axis=2).mean(axis=0)
    return tuple((float(hour), round(float(mm), 2)) for hour, mm in enumerate(fallen) if np.isfinite(mm))


def nights_of(
    times: np.ndarray[tuple[int, ...], np.dtype[np.datetime64]], site: Site
) -> tuple[tuple[float, float], ...]:
    """Return the nights within some instants, from sunset to sunrise [h from the first]."""
    minutes = np.arange(times[0], times[-1] + np.timedelta64(1, "s"), np.timedelta64(300, "s"))
    dark = sun.position(minutes, site.latitude_deg, site.longitude_deg)[0] > sun.SUNRISE_ZENITH_DEG
    edges = np.flatnonzero(np.diff(np.concatenate(([False], dark, [False])).astype(np.int8)))
    hours = np.append((minutes - minutes[0]) / np.timedelta64(1, "h"), (times[-1] - times[0]) / np.timedelta64(1, "h"))
    return tuple((float(hours[a]), float(hours[b])) for a, b in zip(edges[::2], edges[1::2], strict=True))
