"""An outlook from a site's own readings alone, for when no forecast can be had.

The next day will be much as the last ones were at the same hour; what departs from that now fades, and the readings
tell a little of how. That is worth a day and a half. It knows nothing of weather that is still elsewhere: no front, and
no rain.
"""

import math
from collections.abc import Mapping
from datetime import datetime

import numpy as np
import numpy.typing as npt

from dryspell.errors import WeatherError
from dryspell.science import air
from dryspell.weather.checks import as_datetime, as_instant
from dryspell.weather.clearness import CLOUD, GLOBAL, clearness_ahead
from dryspell.weather.departures import FADES_H, FITTED_DAYS, Rule, fitted, predictors_of, prior
from dryspell.weather.history import History
from dryspell.weather.learn_errors import RECENT_DAYS
from dryspell.weather.recent import AIR, DEW, HOUR, USUAL_DAYS, WIND, Recent, recent_of
from dryspell.weather.showers import CHANCE, RAIN
from dryspell.weather.table import ALONE, FloatArray, WeatherTable
from dryspell.weather.waits import instant_text, length_text

LEAST_DAYS = 3
"""With fewer days of readings than these there is no outlook: nothing is usual yet."""
LATEST_H = 6
"""There is none either when the last reading is older than this."""
FARTHEST_H = 48

_DAYS = FITTED_DAYS + USUAL_DAYS + 2
_FLOOR = {AIR: -np.inf, DEW: -np.inf, WIND: 0.0}


def foresee(
    readings: WeatherTable,
    now: datetime,
    hours: int = 36,
    *,
    place: tuple[float, float] | None = None,
    assume_no_rain: bool = False,
) -> WeatherTable:
    """Make an outlook of the next hours from what was read at the site, and nothing else.

    Parameters
    ----------
    readings
        What was read, any step, one member: air temperature, and humidity, dew point, wind, pressure and sunshine as
        far as there are sensors. What is later than `now` is not looked at. Sixty to ninety days of it are used.
    hours
        How far ahead of `now` the outlook reaches, up to 42. [h]
    place
        Latitude and longitude [deg]. With it, readings of sunshine make an estimate of the cloud.
    assume_no_rain
        Put no rain in place of unknown rain. Only somebody who looks at the sky himself may want that.

    Returns
    -------
    WeatherTable
        Hourly from the last reading of the air temperature, which is when it was `issued_at`. What has no sensor is
        unknown; so is rain, for it cannot be foreseen like this.

    Raises
    ------
    WeatherError
        There are not `LEAST_DAYS` of air temperatures, or the last one is older than `LATEST_H`.
    ValueError
        For more hours than can be foreseen.
    """
    if not 1 <= hours <= FARTHEST_H - LATEST_H:
        raise ValueError(f"hours needs to be 1 to {FARTHEST_H - LATEST_H}, got {hours}")
    last = _last_reading(readings, now)
    leads = hours + math.ceil((as_instant(now) - last) / HOUR)
    recent = recent_of(readings, last, _DAYS)
    _enough(recent)
    row = np.array([recent.times.size - 1])
    predictors = predictors_of(recent)
    ahead: dict[str, FloatArray] = {}
    for name in FADES_H:
        if _known_days(recent, name) >= LEAST_DAYS and np.isfinite(recent.departure(name)[-1]):
            rule = fitted(recent, name, predictors, int(row[0]), leads)
            ahead[name] = _ahead(recent, name, predictors, row, leads, rule)
    if DEW in ahead:
        ahead[DEW] = np.minimum(ahead[DEW], ahead[AIR])
        ahead["relative_humidity"] = air.relative_humidity(ahead[AIR], ahead[DEW])
    times = last + np.arange(leads + 1) * HOUR
    if place is not None and readings.knows(GLOBAL):
        cloud, sunshine = clearness_ahead(readings, times, place)
        ahead |= {CLOUD: cloud[None], GLOBAL: sunshine[None]}
    ahead[RAIN] = np.full((1, times.size), 0.0 if assume_no_rain else np.nan)
    if assume_no_rain:
        ahead[CHANCE] = np.zeros((1, times.size))
    return WeatherTable(
        times,
        ahead,
        source=ALONE,
        issued_at=as_datetime(last),
        attribution=readings.attribution,
        notes=_notes(recent, ahead, assume_no_rain=assume_no_rain),
    )


