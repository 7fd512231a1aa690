"""Times and quantities as a finisher reads them: in the site's zone, in metric or US units."""

from datetime import date, datetime, timedelta, tzinfo
from typing import Literal

Units = Literal["metric", "us"]

# Not strftime: a library may set the locale, and a message is English throughout.
_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")

# Unit inside: scale, offset, unit shown, digits after the point.
_SHOWN: dict[Units, dict[str, tuple[float, float, str, int]]] = {
    "metric": {
        "K": (1.0, 0.0, "K", 1),
        "degC": (1.0, 0.0, "°C", 1),
        "%": (1.0, 0.0, "%", 0),
        "m/s": (1.0, 0.0, "m/s", 1),
        "mm": (1.0, 0.0, "mm", 1),
        "h": (1.0, 0.0, "h", 1),
        "um": (1.0, 0.0, "µm", 0),
        "m2/L": (1.0, 0.0, "m²/L", 1),
        "min": (1.0, 0.0, "min", 0),
        "g/kg": (1.0, 0.0, "g/kg", 1),
        "": (1.0, 0.0, "", 1),
    },
    "us": {
        "K": (1.8, 0.0, "°F", 1),
        "degC": (1.8, 32.0, "°F", 0),
        "%": (1.0, 0.0, "%", 0),
        "m/s": (1 / 0.44704, 0.0, "mph", 0),
        "mm": (1 / 25.4, 0.0, "in", 2),
        "h": (1.0, 0.0, "h", 1),
        "um": (1 / 25.4, 0.0, "mil", 1),
        "m2/L": (3.785411784 / 0.09290304, 0.0, "ft²/gal", 0),
        "min": (1.0, 0.0, "min", 0),
        "g/kg": (7.0, 0.0, "gr/lb", 0),
        "": (1.0, 0.0, "", 1),
    },
}


def clock(instant: datetime, zone: tzinfo) -> str:
    """Return the time of day, with the zone's letters in the hour that comes twice when the clocks go back."""
    local = instant.astimezone(zone)
    twice = local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()
    return f"{local:%H:%M} {local.tzname()}" if twice else f"{local:%H:%M}"


def weekday_date(of: date) -> str:
    """Return a date with its weekday: "Thu 3 Sep"."""
    return f"{_DAYS[of.weekday()]} {of.day} {_MONTHS[of.month - 1]}"


def day(instant: datetime, zone: tzinfo, now: datetime) -> str:
    """Return the day as it is called at `now`: "today", "tomorrow", "Thu 3 Sep"."""
    local = instant.astimezone(zone)
    away = (local.date() - now.astimezone(zone).date()).days
    near = {-1: "yesterday", 0: "today", 1: "tomorrow"}
    if away in near:
        return near[away]
    return weekday_date(local) if abs(away) < 180 else f"{weekday_date(local)} {local.year}"


def when(instant: datetime, zone: tzinfo, now: datetime) -> str:
    """Return day and time as they are called at `now`: "today 09:40", "tomorrow 09:40", "Thu 3 Sep 09:40"."""
    return f"{day(instant, zone, now)} {clock(instant, zone)}"


def moment(instant: datetime, zone: tzinfo, now: datetime | None = None, on: datetime | None = None) -> str:
    """Return a time with its day, unless that is the day of `on`.

    With `now`, days are called as they are called then; without it they go by their weekday, and by their date where
    the weekday would be one of another week than that of `on`.
    """
    local, about = instant.astimezone(zone), None if on is None else on.astimezone(zone).date()
    if local.date() == about:
        return clock(instant, zone)
    if now is not None:
        return when(instant, zone, now)
    far = about is not None and abs((local.date() - about).days) >= 7
    return f"{weekday_date(local) if far else _DAYS[local.weekday()]} {clock(instant, zone)}"


def duration(length: timedelta) -> str:
    """Return a length of time: "45 min", "7 h 30 min", "2 d 4 h"."""
    minutes = round(length.total_seconds() / 60)
    if minutes >= 48 * 60:
        days, hours = divmod(round(minutes / 60), 24)
        return f"{days} d {hours} h" if hours else f"{days} d"
    hours, minutes = divmod(minutes, 60)
    if not hours:
        return f"{minutes} min"
    return f"{hours} h {minutes} min" if minutes else f"{hours} h"


def quantity(value: float, unit: str, units: Units = "metric", *, unlike: float | None = None) -> str:
    """Return a figure with its unit.

    Parameters
    ----------
    value
        In `unit`: K (a difference), degC, %, m/s, mm, h or um.
    unlike
        Another figure in the same unit: digits are added until the two can be told apart, so that no message says that
        3.0 K are too few where 3 K are needed.
    """
    scale, offset, shown, digits = _SHOWN[units][unit]
    number = value * scale + offset
    if unlike is not None and value != unlike:
        other = unlike * scale + offset
        while digits < 4 and round(number, digits) == round(other, digits):
            digits += 1
    return f"{round(number, digits) + 0.0:.{digits}f} {shown}".rstrip()


def scale_of(unit: str, units: Units = "metric") -> tuple[float, float, str]:
    """Return what a figure is multiplied by and what is then added to show it, and the unit it is shown in."""
    scale, offset, shown, _ = _SHOWN[units][unit]
    return scale, offset, shown


def limit_figure(bound: float, unit: str, units: Units = "metric") -> str:
    """Return a limit's own figure as it is written on a can: "3 K", "0.2 mm"."""
    scale, offset, shown, digits = _SHOWN[units][unit]
    return f"{round(bound * scale + offset, max(digits, 1)):g} {shown}".rstrip()
