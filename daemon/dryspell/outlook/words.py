"""What an outlook says, in a finisher's words: pure text from the models, for the terminal and for alerts.

The verdict comes first, then one reason with its number. Times are the site's own. Figures are metric or of the US; a
difference of temperature is in K, or in the smaller °F where that is the unit.
"""

import operator
from dataclasses import dataclass
from datetime import datetime, tzinfo
from typing import Literal
from zoneinfo import ZoneInfo

from dryspell.outlook.figures import (
    Units,
    clock,
    day,
    duration,
    limit_figure,
    moment,
    quantity,
    weekday_date,
    when,
)
from dryspell.outlook.model import BareWood, CoatsOn, Limit, Outlook, Reason, Window
from dryspell.trade.before import Before, before_text

__all__ = [
    "LABELS",
    "Units",
    "capital",
    "caution_text",
    "clock",
    "coat_below",
    "coats_on_text",
    "cover_text",
    "day",
    "duration",
    "limit_figure",
    "moment",
    "next_window",
    "open_window",
    "quantity",
    "reason_text",
    "short_text",
    "variable",
    "verdict",
    "verdict_line",
    "weekday_date",
    "when",
    "why",
    "wood_text",
]


@dataclass(frozen=True)
class _Measured:
    """How a limit with a number is told: what was measured, what is asked, and until when it is asked."""

    what: str
    asked: Literal["needed", "at most", "less than"]
    until: str = ""

    def fails(self, value: float, bound: float) -> bool:
        """Say whether a value breaks the bound."""
        breaks = {"needed": operator.lt, "at most": operator.gt, "less than": operator.ge}
        return bool(breaks[self.asked](value, bound))


_WET_FILM = ", before the film is touch-dry"
_DEW_SAFE = ", before the film is dew-safe"
_RAIN_SAFE = ", before the film is rain-safe"

_MEASURED: dict[Limit, _Measured] = {
    Limit.AIR_LOW: _Measured("air {}", "needed"),
    Limit.AIR_HIGH: _Measured("air {}", "at most"),
    Limit.SURFACE_LOW: _Measured("surface {}", "needed"),
    Limit.SURFACE_HIGH: _Measured("surface {}", "at most", _WET_FILM),
    Limit.HUMIDITY: _Measured("humidity {}", "at most"),
    Limit.MARGIN_APPLY: _Measured("surface {} over the dew point", "needed", " while brushing"),
    Limit.WIND: _Measured("wind {} at the piece", "at most"),
    Limit.SUN: _Measured("sun heats the film {} over the air", "at most", _WET_FILM),
    Limit.MARGIN_HOLD: _Measured("surface {} over the dew point", "needed", _DEW_SAFE),
    Limit.RAIN: _Measured("rain {}", "less than", _RAIN_SAFE),
    Limit.RAIN_CHANCE: _Measured("chance of rain {}", "less than", _RAIN_SAFE),
    Limit.COLD: _Measured("surface {}", "needed", ", before the film is sandable"),
}

_NOTHING: dict[Limit, str] = {
    Limit.RAIN: "no rain",
    Limit.RAIN_CHANCE: "no chance of rain",
    Limit.SUN: "film no warmer than the air",
}

# Limits without a number: what is the matter, and until when.
_PLAIN: dict[Limit, tuple[str, str]] = {
    Limit.KNOWN: ("the forecast does not cover this coat and its drying", "; it does from {}"),
    Limit.COAT_BELOW: ("{} is not ready to coat over", " before {}"),
    Limit.BUILT_UP: ("every coat is on", ""),
    Limit.HOURS: ("no room in your working hours", " before {}"),
    Limit.COVER: ("the cover is on, or goes on before the last stroke", "; room to brush from {}"),
    Limit.DAYLIGHT: ("no full daylight to brush in", " before {}"),
    Limit.DRY: ("surface wet with dew or rain, or only just dry", "; dry long enough from {}"),
}

