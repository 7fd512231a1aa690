"""What the panels of a chart over days have in common: the axis of time, nights, windows, the present, the finger."""

import math
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from dryspell.alerts.picture_look import Look, Spec, hour_axis, wall_hours
from dryspell.outlook.figures import weekday_date
from dryspell.outlook.model import Outlook, Window
from dryspell.web.charts.days import Days

SCHEMA = "https://vega.github.io/schema/vega-lite/v6.json"
WIDE, NARROW = 1060, 318
"""How wide the panels are, on a desk and on a telephone held upright."""
AXIS = 34
LETTER = 6.4
"""A letter of 12 is about so wide."""
AT = "at"
"""The parameter of the chart that holds the hour somebody points at."""
NOWHERE = -1000.0


@dataclass(frozen=True)
class Panels:
    """Makes panels of one width over the same hours."""

    outlook: Outlook
    days: Days
    look: Look
    width: int

    @property
    def zone(self) -> ZoneInfo:
        """The site's."""
        return ZoneInfo(self.outlook.timezone)

    @property
    def px_h(self) -> float:
        """How wide an hour is."""
        return self.width / self.days.end_h

    def x(self, *, labels: bool = False) -> Spec:
        """Return the encoding of the hour."""
        ticks = self._ticks()
        axis = hour_axis(ticks, labels=labels)
        if labels:
            axis |= {"title": f"local time, {self.outlook.timezone.replace('_', ' ')}", "titlePadding": 6}
        return {
            "field": "h",
            "type": "quantitative",
            "scale": {"domain": [0.0, self.days.end_h], "nice": False},
            "axis": axis,
        }

    def _ticks(self) -> list[tuple[float, str | list[str]]]:
        every = next((hours for hours in (3, 6, 12) if hours * self.px_h >= 26), 24)
        ticks: list[tuple[float, str | list[str]]] = []
        for hour, local in wall_hours(self.days.start, self.days.end_h, self.zone, every):
            if local.hour:
                ticks.append((hour, f"{local:%H}"))
            else:
                day = weekday_date(local)
                name = day if 24 * self.px_h > 90 else day.rpartition(" ")[0]
                # A day's name stands under its midnight; where there is hardly room, in two lines.
                ticks.append((hour, ["00", name] if every < 24 else name.split(" ")))
        return ticks

    def panel(self, title: str | list[str] | None, height: int, layers: list[Spec], *, labels: bool = False) -> Spec:
        """Return a panel with the nights and the windows behind what is in it."""
        return {
            **({"title": title} if title else {}),
            "width": self.width,
            "height": height,
            "layer": [*self._bands(labels=labels), *self._now(labels=labels), *layers, self._pointed(labels=labels)],
        }

    def _bands(self, *, labels: bool) -> list[Spec]:
        nights = [{"h": low, "to": high} for low, high in self.days.nights]
        layers = [self._band(nights, self.look.night, self.look.night_opacity, labels=labels)]
        for word, colour, opacity in (("coat", self.look.coat, 0.22), ("tight", self.look.tight, 0.22)):
            spans = [{"h": low, "to": high} for window in self.shown() for low, high in self.parts(window)[word]]
            if spans:
                layers.append(self._band(spans, colour, opacity, labels=labels))
        return layers

    def _band(self, values: list[Spec], colour: str, opacity: float, *, labels: bool) -> Spec:
        return {
            "data": {"values": values},
            "mark": {"type": "rect", "color": colour, "opacity": opacity, "clip": True},
            "encoding": {"x": self.x(labels=labels), "x2": {"field": "to"}},
        }

    def _now(self, *, labels: bool) -> list[Spec]:
        """Return the present as an upright line, where it is within the hours."""
        if not 0 <= self.days.now_quarter_h <= self.days.end_h:
            return []
        return [
            {
                "data": {"values": [{"h": self.days.now_quarter_h}]},
                "mark": {"type": "rule", "color": self.look.ink, "strokeWidth": 2, "strokeDash": [2, 2]},
                "encoding": {"x": self.x(labels=labels)},
            }
        ]

    def _pointed(self, *, labels: bool) -> Spec:
        """Return the hour that is pointed at as an upright line; the page's script says which that is."""
        here = {key: value for key, value in self.x(labels=labels).items() if key != "field"}
        return {
            "data": {"values": [{}]},
            "mark": {"type": "rule", "color": self.look.ink, "strokeWidth": 1.5, "clip": True},
            "encoding": {"x": {"datum": {"expr": AT}, **here}},
        }

    def shown(self) -> list[Window]:
        """Return the windows within the hours that are shown."""
        days = self.days
        return [w for w in self.outlook.windows if days.hour(w.start) < days.end_h and days.hour(w.tight_until) > 0.0]

    def parts(self, window: Window) -> dict[str, list[tuple[float, float]]]:
        """Return from when to when a brush may be out: where it is good, and before and after that, where tight."""
        edges = [window.start, window.start, window.tight_until, window.tight_until]
        if window.word == "coat":
            edges[1:3] = [window.good_from or window.start, window.brush_down_by]
        hours = [self._inside(edge) for edge in edges]
        spans = {"coat": [(hours[1], hours[2])], "tight": [(hours[0], hours[1]), (hours[2], hours[3])]}
        if window.word == "tight":
            spans = {"coat": [], "tight": [(hours[0], hours[3])]}
        return {word: [(low, high) for low, high in each if high > low] for word, each in spans.items()}

    def _inside(self, at: datetime) -> float:
        return min(max(self.days.hour(at), 0.0), self.days.end_h)

    def lane(self) -> Spec:
        """Return the windows as a lane of their own: a good one twice as high as a tight one, and odds over them."""
        y: Spec = {
            "type": "quantitative",
            "scale": {"domain": [0.0, 2.0], "nice": False},
            "axis": {"labels": False, "ticks": False, "grid": False, "title": None, **_EXTENT},
        }
        layers: list[Spec] = []
        for word, colour, top in (("coat", self.look.coat, 1.0), ("tight", self.look.tight, 0.5)):
            spans = [{"h": low, "to": high} for window in self.shown() for low, high in self.parts(window)[word]]
            if spans:
                layers.append(
                    {
                        "data": {"values": spans},
                        "mark": {"type": "rect", "color": colour, "stroke": self.look.ink, "strokeWidth": 1}
                        | ({"strokeDash": [2, 2]} if word == "tight" else {}),
                        "encoding": {
                            "x": self.x(),
                            "x2": {"field": "to"},
                            "y": {"datum": 0.0, **y},
                            "y2": {"datum": top},
                        },
                    }
                )
        names = {"x": self.x(), "y": {"datum": 1.5, **y}, "text": {"field": "said", "type": "nominal"}}
        layers += self.text(self._names(), {"baseline": "middle", "align": "left"}, names)
        return self.panel("Windows for a coat", 34, layers)

    def text(self, values: list[Spec], mark: Spec, encoding: Spec) -> list[Spec]:
        """Return letters twice: first as the paper round them, so that no line behind them blots them out."""
        paper = {"stroke": self.look.paper, "strokeWidth": 4, "strokeOpacity": 0.85, "strokeJoin": "round"}
        return [
            {"data": {"values": values}, "mark": {"type": "text", **mark, **around}, "encoding": encoding}
            for around in (paper, {})
        ]

    def _names(self) -> list[Spec]:
        """Return what stands over the windows, as far as there is room beside what stands there already."""
        names: list[Spec] = []
        taken_to = -math.inf
        for window in self.shown():
            low, high = (self._inside(at) for at in (window.start, window.tight_until))
            odds = "" if window.probability is None else f"{window.probability:.0%}".replace("%", " %")
            for said in dict.fromkeys((f"{window.word} {odds}".strip(), odds or window.word, odds.removesuffix(" %"))):
                wide = len(said) * LETTER / self.px_h
                left = max(0.0, min((low + high - wide) / 2, self.days.end_h - wide))
                if said and left >= taken_to:
                    names.append({"h": round(left, 3), "said": said})
                    taken_to = left + wide + 5 / self.px_h
                    break
        return names


_EXTENT = {"minExtent": AXIS, "maxExtent": AXIS}


def y_axis(scale: Spec, *, count: int = 4, **axis: object) -> Spec:
    """Return the encoding of a panel's quantity, without its field."""
    return {
        "type": "quantitative",
        "scale": scale,
        "axis": {"title": None, "tickCount": count, **_EXTENT, **axis},
    }
