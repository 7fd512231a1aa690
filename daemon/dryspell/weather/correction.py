"""How one place differs from its forecast, learned from what was read there, and put right in the next forecast.

Air temperature and dew point are moved, wind is multiplied. Humidity follows from the two. Nothing is learned of rain,
which readings of one place are too few for, nor of sun and cloud, where a sensor's shade is not that of the work.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from dryspell.science import air
from dryspell.weather.correction_fit import TRIAL_DAYS, Learned, learned
from dryspell.weather.history import History
from dryspell.weather.hourly import DAY, HOUR, Hourly, laid_out
from dryspell.weather.nowcast import LASTS_H, USUAL, lasting, leaning
from dryspell.weather.predictors import COURSE, PENALTIES, Usual, predictors
from dryspell.weather.table import FloatArray, WeatherTable, in_bounds
from dryspell.weather.trial import Score, score

AIR, DEW, HUMIDITY = "air_temperature", "dew_point_temperature", "relative_humidity"
WIND, GUST = "wind_speed", "wind_speed_of_gust"

MOVED = (AIR, DEW)
MULTIPLIED = (WIND, GUST)
LEANING = (AIR, DEW, WIND)
"""What the last reading says something of for the hours to come."""

_TOGETHER = np.timedelta64(1800, "s")  # readings this close are of the same air

Latest = Mapping[str, tuple[np.datetime64, float]]


@dataclass(frozen=True)
class SiteCorrection:
    """What was learned of a place.

    Attributes
    ----------
    scores
        By variable, how a correction did on forecasts of which it had not seen the readings.
    off
        By variable, why it is not corrected, in plain words.
    learned, lasting, usual
        What is used: shares by variable (of those that are not off), how departures last by variable, and the weather
        the predictors count from.
    """

    scores: Mapping[str, Score]
    off: Mapping[str, str]
    learned: Mapping[str, Learned]
    lasting: Mapping[str, FloatArray]
    usual: Usual

    def applied(self, table: WeatherTable, now: np.datetime64, latest: Latest | None = None) -> WeatherTable:
        """Return a forecast as it is for the place.

        Parameters
        ----------
        table
            The forecast. Its lead times count from `issued_at`.
        now
            The present instant (UTC): readings after it are not believed.
        latest
            The last reading of each variable there is one of: the next hours lean on it.

        Returns
        -------
        WeatherTable
            With the columns, times and members of the one given, and a note for each variable that was not corrected.
            The dew point is nowhere above the air temperature, the humidity fits the two wherever one of them was
            changed, and no wind is below 0.
        """
        given = dict(table.columns)
        if AIR in given and HUMIDITY in given:
            given[DEW] = _dew_point(table)
        corrected = self._corrected(table, given)
        for name, (at, reading) in _with_dew_point(latest or {}).items():
            if name in LEANING and name in corrected and now - LASTS_H * HOUR <= at <= now:
                left = self.lasting.get(name, USUAL)
                corrected[name] = corrected[name] + leaning(table.times, corrected[name], at, reading, left)
        columns = {**table.columns, **_consistent(table, given, corrected)}
        notes = tuple(f"{name.replace('_', ' ')} is not corrected: {why}" for name, why in self.off.items())
        return replace(table, columns=columns, notes=(*table.notes, *notes))

    def _corrected(self, table: WeatherTable, given: Mapping[str, FloatArray]) -> dict[str, FloatArray]:
        """Return what can be corrected, and is if that was learned."""
        columns = {name: given[name] for name in (*MOVED, *MULTIPLIED) if name in given}
        if not self.learned:
            return columns
        nothing = np.full_like(table.column(AIR), np.nan)
        air_c, dew_c, wind_m_s = (in_bounds(name, given.get(name, nothing)) for name in (AIR, DEW, WIND))
        x = predictors(table.times, air_c, dew_c, wind_m_s, self.usual)
        issued = np.datetime64(table.issued_at.replace(tzinfo=None), "s")
        lead_h = np.maximum((table.times - issued) / HOUR, 0.0)
        for name, one in self.learned.items():
            if name in columns:
                columns[name] = columns[name] + one.correction(x[..., : one.shares.size], columns[name], lead_h)
        return columns


def fit(history: Mapping[str, History], now: np.datetime64) -> SiteCorrection:
    """Learn how a place differs from its forecasts, from what has been read by `now`.

    Departures are learned by the hour of day and by the weather foreseen, from forecasts made within a day of the hour;
    those made earlier say how much of it holds for longer lead times. Recent days weigh more, and few readings
    move little. Every variable is tried on forecasts of which it had not seen the readings, and left off where it does
    not help.

    Parameters
    ----------
    history
        By variable. Forecasts without readings are of use too: dryness and wind tell of departures of temperature.
    now
        The present instant (UTC).
    """
    hourly = laid_out(history, now)
    if hourly is None:
        return SiteCorrection({}, {}, {}, {}, Usual(0.0, 0.0, 0.0))
    air_c, dew_c, wind_m_s = (hourly.forecast_of(name) for name in (AIR, DEW, WIND))
    usual = Usual.of(air_c[0], dew_c[0], wind_m_s[0])
    x = predictors(hourly.stamps, air_c, dew_c, wind_m_s, usual)
    found = {name: _tried(hourly, x, name) for name in (*MOVED, *MULTIPLIED) if _was_read(hourly, name)}
    return SiteCorrection(
        scores={name: one[1] for name, one in found.items()},
        off={name: one[2] for name, one in found.items() if one[2]},
        learned={name: one[0] for name, one in found.items() if not one[2]},
        lasting={name: one[3] for name, one in found.items()},
        usual=usual,
    )


NOTHING = fit({}, np.datetime64(0, "s"))
"""The correction of a place of which nothing has been learned: it only leans on the last readings."""


def _was_read(hourly: Hourly, name: str) -> bool:
    return name in hourly.reading and bool(np.isfinite(hourly.reading[name]).any())


def _tried(hourly: Hourly, x: FloatArray, name: str) -> tuple[Learned, Score, str, FloatArray]:
    """Return what was learned of a variable, its score, why not to use it, and how long departures last."""
    forecast, reading = hourly.forecast[name], hourly.reading[name]
    by_ratio = name in MULTIPLIED
    size = COURSE if by_ratio else PENALTIES.size
    one, said = learned(x[..., :size], forecast, reading, hourly.issued_day[name], PENALTIES[:size], by_ratio=by_ratio)
    departure = reading - forecast[0]
    found, off = score(departure, said)
    lately = departure[-TRIAL_DAYS * DAY :]
    return one, found, off, lasting(lately if off else lately - np.nan_to_num(said[-TRIAL_DAYS * DAY :]))


def _dew_point(table: WeatherTable) -> FloatArray:
    """Return the dew point, where it is not known that of temperature and humidity."""
    humidity = in_bounds(HUMIDITY, table.column(HUMIDITY))
    known = table.column(DEW)
    return np.where(np.isfinite(known), known, air.dew_point(in_bounds(AIR, table.column(AIR)), humidity))


def _with_dew_point(latest: Latest) -> Latest:
    """Add the dew point to readings of temperature and humidity taken together."""
    if DEW in latest or not {AIR, HUMIDITY} <= set(latest):
        return latest
    (at, air_c), (then, humidity_pct) = latest[AIR], latest[HUMIDITY]
    if abs(at - then) > _TOGETHER:
        return latest
    dew_c = air.dew_point(in_bounds(AIR, np.array(air_c)), in_bounds(HUMIDITY, np.array(humidity_pct)))
    return {**latest, DEW: (min(at, then), float(dew_c))}


def _consistent(
    table: WeatherTable, given: Mapping[str, FloatArray], corrected: dict[str, FloatArray]
) -> dict[str, FloatArray]:
    """Return the table's columns among the corrected ones, made to agree with each other."""
    if AIR in corrected and DEW in corrected:
        corrected[DEW] = np.fmin(corrected[DEW], np.where(np.isfinite(corrected[DEW]), corrected[AIR], np.nan))
        if HUMIDITY in table.columns:
            changed = (corrected[AIR] != given[AIR]) | (corrected[DEW] != given[DEW])
            humidity = air.relative_humidity(in_bounds(AIR, corrected[AIR]), in_bounds(DEW, corrected[DEW]))
            use = changed & np.isfinite(humidity)
            corrected[HUMIDITY] = np.where(use, humidity, table.columns[HUMIDITY])
    for name in MULTIPLIED:
        if name in corrected:
            corrected[name] = np.maximum(corrected[name], 0.0)
    if {WIND, GUST} <= set(corrected):
        known = np.isfinite(corrected[GUST])
        corrected[GUST] = np.where(known, np.fmax(corrected[GUST], corrected[WIND]), np.nan)
    return {name: values for name, values in corrected.items() if name in table.columns}
