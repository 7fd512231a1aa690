"""What was forecast and read, laid out by the hour in whole days that end with the last hour."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.science import air
from dryspell.weather.history import History
from dryspell.weather.table import FloatArray, TimeArray, in_bounds

DAY = 24
HOUR = np.timedelta64(3600, "s")

LEAD_ENDS_H = np.array([24.0, 48.0, 96.0, 168.0])
"""Where a band of lead times ends and the next begins [h]; the last has no end."""

_LONGEST_DAYS = 400  # a year and a month: what is older weighs next to nothing

IntArray = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Hourly:
    """Forecasts and readings by the hour.

    Attributes
    ----------
    stamps
        UTC, every hour of `days` whole days, ascending, shape (hours,).
    forecast
        By variable, shape (bands, hours): of each band of lead times the latest forecast made for the hour. There are
        as many bands as there are forecasts for.
    reading
        By variable, shape (hours,).
    issued_day
        By variable, shape (bands, hours): how many of the days were over when that forecast was made.
    """

    stamps: TimeArray
    forecast: Mapping[str, FloatArray]
    reading: Mapping[str, FloatArray]
    issued_day: Mapping[str, IntArray]

    @property
    def days(self) -> int:
        """How many days these are."""
        return self.stamps.size // DAY

    def forecast_of(self, name: str) -> FloatArray:
        """Return a forecast, all NaN where there is none."""
        nothing = np.full_like(next(iter(self.forecast.values())), np.nan)
        return self.forecast.get(name, nothing)


def laid_out(history: Mapping[str, History], now: np.datetime64) -> Hourly | None:
    """Lay out what has been read by `now`; None where nothing has.

    What is physically impossible is taken as not known. Where temperature and humidity are there but no dew point, that
    is worked out, of the forecasts as of the readings.
    """
    known = {name: one.before(now) for name, one in history.items()}
    read = [one.valid[np.isfinite(one.reading)] for one in known.values()]
    if not any(valid.size for valid in read):
        return None
    last = max(_hour_of(valid[-1:])[0] for valid in read if valid.size)
    first = min(_hour_of(valid[:1])[0] for valid in read if valid.size)
    days = int(min((last - first) // DAY + 1, _LONGEST_DAYS))
    begin = last - DAY * days + 1
    furthest = max(float(one.lead_h.max(initial=0.0)) for one in known.values())
    shape = (int(np.searchsorted(LEAD_ENDS_H, furthest)) + 1, DAY * days)

    forecast, reading, issued_day = {}, {}, {}
    for name, one in known.items():
        at = _hour_of(one.valid) - begin
        # Where there are several for a place the last one stands: the latest made.
        order = np.argsort(-one.lead_h, kind="stable")
        order = order[(at[order] >= 0) & (at[order] < shape[1]) & np.isfinite(one.forecast[order])]
        place = np.searchsorted(LEAD_ENDS_H, one.lead_h[order]), at[order]
        forecast[name] = np.full(shape, np.nan)
        forecast[name][place] = in_bounds(name, one.forecast[order])
        reading[name] = np.full(shape[1], np.nan)
        reading[name][at[order]] = in_bounds(name, one.reading[order])
        issued_day[name] = np.zeros(shape, dtype=np.int64)
        # A day is over with its last hour. A forecast for the hour it is made in does not know what is read in it.
        over = (at[order] + 1 - np.maximum(np.ceil(one.lead_h[order]), 1.0)) // DAY
        issued_day[name][place] = np.clip(over, 0, days).astype(np.int64)
    if {"air_temperature", "relative_humidity"} <= set(known) and "dew_point_temperature" not in known:
        for values in (forecast, reading):
            dew = air.dew_point(values["air_temperature"], values["relative_humidity"])
            values["dew_point_temperature"] = dew
        issued_day["dew_point_temperature"] = np.minimum(issued_day["air_temperature"], issued_day["relative_humidity"])
    stamps = (begin + np.arange(shape[1])).astype("datetime64[h]").astype("datetime64[s]")
    return Hourly(stamps, forecast, reading, issued_day)


def _hour_of(instants: TimeArray) -> IntArray:
    """Return the number of the nearest hour."""
    return (instants.astype("datetime64[s]").astype(np.int64) + 1800) // 3600
