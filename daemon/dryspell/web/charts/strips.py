"""All days of a piece at a glance: a row a day, the hours of the clock across, and its windows as bars.

The layout of a wall calendar turned on its side: sixteen days fit a telephone, and the same hour of each stands below
the other, so that it is seen at what time of day windows come. A day without one has its main reason instead.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from dryspell.alerts.picture_look import LIGHT, Look, Spec, config_of
from dryspell.outlook.figures import Units, clock, weekday_date
from dryspell.outlook.model import Limit, Outlook, Window
from dryspell.outlook.window_words import OFF
from dryspell.outlook.words import short_text
from dryspell.web.charts.panels import LETTER, SCHEMA

FIRST_H, LAST_H = 5, 22
"""The hours that are shown whatever happens in them."""
WIDE, NARROW, ROW = 560, 268, 24


@dataclass(frozen=True)
class Bar:
    """Part of a window on one day, in hours of the local clock."""

    start_h: float
    end_h: float
    word: str


@dataclass(frozen=True)
class Day:
    """A local day: its windows, and where it has none, why."""

    date: date
    bars: tuple[Bar, ...]
    windows: tuple[Window, ...]
    reason: str

    @property
    def name(self) -> str:
        """The day as it is called."""
        return weekday_date(self.date)


def days_at_a_glance(outlook: Outlook, units: Units) -> list[Day]:
    """Return the days that an outlook reaches over, the present one first."""
    zone = ZoneInfo(outlook.timezone)
    ends = [*(window.tight_until for window in outlook.windows), *(block.end for block in outlook.blocks)]
    if not ends:
        return []
    first, last = (at.astimezone(zone).date() for at in (outlook.made_at, max(ends) - timedelta(seconds=1)))
    days = [_day(outlook, first + timedelta(days=n), zone, units) for n in range((last - first).days + 1)]
    # The forecast ends in the night that begins its last day.
    return days[:-1] if len(days) > 1 and not (days[-1].bars or days[-1].reason) else days


def _day(outlook: Outlook, day: date, zone: ZoneInfo, units: Units) -> Day:
    begin = datetime.combine(day, time(), tzinfo=zone)
    end = datetime.combine(day + timedelta(days=1), time(), tzinfo=zone)
    windows = [window for window in outlook.windows if window.start < end and window.tight_until > begin]
    bars = tuple(bar for window in windows for bar in _bars(window, begin, end, zone))
    return Day(day, bars, tuple(windows), "" if windows else _reason(outlook, begin, end, zone, units))


def _bars(window: Window, begin: datetime, end: datetime, zone: ZoneInfo) -> Iterator[Bar]:
    parts = [(window.start, window.tight_until, "tight")]
    if window.word == "coat":
        good = window.good_from or window.start
        parts = [
            (window.start, good, "tight"),
            (good, window.brush_down_by, "coat"),
            (window.brush_down_by, window.tight_until, "tight"),
        ]
    for opens, shuts, word in parts:
        low, high = max(opens, begin), min(shuts, end)
        if low < high:
            until = 24.0 if high == end else _clock_h(high, zone)
            yield Bar(_clock_h(low, zone), max(until, _clock_h(low, zone)), word)


def _clock_h(at: datetime, zone: ZoneInfo) -> float:
    local = at.astimezone(zone)
    return local.hour + local.minute / 60.0


def _reason(outlook: Outlook, begin: datetime, end: datetime, zone: ZoneInfo, units: Units) -> str:
    """Return what blocks the most of a day; nights and hours off work only where nothing else does."""
    blocks = [
        (block.reason.limit not in OFF, min(block.end, end) - max(block.start, begin), block)
        for block in outlook.blocks
        if block.start < end and block.end > begin
    ]
    if not blocks:
        return ""
    is_weather, _, block = max(blocks, key=lambda each: each[:2])
    if not is_weather:
        return ""
    text = short_text(block.reason, zone, units, on=block.start)
    return f"rain, and {text}" if block.reason.limit is Limit.DRY and Limit.RAIN in block.others else text


def window_label(window: Window, zone: ZoneInfo) -> str:
    """Return a window in short: "09:30 to 14:15, 85 %"."""
    last = window.brush_down_by if window.word == "coat" else window.tight_until
    odds = "" if window.probability is None else f", {window.probability:.0%}".replace("%", " %")
    tight = "tight " if window.word == "tight" else ""
    return f"{tight}{clock(window.start, zone)} to {clock(last, zone)}{odds}"


def strips_chart(outlook: Outlook, units: Units = "metric", look: Look = LIGHT, *, wide: bool = False) -> Spec:
    """Return the chart of a piece's days at a glance."""
    zone = ZoneInfo(outlook.timezone)
    days = days_at_a_glance(outlook, units)
    hours = [hour for day in days for bar in day.bars for hour in (bar.start_h, bar.end_h)]
    first, last = min([FIRST_H, *hours]), max([LAST_H, *hours])
    x: Spec = {
        "type": "quantitative",
        "scale": {"domain": [first, last], "nice": False},
        "axis": {
            "title": None, "orient": "top", "values": list(range(0, 25, 3)), "labelExpr": "format(datum.value, '02d')",
        },
    }  # fmt: skip
    names = [day.name for day in days]
    y: Spec = {
        "type": "nominal",
        "sort": names,
        "scale": {"domain": names, "paddingInner": 0.0, "paddingOuter": 0.0},
        "axis": {"title": None, "grid": True, "tickBand": "extent", "ticks": False},
    }
    layers: list[Spec] = []
    for word, colour, high in (("coat", look.coat, 0.78), ("tight", look.tight, 0.4)):
        values = [
            {"day": day.name, "h": bar.start_h, "to": bar.end_h} for day in days for bar in day.bars if bar.word == word
        ]
        layers.append(
            {
                "data": {"values": values},
                "mark": {"type": "bar", "color": colour, "stroke": look.ink, "strokeWidth": 1, "height": {"band": high}}
                | ({"strokeDash": [2, 2]} if word == "tight" else {}),
                "encoding": {"x": {**x, "field": "h"}, "x2": {"field": "to"}, "y": {**y, "field": "day"}},
            }
        )
    width = WIDE if wide else NARROW
    labels = _Labels(zone, look, first, width / (last - first), width)
    layers += labels.layers(days, x, y)
    now = outlook.made_at.astimezone(zone)
    layers.append(
        {
            "data": {"values": [{"day": weekday_date(now), "h": round(4.0 * _clock_h(outlook.made_at, zone)) / 4.0}]},
            "mark": {"type": "tick", "color": look.ink, "thickness": 2, "orient": "vertical", "height": {"band": 1}},
            "encoding": {"x": {**x, "field": "h"}, "y": {**y, "field": "day"}},
        }
    )
    return {
        "$schema": SCHEMA,
        "background": "transparent",
        "padding": 4,
        "width": width,
        "height": {"step": ROW},
        "layer": layers,
        "config": config_of(look),
    }


