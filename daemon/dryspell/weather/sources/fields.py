"""Single fields of a service's JSON, taken for what they have to be or refused in one sentence."""

from datetime import datetime
from typing import Any

import numpy as np

from dryspell.errors import WeatherError
from dryspell.weather.checks import as_instant
from dryspell.weather.sources.open_meteo_json import one_line


def number(value: object, place: str) -> float:
    """Return a number, NaN for null and for what is beyond all numbers.

    Raises
    ------
    WeatherError
        It is something else; the message begins with `place`, such as "MET Norway's answer: wind_speed".
    """
    if value is None:
        return np.nan
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WeatherError(f"{place} is no number: {shown(value)}")
    try:
        read = float(value)
    except OverflowError:
        return np.nan
    return read if np.isfinite(read) else np.nan


def instant(value: object, place: str) -> np.datetime64:
    """Return an instant, cut to the second.

    Raises
    ------
    WeatherError
        It is no ISO 8601 text with an offset from UTC; the message begins with `place`.
    """
    try:
        moment = datetime.fromisoformat(value) if isinstance(value, str) else None
        if moment is not None and moment.tzinfo is not None:
            return as_instant(moment)
    except (ValueError, OverflowError):
        pass
    raise WeatherError(f"{place} is no instant with its offset from UTC: {shown(value)}")


def table(value: object, place: str) -> dict[str, Any]:
    """Return a JSON object, empty for null or what is absent.

    Raises
    ------
    WeatherError
        It is something else; the message begins with `place`.
    """
    if value is None:
        return {}
    if not isinstance(value, dict):
        raise WeatherError(f"{place} is no JSON object: {shown(value)}")
    return value


def shown(value: object) -> str:
    """Return what was found as one line for a message; what is inside a list or an object is not told."""
    if isinstance(value, dict):
        return "an object"
    return "a list" if isinstance(value, list) else one_line(repr(value))


def degrees_text(degrees: float) -> str:
    """Write a latitude or longitude with four decimals at the most, some ten metres, and none that says nothing.

    Services answer a longer one with a refusal (MET Norway) or by sending one on to the shorter address (US NWS).
    """
    text = f"{degrees:.4f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
