"""The chart of the next 36 hours at a piece, to go with a message: a Vega-Lite specification as plain JSON.

Drawn for a telephone: 400 units wide with letters of 13, which a screen held upright shows at about its own points.
"""

import json
from collections.abc import Sequence
from datetime import datetime
from zoneinfo import ZoneInfo

from dryspell.alerts.picture_data import Ahead
from dryspell.alerts.picture_look import LIGHT, Look, Spec, clock_ticks, config_of, hour_axis, scaled
from dryspell.outlook.figures import Units, clock, limit_figure, moment, scale_of, weekday_date
from dryspell.outlook.model import Outlook, Window

SCHEMA = "https://vega.github.io/schema/vega-lite/v5.json"
WIDTH = 340
TICKS_EVERY_H = 6
HIGHEST: dict[Units, float] = {"metric": 12.0, "us": 24.0}
"""Up to where the middle panel goes, in the unit it is shown in: over that is far from every limit."""
LOWEST_K = -2.0
HEADROOM = 0.2
"""What is left free over the lines for the names of the bands, as a share of their range."""
NIGHT_FROM_H = 3.0
"""A night that shows less of itself has no room for its name."""


def picture_spec(outlook: Outlook, ahead: Ahead, units: Units = "metric", look: Look = LIGHT) -> Spec:
    """Return the chart: temperatures, how far the surface is over the dew point, and rain.

    Parameters
    ----------
    outlook
        Whose windows are marked.
    ahead
        The 36 hours from when the outlook was made.
    look
        The inks.
    """
    drawing = _Drawing(outlook, ahead, units, look)
    return {
        "$schema": SCHEMA,
        "background": look.paper,
        "padding": {"left": 8, "right": 14, "top": 10, "bottom": 8},
        "title": drawing.title(),
        "spacing": 10,
        "vconcat": [drawing.temperatures(), drawing.margin(), drawing.rain()],
        "config": config_of(look),
    }


def picture_text(outlook: Outlook, ahead: Ahead, units: Units = "metric") -> str:
    """Return the chart as text, as it is kept until it is drawn."""
    return json.dumps(picture_spec(outlook, ahead, units), separators=(",", ":"), ensure_ascii=False)


