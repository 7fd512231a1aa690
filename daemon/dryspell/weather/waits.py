"""How long a service wants to be left alone, and how a length of time reads."""

from datetime import UTC, datetime

# MET Norway's terms ask that Expires be obeyed; a floor and a ceiling keep a server with a wrong clock from being
# hammered or from being left alone for days.
_LEAST_FRESH_S = 60.0
_LONGEST_FRESH_S = 6 * 3600.0


def retry_after_s(value: str | None, date: str | None, now: datetime) -> float | None:
    """Read a Retry-After header in either form of RFC 9110, 10.2.3.

    Parameters
    ----------
    value
        The header: a number of seconds, or an HTTP date.
    date
        The answer's Date header. A date is counted from the server's own clock where it tells it, so that a wrong clock
        here does no harm.
    now
        Stands in where `date` is missing.

    Returns
    -------
    float or None
        Seconds to wait, not negative; None where the header is missing or makes no sense.
    """
    if value is None:
        return None
    if value.strip().isdecimal():
        return float(value)
    until = _http_date(value)
    return None if until is None else max((until - (_http_date(date) or now)).total_seconds(), 0.0)


def fresh_for_s(expires: str | None, date: str | None, now: datetime) -> float:
    """Return for how many seconds an answer may not be asked for again by its Expires header; 0 where it has none."""
    if expires is None:
        return 0.0
    until = _http_date(expires)
    if until is None:  # RFC 9111, 5.3: an invalid date, "0" above all, has already expired
        return _LEAST_FRESH_S
    length_s = (until - (_http_date(date) or now)).total_seconds()
    return min(max(length_s, _LEAST_FRESH_S), _LONGEST_FRESH_S)


def length_text(seconds: float) -> str:
    """Write a length of time as a person reads it: "40 s", "12 min", "3 h 10 min", "2 days 4 h"."""
    if seconds < 60:
        return f"{seconds:.0f} s"
    minutes = int(seconds // 60)
    days, hours, minutes = minutes // 1440, minutes // 60 % 24, minutes % 60
    if days:
        parts = [f"{days} day{'s' if days > 1 else ''}", f"{hours} h" if hours else ""]
    else:
        parts = [f"{hours} h" if hours else "", f"{minutes} min" if minutes else ""]
    return " ".join(part for part in parts if part)


def instant_text(instant: datetime) -> str:
    """Write an instant for a note: "2026-06-01T04:00Z"."""
    return f"{instant.astimezone(UTC):%Y-%m-%dT%H:%MZ}"


def _http_date(text: str | None) -> datetime | None:
    if text is None:
        return None
    from email.utils import parsedate_to_datetime  # noqa: PLC0415  (brings sockets; instants are told without it)

    try:
        moment = parsedate_to_datetime(text)
    except (ValueError, TypeError, OverflowError):
        return None
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