LABELS: dict[Limit, str] = {
    Limit.KNOWN: "forecast too short",
    Limit.COAT_BELOW: "coat below not ready",
    Limit.BUILT_UP: "all coats on",
    Limit.HOURS: "working hours",
    Limit.COVER: "under cover",
    Limit.DAYLIGHT: "daylight",
    Limit.DRY: "not dry",
    Limit.AIR_LOW: "cold air",
    Limit.AIR_HIGH: "hot air",
    Limit.SURFACE_LOW: "cold surface",
    Limit.SURFACE_HIGH: "hot surface",
    Limit.HUMIDITY: "damp air",
    Limit.MARGIN_APPLY: "dew while brushing",
    Limit.WIND: "wind",
    Limit.SUN: "sun on the wet film",
    Limit.MARGIN_HOLD: "dew on the wet film",
    Limit.RAIN: "rain",
    Limit.RAIN_CHANCE: "chance of rain",
    Limit.COLD: "cold night",
}
"""Each limit in a word or two, for a list."""

_VARIABLES = {
    "wind_speed_of_gust": "gusts",
    "precipitation_amount": "rain",
    "probability_of_precipitation": "chance of rain",
    "surface_downwelling_shortwave_flux_in_air": "sunshine",
    "surface_direct_downwelling_shortwave_flux_in_air": "direct sunshine",
    "surface_diffuse_downwelling_shortwave_flux_in_air": "diffuse sunshine",
    "surface_downwelling_longwave_flux_in_air": "longwave from the sky",
    "dew_point_temperature": "dew point",
    "cloud_area_fraction": "cloud",
}


def variable(name: str) -> str:
    """Return what a weather variable is called."""
    return _VARIABLES.get(name, name.replace("_", " "))


def reason_text(
    reason: Reason,
    zone: tzinfo,
    units: Units = "metric",
    *,
    now: datetime | None = None,
    on: datetime | None = None,
    below: int | None = None,
) -> str:
    """Return a reason as a sentence without a full stop, with its number.

    A limit that fails says what is asked; one that passes says how much is to spare.

    Parameters
    ----------
    now
        Name days as they are called then ("tomorrow 08:00"); without it, by their weekday ("Fri 08:00").
    on
        The day the reader has in mind: a time on it stands without its day. Default: `now`.
    below
        The number of the coat that is on, where it is known.
    """
    at = None if reason.at is None else moment(reason.at, zone, now, on or now)
    if reason.dry_at is not None:
        until = moment(reason.dry_at, zone, now, on or now)
        return f"surface wet with dew or rain until {until}" + (f"; dry long enough from {at}" if at else "")
    if reason.value is None or reason.bound is None:
        return _plain_text(reason, at, below)
    if reason.limit is Limit.KNOWN:
        age, limit = quantity(abs(reason.value), "h", unlike=reason.bound), limit_figure(reason.bound, "h")
        if reason.value < 0.0:
            return f"the forecast is dated {age} ahead of the clock here; one of the two is wrong"
        return f"the forecast is {age} old ({limit} at most)"
    return _measured_text(reason, reason.value, reason.bound, at, units)


def _plain_text(reason: Reason, at: str | None, below: int | None) -> str:
    if reason.limit not in _PLAIN:
        return LABELS[reason.limit]
    if reason.what:
        return f"the forecast has no {variable(reason.what)} for part of this coat and its drying"
    text, relief = _PLAIN[reason.limit]
    text = text.format(f"coat {below}" if below else "the coat below")
    return text + relief.format(at) if at is not None else text


def _measured_text(reason: Reason, value: float, bound: float, at: str | None, units: Units) -> str:
    how = _MEASURED[reason.limit]
    at_text = "" if at is None else f" at {at}" if at[0].isdigit() else f" {at}"
    if reason.limit in _NOTHING and value <= 0.0:
        return _NOTHING[reason.limit] + how.until
    if reason.limit is Limit.RAIN:
        at_text = f", heaviest{at_text}" if at is not None else ""
    if reason.limit in (Limit.MARGIN_APPLY, Limit.MARGIN_HOLD) and value < 0.0:
        under = quantity(-value, reason.unit, units, unlike=0.0)
        needed = limit_figure(bound, reason.unit, units)
        return f"dew: surface {under} under the dew point{at_text}{how.until} ({needed} over it needed)"
    shown = quantity(value, reason.unit, units, unlike=bound)
    if not how.fails(value, bound):
        # The spare of a temperature is a difference.
        spare = quantity(abs(value - bound), "K" if reason.unit == "degC" else reason.unit, units)
        return f"{how.what.format(shown)}{at_text}, {spare} to spare"
    asked = limit_figure(bound, reason.unit, units)
    asked = f"less than {asked} needed" if how.asked == "less than" else f"{asked} {how.asked}"
    only = "only " if how.asked == "needed" else ""
    return f"{how.what.format(only + shown)}{at_text}{how.until} ({asked})"