class _Drawing:
    def __init__(self, outlook: Outlook, ahead: Ahead, units: Units, look: Look) -> None:
        self.outlook = outlook
        self.ahead = ahead
        self.units = units
        self.look = look
        self.zone = ZoneInfo(outlook.timezone)
        self.end_h = ahead.hours[-1]

    def title(self) -> Spec:
        lines = [self._window_line(window) for window in self._windows()[:2]]
        made = self.ahead.start.astimezone(self.zone)
        lines = lines or ["No window for a coat in these hours"]
        return {
            "text": self.outlook.piece_name,
            "subtitle": [
                *lines,
                f"From {weekday_date(made)} {clock(self.ahead.start, self.zone)} on, as forecast then",
            ],
            "fontSize": 17,
            "subtitleFontSize": 13,
            "subtitleColor": self.look.ink,
            "subtitlePadding": 4,
            "limit": WIDTH + 40,
            "anchor": "start",
            "frame": "bounds",
            "offset": 8,
        }

    def _windows(self) -> list[Window]:
        return [window for window in self.outlook.windows if self._hour(window.start) < self.end_h]

    def _window_line(self, window: Window) -> str:
        last = window.brush_down_by if window.word == "coat" else window.tight_until
        word = "Coat" if window.word == "coat" else "Tight"
        begin = moment(window.start, self.zone)
        return f"{word} {begin}, brush down by {moment(last, self.zone, None, window.start)}"

    def temperatures(self) -> Spec:
        scale, offset, shown = scale_of("degC", self.units)
        series = (self.ahead.surface_c, self.ahead.air_c, self.ahead.dew_point_c)
        values = [[scaled(value, scale, offset) for value in each] for each in series]
        rows = [
            {"h": h, "of": name, "v": value}
            for (name, *_), each in zip(self.look.lines, values, strict=True)
            for h, value in zip(self.ahead.hours, each, strict=True)
        ]
        names = [name for name, *_ in self.look.lines]
        known = [value for each in values for value in each if value is not None]
        low, high = min(known), max(known)
        room = max(high - low, 1.0)
        y = _y({"domain": [low - 0.05 * room, high + HEADROOM * room], "nice": False})
        line = {
            "data": {"values": rows},
            "mark": {"type": "line", "clip": True, "interpolate": "monotone"},
            "encoding": {
                "x": self._x(),
                "y": y,
                "color": {
                    "field": "of",
                    "type": "nominal",
                    "sort": names,
                    "scale": {"domain": names, "range": [colour for _, colour, *_ in self.look.lines]},
                    "legend": {
                        "orient": "top",
                        "title": f"Temperature, {shown}",
                        "symbolType": "stroke",
                        "offset": 4,
                        "columnPadding": 18,
                    },
                },
                "strokeDash": {
                    "field": "of",
                    "type": "nominal",
                    "sort": names,
                    "scale": {"domain": names, "range": [dash for *_, dash, _ in self.look.lines]},
                },
                "strokeWidth": {
                    "field": "of",
                    "type": "nominal",
                    "sort": names,
                    "scale": {"domain": names, "range": [width for *_, width in self.look.lines]},
                    "legend": None,
                },
            },
        }
        return self._panel(None, 150, [line], named=True)

    def margin(self) -> Spec:
        ahead, (scale, _, shown) = self.ahead, scale_of("K", self.units)
        rows = [
            {"h": h, "v": scaled(mid, scale), "low": scaled(low, scale), "high": scaled(high, scale)}
            for h, low, mid, high in zip(
                ahead.hours, ahead.margin_low_k, ahead.margin_k, ahead.margin_high_k, strict=True
            )
        ]
        limits = [
            {"v": bound * scale, "said": f"{limit_figure(bound, 'K', self.units)} {what}", "above": above}
            for bound, what, above in ((ahead.apply_k, "to brush", True), (ahead.hold_k, "until dew-safe", False))
        ]
        lowest = min((row["low"] for row in rows if row["low"] is not None), default=0.0)
        top = HIGHEST[self.units]
        y = _y({"domain": [min(LOWEST_K * scale, lowest), top], "nice": False, "clamp": True})
        y["axis"] |= {
            "values": [0, top / 3, 2 * top / 3, top],
            "labelExpr": f"datum.value < {top} ? datum.label : '≥{top:g}'",
        }
        x = self._x()
        smooth = {"color": self.look.surface, "clip": True, "interpolate": "monotone"}
        layers: list[Spec] = [
            {
                "data": {"values": rows},
                "layer": [
                    {
                        "mark": {"type": "area", "opacity": 0.25, **smooth},
                        "encoding": {"x": x, "y": {**y, "field": "low"}, "y2": {"field": "high"}},
                    },
                    {
                        "mark": {"type": "line", "strokeWidth": 3, **smooth},
                        "encoding": {"x": x, "y": y},
                    },
                ],
            },
            {
                "data": {"values": limits},
                "mark": {"type": "rule", "strokeDash": [4, 3], "strokeWidth": 1.5, "color": self.look.ink},
                "encoding": {"y": y},
            },
            # Each name twice: first as the paper round its letters, so that a line behind it does not blot it out.
            *(self._limit_name(limit, y, paper=paper) for paper in (True, False) for limit in limits),
        ]
        return self._panel(f"Surface over dew point, {shown}", 105, layers)

    def _limit_name(self, limit: Spec, y: Spec, *, paper: bool) -> Spec:
        mark = {"type": "text", "text": limit["said"], "align": "right", "dx": -3, "dy": -7 if limit["above"] else 8}
        if paper:
            mark |= {"stroke": self.look.paper, "strokeWidth": 3, "strokeOpacity": 0.7}
        return {
            "data": {"values": [{"v": limit["v"], "h": self.end_h}]},
            "mark": mark,
            "encoding": {"x": self._x(), "y": y},
        }

    def rain(self) -> Spec:
        scale, _, shown = scale_of("mm", self.units)
        rows = [{"h": h, "to": h + 1.0, "v": mm * scale} for h, mm in self.ahead.rain_mm]
        most = max((row["v"] for row in rows), default=0.0)
        y = _y({"domain": [0.0, max(most, 2.0 * scale)], "nice": True}, count=2)
        bars: Spec = {
            "data": {"values": rows},
            "mark": {"type": "rect", "color": self.look.rain, "clip": True},
            "encoding": {"x": self._x(labels=True), "x2": {"field": "to"}, "y": y, "y2": {"datum": 0.0}},
        }
        layers = [bars]
        if most == 0.0:
            said = "none forecast" if self.ahead.in_the_rain else "none reaches it"
            layers.append(
                {
                    "data": {"values": [{"h": self.end_h / 2, "v": max(most, 2.0 * scale) / 2}]},
                    "mark": {"type": "text", "text": said, "fontSize": 13},
                    "encoding": {"x": self._x(labels=True), "y": y},
                }
            )
        return self._panel(f"Rain, {shown}/h", 50, layers, labels=True)

    def _panel(
        self, title: str | None, height: int, layers: Sequence[Spec], *, named: bool = False, labels: bool = False
    ) -> Spec:
        return {
            **({"title": title} if title else {}),
            "width": WIDTH,
            "height": height,
            "layer": [*self._bands(named=named, labels=labels), *layers],
        }

    def _bands(self, *, named: bool, labels: bool) -> list[Spec]:
        """Return the nights and the windows as bands over the whole height, with their names in one panel."""
        windows = [band for window in self._windows() for band in self._of_window(window)]
        nights = [("night", self.look.night, self.look.night_opacity, low, high) for low, high in self.ahead.nights]
        layers: list[Spec] = []
        for name, colour, opacity, low, high in (*nights, *windows):
            layers.append(
                {
                    "data": {"values": [{"h": low, "to": high}]},
                    "mark": {"type": "rect", "color": colour, "opacity": opacity, "clip": True},
                    "encoding": {"x": self._x(labels=labels), "x2": {"field": "to"}},
                }
            )
            if named and (name != "night" or high - low >= NIGHT_FROM_H):
                layers.append(
                    {
                        "data": {"values": [{"h": (low + high) / 2}]},
                        "mark": {
                            "type": "text", "text": name, "y": 10, "fontSize": 12, "clip": name == "night",
                            "fontWeight": "normal" if name == "night" else "bold",
                        },
                        "encoding": {"x": self._x(labels=labels)},
                    }
                )  # fmt: skip
        return layers

    def _of_window(self, window: Window) -> list[tuple[str, str, float, float, float]]:
        """Return the time a brush may be out: where it is good, and before and after that where it is tight."""
        edges = [window.start, window.start, window.tight_until, window.tight_until]
        if window.word == "coat":
            edges[1:3] = [window.good_from or window.start, window.brush_down_by]
        hours = [min(max(self._hour(edge), 0.0), self.end_h) for edge in edges]
        if window.word == "tight":
            return [("tight", self.look.tight, 0.35, hours[0], hours[3])]
        parts = [("tight", self.look.tight, 0.35), ("coat", self.look.coat, 0.3), ("tight", self.look.tight, 0.35)]
        spans = zip(parts, hours, hours[1:], strict=False)
        return [(*part, low, high) for part, low, high in spans if high > low]

    def _hour(self, at: datetime) -> float:
        return (at - self.ahead.start).total_seconds() / 3600.0

    def _x(self, *, labels: bool = False) -> Spec:
        """Return the axis of time, with a name at every sixth hour of the local day, whatever the clocks do."""
        axis = hour_axis(clock_ticks(self.ahead.start, self.end_h, self.zone, TICKS_EVERY_H), labels=labels)
        if labels:
            axis |= {"title": f"local time, {self.outlook.timezone.replace('_', ' ')}", "titlePadding": 6}
        return {
            "field": "h",
            "type": "quantitative",
            "scale": {"domain": [0.0, self.end_h], "nice": False},
            "axis": axis,
        }


def _y(scale: Spec, *, count: int = 4) -> Spec:
    return {
        "field": "v",
        "type": "quantitative",
        "scale": scale,
        "axis": {"title": None, "tickCount": count, "minExtent": 30, "maxExtent": 30},
    }
