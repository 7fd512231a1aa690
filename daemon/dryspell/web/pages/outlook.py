"""The outlook: the days ahead of each piece, as a chart with its table, and every window and every reason in words."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from dryspell.outlook.figures import clock, limit_figure, moment, weekday_date
from dryspell.outlook.model import Limit, Outlook, Window
from dryspell.outlook.window_words import OFF, OFF_TEXT, block_text, in_order, window_facts, window_text
from dryspell.outlook.words import capital, verdict, why
from dryspell.web.charts.days import Days
from dryspell.web.charts.drawings import script_name
from dryspell.web.charts.outlook_table import EVERY_H, headings, table
from dryspell.web.charts.pictures import Picture
from dryspell.web.charts.sight import Sight
from dryspell.web.charts.strips import Day, days_at_a_glance, window_label
from dryspell.web.pages import charts
from dryspell.web.pages.charts import day_of
from dryspell.web.refusal import refusal
from dryspell.web.shell import Shell, View


@dataclass(frozen=True)
class Span:
    """A window, or the time between two, in words."""

    word: str
    title: str
    hours: str
    said: str
    facts: tuple[str, ...]


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part, and those of the charts: path, methods and handler."""
    sight = Sight()

    async def every(request: Request) -> Response:
        return await shell.page(request, "outlooks.html", _every)

    async def one(request: Request) -> Response:
        key, known, asked = request.path_params["piece"], shell.board.known, request.query_params.get("day", "")
        if key not in shell.config.piece:
            return refusal(request.scope, 404, "No piece has that name.")
        day = day_of(asked, known) if known else None
        return await shell.page(request, "outlook.html", lambda view: _one(view, key, day, sight), args=day)

    return [("/outlook", ["GET"], every), ("/outlook/{piece}", ["GET"], one), *charts.routes(shell, sight)]


def _common(view: View) -> dict[str, Any]:
    outlooks = view.known.outlooks if view.known else ()
    return {
        "script": script_name(),
        "pieces": [(key, piece.name) for key, piece in view.config.piece.items()],
        "credits": list(dict.fromkeys(o.weather.attribution for o in outlooks if o.weather and o.weather.attribution)),
    }


def _every(view: View) -> dict[str, Any]:
    outlooks = view.known.outlooks if view.known else ()
    return {**_common(view), "strips": [_strips(outlook, view) for outlook in outlooks]}


def _strips(outlook: Outlook, view: View) -> dict[str, Any]:
    days, zone = days_at_a_glance(outlook, view.units), ZoneInfo(outlook.timezone)
    high = 24 * len(days) + 36
    return {
        "key": outlook.piece,
        "name": outlook.piece_name,
        "site": view.config.site[outlook.site].name,
        "verdict": capital(verdict(outlook)),
        "why": capital(why(outlook, view.units)),
        "days": [(day.name, day.date.isoformat(), _of_day(day, zone)) for day in days],
        "picture": Picture(view, "strips", f"The windows of {outlook.piece_name}, day by day; in words in the list "
                           "that follows.", ((670, high), (360, high)), {"piece": outlook.piece})
        if days else None,
    }  # fmt: skip


def _of_day(day: Day, zone: ZoneInfo) -> str:
    if day.windows:
        return "; ".join(f"{'' if each.word == 'tight' else 'coat '}{window_label(each, zone)}" for each in day.windows)
    return day.reason or OFF_TEXT


def _one(view: View, key: str, day: date | None, sight: Sight) -> dict[str, Any]:
    known = view.known
    outlook = known.outlook(key) if known else None
    shown: dict[str, Any] = {**_common(view), "name": view.config.piece[key].name, "key": key, "day": None,
                             "outlook": None, "days": None, "windows": [], "waits": [], "choices": []}  # fmt: skip
    if known is None or outlook is None:
        return shown
    zone = ZoneInfo(outlook.timezone)
    days = sight.days(known, outlook, day, wide=True)
    glance = days_at_a_glance(outlook, view.units)
    return {
        **shown,
        "outlook": outlook,
        "site": view.config.site[outlook.site].name,
        "zone": zone.key.replace("_", " "),
        "verdict": capital(verdict(outlook)),
        "why": capital(why(outlook, view.units)),
        "day": day,
        "days": days,
        "choices": [_choice(each, day) for each in glance],
        "windows": _windows(outlook, view),
        "waits": _waits(outlook, view),
        **(_charted(view, outlook, days, day) if days else {}),
    }