def relived(
    readings: WeatherTable, now: datetime, hours: int = 36, *, days: int = RECENT_DAYS
) -> Mapping[str, History]:
    """Make the outlooks of the past days again, each from what was read before it, beside what was read then.

    From this the errors of `foresee` are learned. The rule is fitted anew once a day; an outlook is made every hour
    with a reading.

    Raises
    ------
    WeatherError
        As from `foresee`.
    """
    last = _last_reading(readings, now)
    recent = recent_of(readings, last, _DAYS + days)
    _enough(recent)
    predictors = predictors_of(recent)
    end = recent.times.size
    refits = np.arange(end - 24 * days, end, 24)
    histories = {}
    for name in FADES_H:
        parts = [
            _ahead(
                recent, name, predictors, first + np.arange(24), hours, fitted(recent, name, predictors, first, hours)
            )
            for first in refits.tolist()
        ]
        histories[name] = _beside_readings(recent, name, refits[0] + np.arange(24 * days), np.concatenate(parts))
    return histories


def _ahead(
    recent: Recent, name: str, predictors: FloatArray, rows: npt.NDArray[np.int64], leads: int, rule: Rule | None
) -> FloatArray:
    """Return a variable from each row on, shape (rows, leads + 1); at lead 0 it is the reading."""
    found = prior(recent, name, rows, leads)
    if rule is not None:
        found = found + rule.at(predictors[rows])
    found[:, 0] = recent.values[name][rows]
    return np.maximum(found, _FLOOR[name])


def _beside_readings(recent: Recent, name: str, rows: npt.NDArray[np.int64], ahead: FloatArray) -> History:
    leads = np.arange(1, ahead.shape[1])
    at = rows[:, None] + leads
    inside = np.minimum(at, recent.times.size - 1)
    known = np.concatenate([np.zeros(1), np.cumsum(np.isfinite(recent.values[AIR]))])
    begun = known[rows + 1] - known[np.maximum(rows + 1 - 24 * USUAL_DAYS, 0)] >= 24 * LEAST_DAYS
    read = (at < recent.times.size) & recent.read[name][inside] & (begun & recent.read[AIR][rows])[:, None]
    read &= np.isfinite(ahead[:, 1:])
    order = np.argsort(at[read], kind="stable")

    def flat(values: FloatArray) -> FloatArray:
        return np.asarray(np.broadcast_to(values, at.shape)[read][order])

    return History(
        name,
        recent.times[at[read][order]],
        flat(leads.astype(np.float64)),
        flat(ahead[:, 1:]),
        flat(recent.values[name][inside]),
    )


def _last_reading(readings: WeatherTable, now: datetime) -> np.datetime64:
    moment = as_instant(now)
    known = np.isfinite(readings.column(AIR)[0]) & (readings.times <= moment)
    if not known.any():
        raise WeatherError(f"an outlook from readings alone needs {LEAST_DAYS} days of air temperature; there are none")
    last: np.datetime64 = readings.times[known][-1]
    if moment - last > LATEST_H * HOUR:
        old = length_text(float((moment - last) / np.timedelta64(1, "s")))
        raise WeatherError(
            f"an outlook from readings alone needs an air temperature of the last {LATEST_H} h;"
            f" the last is of {instant_text(as_datetime(last))}, {old} ago"
        )
    return last


def _known_days(recent: Recent, name: str) -> float:
    return float(np.count_nonzero(np.isfinite(recent.values[name][-24 * USUAL_DAYS :]))) / 24.0


def _enough(recent: Recent) -> None:
    days = _known_days(recent, AIR)
    if days < LEAST_DAYS:
        raise WeatherError(
            f"an outlook from readings alone needs {LEAST_DAYS} days of air temperature; there are {days:.1f} so far"
        )
    unseen = np.count_nonzero(~np.isfinite(recent.usual[AIR][-24:]))
    if unseen:
        raise WeatherError(
            f"an outlook from readings alone needs each hour of the day read once in the last {USUAL_DAYS} days;"
            f" {unseen} of the 24 have not been"
        )


def _notes(recent: Recent, ahead: Mapping[str, FloatArray], *, assume_no_rain: bool) -> tuple[str, ...]:
    days = _known_days(recent, AIR)
    notes = [f"no forecast: made from {days:.0f} days of the site's own readings alone, and as uncertain as that"]
    if assume_no_rain:
        notes.append(
            "rain cannot be foreseen from readings: none is assumed, as you have set; look at the sky yourself"
        )
    else:
        notes.append("rain cannot be foreseen from readings: it is unknown")
    words = {DEW: "humidity", WIND: "wind", CLOUD: "cloud"}
    missing = [word for name, word in words.items() if name not in ahead or np.isnan(ahead[name]).all()]
    if missing:
        notes.append(f"not known for want of readings: {', '.join(missing)}")
    return tuple(notes)
