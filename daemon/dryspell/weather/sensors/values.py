"""From what stands in a payload to a number in the unit of a variable, or to an instant."""

import math
import re
from datetime import UTC, datetime, timedelta
from typing import Any

from dryspell.units import convert
from dryspell.weather.sensors.model import OwnTime
from dryspell.weather.sensors.scale import Scale

# What devices and home automation write where there is no value.
NO_VALUE = frozenset({"", "-", "--", "---", "nan", "null", "none", "n/a", "na", "unavailable", "unknown"})

_QUANTITY = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\s\d.,_].*)?", re.ASCII)
_INFINITE = re.compile(r"[+-]?inf(inity)?", re.ASCII)
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_SHOWN = 40


def shown(value: Any) -> str:
    """Return a value out of a payload as it may stand in a message: on one line, and short."""
    text = repr(value) if isinstance(value, str) else str(value)
    text = "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text[:_SHOWN])
    return text + "…" if len(text) >= _SHOWN else text


def read_number(value: Any, scale: Scale | None, unit: str, *, decimal_comma: bool = False) -> float | None:
    """Return a value of a payload in `unit`, or None where it says that there is none.

    Parameters
    ----------
    value
        A number, or text: a number with or without a unit.
    scale
        What a number without a unit counts.
    decimal_comma
        Read "21,5" as 21.5.

    Raises
    ------
    ValueError
        It is no number, or in no unit that converts; the text says what it is.
    """
    match value:
        case None:
            return None
        case bool() | list() | dict():
            raise ValueError("is no number")
        case str():
            number, own_unit = _split(value, decimal_comma=decimal_comma)
        case _:
            number, own_unit = _finite(value), ""
    if number is None:
        return None
    if own_unit:
        return convert(number, own_unit, unit)
    if scale is None:
        raise ValueError("has no unit beside it, and the configuration names none")
    return scale.to(number, unit)


def _split(text: str, *, decimal_comma: bool) -> tuple[float | None, str]:
    text = text.strip().replace("\N{MINUS SIGN}", "-")
    if text.lower() in NO_VALUE or _INFINITE.fullmatch(text.lower()):
        return None, ""
    match = _QUANTITY.fullmatch(text.replace(",", ".") if decimal_comma else text)
    if match is None:
        raise ValueError("is no number")
    return _finite(match[1]), match[2] or ""


def _finite(value: Any) -> float | None:
    try:
        number = float(value)
    except OverflowError:
        return None
    return number if math.isfinite(number) else None


def read_instant(value: Any, own: OwnTime) -> datetime | None:
    """Return the instant a payload gives (aware, UTC), or None where it says that there is none.

    Raises
    ------
    ValueError
        It is no instant in the form the configuration names; the text says what is wrong.
    """
    if value is None or (isinstance(value, str) and value.strip().lower() in NO_VALUE):
        return None
    if own.format != "iso":
        return _since_epoch(value, 1000.0 if own.format == "unix_ms" else 1.0)
    try:
        at = datetime.fromisoformat(value.strip())
        zoned = at.replace(tzinfo=own.zone) if at.tzinfo is None else at
        if zoned.tzinfo is not None:
            return zoned.astimezone(UTC)
    except (AttributeError, ValueError, OverflowError):
        raise ValueError("is no time in the form of ISO 8601") from None
    raise ValueError("has no offset from UTC; name the zone of such times in the configuration")


def _since_epoch(value: Any, a_second: float) -> datetime:
    try:
        if isinstance(value, bool):
            raise ValueError  # noqa: TRY301, TRY004  (as for all that is no number)
        return _EPOCH + timedelta(seconds=float(value) / a_second)
    except (TypeError, ValueError, OverflowError):
        raise ValueError("is no time since 1970 as a number") from None