@dataclass(frozen=True)
class _Labels:
    """What is written on the rows, beside the bars where there is room."""

    zone: ZoneInfo
    look: Look
    first_h: float
    px_h: float
    width: float

    def layers(self, days: list[Day], x: Spec, y: Spec) -> Iterator[Spec]:
        styles: dict[str, Spec] = {
            "middle": {"align": "center", "fontStyle": "italic"},
            "after": {"align": "left", "dx": 6},
            "before": {"align": "right", "dx": -6},
            "inside": {"align": "center", "color": self.look.on_coat},
        }
        values: dict[str, list[Spec]] = {place: [] for place in styles}
        for day in days:
            place, hour, said = self._of(day)
            if said:
                values[place].append({"day": day.name, "h": hour, "said": said})
        paper = {"stroke": self.look.paper, "strokeWidth": 4, "strokeOpacity": 0.85, "strokeJoin": "round"}
        encoding = {"x": {**x, "field": "h"}, "y": {**y, "field": "day"}, "text": {"field": "said", "type": "nominal"}}
        for place, style in styles.items():
            for around in ((paper, {}) if place != "inside" else ({},)) if values[place] else ():
                mark = {"type": "text", "baseline": "middle", **style, **around}
                yield {"data": {"values": values[place]}, "mark": mark, "encoding": encoding}

    def _of(self, day: Day) -> tuple[str, float, str]:
        """Return where something is written on a day's row, at which hour, and what."""
        if not day.windows:
            return "middle", self.first_h + self.width / self.px_h / 2, _short(day.reason, int(self.width / LETTER))
        best = max(day.windows, key=lambda window: (window.word == "coat", window.tight_until - window.start))
        begins, ends = min(bar.start_h for bar in day.bars), max(bar.end_h for bar in day.bars)
        many = f" (and {len(day.windows) - 1} more)" if len(day.windows) > 1 else ""
        said = window_label(best, self.zone)
        for text in dict.fromkeys((said + many, said, said.partition(", ")[2])):
            if (self.first_h - ends) * self.px_h + self.width - 8 >= len(text) * LETTER:
                return "after", ends, text
            if (begins - self.first_h) * self.px_h - 8 >= len(text) * LETTER:
                return "before", begins, text
            longest = max(day.bars, key=lambda bar: (bar.word == "coat", bar.end_h - bar.start_h))
            if longest.word == "coat" and (longest.end_h - longest.start_h) * self.px_h - 8 >= len(text) * LETTER:
                return "inside", (longest.start_h + longest.end_h) / 2, text
        return "after", ends, ""


def _short(text: str, longest: int) -> str:
    return text if len(text) <= longest else text[: longest - 1].rstrip() + "…"