def short_text(reason: Reason, zone: tzinfo, units: Units = "metric", *, on: datetime | None = None) -> str:
    """Return a reason in a few words with its number: "dew on the wet film 0.3 K (min 1 K)"."""
    label = LABELS[reason.limit]
    if reason.value is None or reason.bound is None or reason.limit not in _MEASURED:
        return label if reason.at is None else f"{label} before {moment(reason.at, zone, None, on)}"
    asked = {"needed": "min", "at most": "max", "less than": "under"}[_MEASURED[reason.limit].asked]
    value = quantity(reason.value, reason.unit, units, unlike=reason.bound)
    return f"{label} {value} ({asked} {limit_figure(reason.bound, reason.unit, units)})"


_CAUTIONS: dict[Limit, str] = {
    Limit.HUMIDITY: "damp: humidity {value}, comfortable up to {bound}; give it longer",
    Limit.WIND: "windy: {value} at the piece, comfortable up to {bound}; keep the wet edge short, mind the dust",
    Limit.RAIN_CHANCE: "chance of rain {value} before the film is rain-safe; have a cover at hand",
}


def caution_text(reason: Reason, units: Units = "metric") -> str:
    """Return what to mind though no limit is broken, as a sentence without a full stop."""
    value, bound = (quantity(figure or 0.0, reason.unit, units) for figure in (reason.value, reason.bound))
    return _CAUTIONS[reason.limit].format(value=value, bound=bound)


def cover_text(
    window: Window, zone: tzinfo, units: Units = "metric", *, now: datetime | None = None, on: datetime | None = None
) -> str:
    """Return what the cover is needed for in a window, as a sentence without a full stop; empty where it is not.

    Days are named as in `reason_text`.
    """
    reason = window.without_cover
    if reason is None:
        return ""
    by = (
        "the cover has kept it dry"
        if window.cover_on_by is None
        else "cover on by " + moment(window.cover_on_by, zone, now, on or now)
    )
    if window.bare_until is not None:
        by += f" for a coat begun after {moment(window.bare_until, zone, now, on or now)}"
    how = _MEASURED.get(reason.limit)
    passes = how is not None and not how.fails(reason.value or 0.0, reason.bound or 0.0)
    return f"{by}; without it {'tight: ' if passes else ''}{reason_text(reason, zone, units, now=now, on=on)}"


def wood_text(wood: BareWood) -> str:
    """Return how dry bare wood is and gets before its first coat, as sentences with their full stops."""
    settles, below = f"{wood.settles_at_pct:.0f} %", f"{wood.below_pct:g} %"
    air = f"In the air of the days ahead bare wood settles at about {settles}, kept from rain"
    if wood.read_pct is None:
        damp = "; that is too damp for it" if wood.settles_at_pct >= wood.below_pct else ""
        return f"{air}{damp}. Bring it under {below} before coat 1."
    read = f"The wood reads {wood.read_pct:g} %"
    if wood.read_pct < wood.below_pct:
        return f"{read}, under the {below} that it should be before coat 1. {air}."
    if wood.days is None:
        return f"{read}: bring it under {below} before coat 1. {air}: there it does not get so dry."
    least, most = (f"{max(days, 1.0):.0f}" for days in wood.days)
    days = f"{least} to {most} days" if least != most else f"{most} day{'s' * (most != '1')}"
    return f"{read}: bring it under {below} before coat 1, about {days} in moving air under a roof. {air}."


def coats_on_text(coats: CoatsOn) -> str:
    """Return how many coats are on and how many of them are full ones: "5 coats on, 3 of them full"."""
    many = f"{coats.count} coat{'s' * (coats.count != 1)} on, {coats.full} of them full"
    return many + (f"; of {coats.untold} it is not told how they were thinned" if coats.untold else "")