def _choice(each: Day, chosen: date | None) -> dict[str, Any]:
    word = next((word for word in ("coat", "tight") if any(bar.word == word for bar in each.bars)), "wait")
    return {"date": each.date.isoformat(), "name": each.name, "word": word, "is_chosen": each.date == chosen}


def _charted(view: View, outlook: Outlook, days: Days, day: date | None) -> dict[str, Any]:
    query = {"piece": outlook.piece} | ({"day": day.isoformat()} if day else {})
    limits = days.limits
    alt = (
        f"How far the surface of {outlook.piece_name} is over the dew point, its temperature, rain, humidity, wind and "
        "sun, with the windows for a coat. The tables on this page hold the same figures and windows."
    )
    return {
        "picture": Picture(view, "outlook", alt, ((1110, 830), (380, 874)), query, alive=True),
        "heads": headings(days, view.units),
        "parts": table(outlook, days, view.units, every_h=1 if day else EVERY_H),
        "every_h": 1 if day else EVERY_H,
        "first": weekday_date(days.start.astimezone(ZoneInfo(outlook.timezone))),
        "last": weekday_date((days.at(days.end_h) - timedelta(seconds=1)).astimezone(ZoneInfo(outlook.timezone))),
        "apply": limit_figure(limits.apply_k, "K", view.units),
        "hold": limit_figure(limits.hold_k, "K", view.units),
        "wind_stop": limit_figure(limits.wind_m_s, "m/s", view.units),
        "damp": limit_figure(limits.humidity_pct, "%"),
        "members": outlook.weather.members if outlook.weather else 1,
    }


def _windows(outlook: Outlook, view: View) -> list[tuple[str, list[Span]]]:
    """Return the windows by the day on which they begin."""
    zone = ZoneInfo(outlook.timezone)
    spans = [(window.start, _window(outlook, window, zone, view)) for window in outlook.windows]
    return _by_day(spans, zone)


def _waits(outlook: Outlook, view: View) -> list[tuple[str, list[Span]]]:
    """Return the spans between windows by the day on which they begin, but for nights and hours off work."""
    zone = ZoneInfo(outlook.timezone)
    spans = []
    brushing_to = outlook.made_at
    for span in in_order(outlook):
        if isinstance(span, Window):
            brushing_to = span.tight_until
            continue
        start, end, limit = max(span[0].start, brushing_to), span[-1].end, span[0].reason.limit
        if start < end and limit not in OFF:
            title = "Not known" if limit is Limit.KNOWN else "Wait"
            said = block_text(outlook, span[0], view.units, on=start)
            spans.append((start, Span("wait", title, _hours(start, end, zone), said, ())))
    return _by_day(spans, zone)


def _by_day(spans: Sequence[tuple[datetime, Span]], zone: ZoneInfo) -> list[tuple[str, list[Span]]]:
    days: dict[str, list[Span]] = {}
    for start, span in spans:
        days.setdefault(weekday_date(start.astimezone(zone)), []).append(span)
    return list(days.items())


def _window(outlook: Outlook, window: Window, zone: ZoneInfo, view: View) -> Span:
    last = window.brush_down_by if window.word == "coat" else window.tight_until
    title = capital(window.word)
    if window.probability is not None:
        title += f", odds {window.probability:.0%}".replace("%", " %")
    facts = [f"{capital(fact)}." for fact in window_facts(outlook, window, view.units) if not fact.startswith("odds ")]
    said = f"{capital(window_text(outlook, window))}."
    return Span(window.word, title, _hours(window.start, last, zone), said, tuple(facts))


def _hours(start: datetime, end: datetime, zone: ZoneInfo) -> str:
    return f"{clock(start, zone)} to {moment(end, zone, None, start)}"
