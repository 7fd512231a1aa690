"""Reads an answer of Open-Meteo, live or recorded, whatever units, times, names and models it was asked for in."""

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np

from dryspell.errors import WeatherError
from dryspell.weather.checks import as_instant, disagreement, gaps, in_order, short_horizon, with_holes, within_bounds
from dryspell.weather.sources.open_meteo_columns import columns_of
from dryspell.weather.sources.open_meteo_json import one_line, reason_of
from dryspell.weather.table import TimeArray, WeatherTable

ATTRIBUTION = "Weather data by Open-Meteo.com (https://open-meteo.com), CC BY 4.0; adapted"
HOUR = np.timedelta64(1, "h")


def read_answer(
    data: object, fetched_at: datetime, *, model: str | None = None, place: int = 0, least_days: float | None = 3.0
) -> WeatherTable:
    """Read the hourly part of an answer of the forecast or the ensemble service.

    Parameters
    ----------
    data
        The decoded JSON.
    fetched_at
        When it was fetched, aware. It becomes the table's `issued_at`: the service does not tell when the models ran,
        so the forecast is older than its age says by the hours a model takes to run.
    model
        Which model of an answer that holds several. Without it the one that knows what is needed for the most hours is
        taken, and a note names it.
    place
        Which of the places of an answer for several, counted from 0.
    least_days
        A forecast that reaches less far ahead of `fetched_at` gets a note; None: it is no forecast.

    Returns
    -------
    WeatherTable
        Hours in UTC; sums, means and maxima are over the hour that ends at the stamp, as the service gives them. Nulls
        stay NaN. The members of an ensemble are the members of the table, the control first.

    Raises
    ------
    WeatherError
        For an error body, and for an answer that is not of the documented shape; the message names what is wrong.
    """
    answer = _one_place(data, place)
    reason = reason_of(answer)
    if reason is not None:
        raise WeatherError(f"Open-Meteo refused the request: {reason}")
    hourly, units = answer.get("hourly"), answer.get("hourly_units")
    if not isinstance(hourly, dict) or not isinstance(units, dict) or "time" not in hourly:
        raise WeatherError("Open-Meteo's answer has no hourly forecast in it")
    times = _times(hourly["time"], units.get("time"), answer.get("utc_offset_seconds"))
    columns, notes = columns_of(hourly, units, times.size, model)
    times, columns, order_notes = in_order(times, columns)
    if times.size < 2:
        raise WeatherError(f"Open-Meteo's answer holds {times.size} hour(s); two at the least are needed")
    columns, bound_notes = within_bounds(columns)
    bound_notes += disagreement(columns)
    if not any(np.isfinite(values).any() for values in columns.values()):
        bound_notes += ("every value is missing",)
    gap_notes = gaps(times)
    times, columns = with_holes(times, columns, HOUR)
    notes += (*order_notes, *gap_notes, *bound_notes)
    if least_days is not None:
        notes += short_horizon(times, columns, fetched_at, least_days)
    return WeatherTable(times, columns, "Open-Meteo", fetched_at.astimezone(UTC), ATTRIBUTION, notes)


def _one_place(data: object, place: int) -> dict[str, Any]:
    places: list[Any] = data if isinstance(data, list) else [data]
    if not 0 <= place < len(places):
        raise WeatherError(f"Open-Meteo's answer holds {len(places)} place(s), so there is no place {place}")
    answer = places[place]
    if not isinstance(answer, dict):
        raise WeatherError("Open-Meteo's answer is not of the documented shape: it is no JSON object")
    return answer


def _times(written: object, form: object, offset_s: object) -> TimeArray:
    """Return the instants in UTC, in the order written.

    One offset, that of the moment of the request, is applied by the service to all local stamps, across any change of
    the clocks; the zone's name must not be used to turn them back.
    """
    if not isinstance(written, list):
        raise WeatherError("Open-Meteo's answer has no list of times")
    zone = UTC if form == "unixtime" else _fixed_offset(offset_s)
    return np.array([_instant(stamp, zone, form) for stamp in written], dtype="datetime64[s]")


def _fixed_offset(offset_s: object) -> timezone:
    if isinstance(offset_s, bool) or not isinstance(offset_s, int) or abs(offset_s) >= 86400:
        raise WeatherError("Open-Meteo's answer has local times without a usable utc_offset_seconds")
    return timezone(timedelta(seconds=offset_s))


def _instant(stamp: Any, zone: timezone, form: object) -> np.datetime64:
    try:
        if form == "unixtime":
            return as_instant(datetime.fromtimestamp(stamp, UTC))
        moment = datetime.fromisoformat(stamp)
        return as_instant(moment if moment.tzinfo else moment.replace(tzinfo=zone))
    except (TypeError, ValueError, OverflowError, OSError):
        raise WeatherError(f"Open-Meteo's answer has a time that is none: {one_line(repr(stamp))}") from None