def open_window(outlook: Outlook) -> Window | None:
    """Return the window that is open when the outlook is made; its first start may be the next quarter of an hour."""
    return outlook.windows[0] if outlook.word in ("coat", "tight") and outlook.windows else None


def next_window(outlook: Outlook) -> Window | None:
    """Return the first window that is still to open."""
    later = outlook.windows[1:] if open_window(outlook) is not None else outlook.windows
    return later[0] if later else None


def verdict(outlook: Outlook) -> str:
    """Return the verdict in short, without the piece's name: "coat 4 now, brush down by 12:00"."""
    zone, now = ZoneInfo(outlook.timezone), outlook.made_at
    window = open_window(outlook)
    if window is not None:
        return _go(outlook, window)
    if outlook.next_coat > outlook.coats:
        return f"built up: {outlook.coats} of {outlook.coats} coats are on"
    if outlook.word == "unknown":
        return "unknown, so wait"
    ahead = next_window(outlook)
    if ahead is None:
        reaches = outlook.weather.reaches if outlook.weather is not None else None
        return "wait: no window ahead" + (f" up to {when(reaches, zone, now)}" if reaches is not None else "")
    return f"wait until {when(ahead.start, zone, now)}" + (", and tight then" if ahead.word == "tight" else "")


def _go(outlook: Outlook, window: Window) -> str:
    zone, now = ZoneInfo(outlook.timezone), outlook.made_at
    sand = sand_first_text(outlook)
    sand = f"{sand}, then " if sand else ""
    last = window.brush_down_by if outlook.word == "coat" else window.tight_until
    tight = ", but tight" if outlook.word == "tight" else ""
    text = f"{sand}coat {outlook.next_coat} now{tight}, brush down by {moment(last, zone, now, now)}"
    if window.hang_shade_by is not None:
        text += f", shade up by {moment(window.hang_shade_by, zone, now, now)}"
    wood = outlook.wood
    if wood is not None and wood.read_pct is not None and wood.read_pct >= wood.below_pct:
        text += f", but only with the wood under {wood.below_pct:g} % ({wood.read_pct:g} % read)"
    if window.cover_on_by is not None and (window.bare_until is None or now > window.bare_until):
        text += f", cover on by {moment(window.cover_on_by, zone, now, now)}"
    return text


def sand_first_text(outlook: Outlook) -> str:
    """Return what is done first where the overcoat window is past: "sand"; empty where it is not."""
    if not outlook.sand_first:
        return ""
    to_go = outlook.film is not None and outlook.film.coat.spoilt
    return "denib, no more (stain below)" if Before.NO_SANDING in outlook.before and not to_go else "sand"


def before_line(outlook: Outlook) -> str:
    """Return what is to be done before the next coat as a sentence with its full stop; empty for nothing special."""
    text = before_text(outlook.before)
    return f"Before coat {outlook.next_coat}: {text}." if text else ""


def why(outlook: Outlook, units: Units = "metric") -> str:
    """Return the reason of the verdict as a sentence without a full stop, empty where there is none to give."""
    if outlook.word != "unknown" and outlook.next_coat > outlook.coats:
        return ""
    if outlook.missing:
        return "the weather says nothing of " + ", ".join(variable(name) for name in outlook.missing)
    if outlook.weather is None:
        return "there is no weather to go by"
    if outlook.reason is None:
        return ""
    return reason_text(
        outlook.reason, ZoneInfo(outlook.timezone), units, now=outlook.made_at, below=coat_below(outlook)
    )


def coat_below(outlook: Outlook) -> int:
    """Return the number of the coat that lies on top; a spoilt one has that of the next."""
    return outlook.film.coat.number if outlook.film is not None else outlook.next_coat - 1


def verdict_line(outlook: Outlook, units: Units = "metric") -> str:
    """Return the piece, its verdict and, unless it is to coat, the reason: what fits on the lock screen of a phone."""
    line = f"{outlook.piece_name}: {verdict(outlook)}"
    reason = "" if outlook.word == "coat" else why(outlook, units)
    return f"{line}. {capital(reason)}" if reason else line


def capital(sentence: str) -> str:
    """Return a sentence with its first letter large."""
    return sentence[:1].upper() + sentence[1:]
