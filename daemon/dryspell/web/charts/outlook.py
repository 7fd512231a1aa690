"""The chart of a piece's outlook: how far its surface is over the dew point, over days, and the weather around that.

The first panel is what the chart is for. Its filling is as high as the margin; strokes reach from it up to the limit
that it falls short of, closer and heavier for the one that a film on the piece needs, and dots stand where the surface
is wet: all of that is seen without any colour.
"""

import json
from itertools import pairwise

from dryspell.alerts.picture_look import LIGHT, Look, Spec, config_of, scaled
from dryspell.outlook.figures import Units, limit_figure, scale_of
from dryspell.outlook.model import Outlook
from dryspell.web.charts.days import Days
from dryspell.web.charts.panels import AT, NARROW, NOWHERE, SCHEMA, WIDE, Panels, y_axis

HIGHEST: dict[Units, float] = {"metric": 12.0, "us": 24.0}
"""Up to where the margin is drawn, in the unit it is shown in: over that is far from every limit."""
LOWEST_K = -2.0
HOURS, RAIN = "hours", "rain"


def outlook_chart(
    outlook: Outlook, days: Days, units: Units = "metric", look: Look = LIGHT, *, wide: bool = False
) -> Spec:
    """Return the chart of the days ahead of a piece.

    Parameters
    ----------
    outlook
        Whose windows are marked.
    days
        The weather as it reaches the piece.
    wide
        For a desk; otherwise for a telephone held upright.
    """
    drawing = _Drawing(Panels(outlook, days, look, WIDE if wide else NARROW), units, wide=wide)
    return {
        "$schema": SCHEMA,
        "background": "transparent",
        "padding": {"left": 4, "right": 12, "top": 4, "bottom": 4},
        "params": [{"name": AT, "value": NOWHERE}],
        "datasets": drawing.datasets(),
        # Inks mean something else in each panel, and their names stand at it.
        "resolve": {"scale": {"color": "independent", "strokeDash": "independent", "strokeWidth": "independent"}},
        "spacing": 8,
        "vconcat": drawing.panels(),
        "config": config_of(look),
    }


class _Drawing:
    def __init__(self, panels: Panels, units: Units, *, wide: bool) -> None:
        self.on = panels
        self.days = panels.days
        self.look = panels.look
        self.units = units
        self.wide = wide

    @property
    def smooth(self) -> Spec:
        # Where points are closer than three pixels a curve is no smoother, and three times as long.
        return {"clip": True, "interpolate": "linear" if self.on.px_h < 3 else "monotone"}

    def panels(self) -> list[Spec]:
        return [
            self.on.lane(),
            self.margin(),
            self.temperatures(),
            self.rain(),
            self.humidity(),
            self.wind(),
            self.sun(),
        ]

    def datasets(self) -> dict[str, list[Spec]]:
        days = self.days
        degrees, kelvin, speed, depth = (scale_of(unit, self.units)[:2] for unit in ("degC", "K", "m/s", "mm"))
        columns = {
            "surface": (days.surface_c, *degrees),
            "surface_low": (days.surface_low_c, *degrees),
            "surface_high": (days.surface_high_c, *degrees),
            "air": (days.air_c, *degrees),
            "dew": (days.dew_point_c, *degrees),
            "margin": (days.margin_k, *kelvin),
            "margin_low": (days.margin_low_k, *kelvin),
            "margin_high": (days.margin_high_k, *kelvin),
            "humidity": (days.humidity_pct, 1.0, 0.0),
            "wind": (days.wind_m_s, *speed),
            "sun": (days.sun_w_m2, 1.0, 0.0),
        }
        rows: list[Spec] = [{"h": hour} for hour in days.hours]
        for name, (values, scale, offset) in columns.items():
            for row, value in zip(rows, values, strict=True):
                row[name] = scaled(value, scale, offset)
        rain: list[Spec] = [
            {"h": hour, "to": until, "rain": scaled(mm, *depth), "chance": chance}
            for (hour, until), mm, chance in zip(
                pairwise(days.hours), days.rain_mm[:-1], days.chance_pct[:-1], strict=True
            )
        ]
        return {HOURS: rows, RAIN: rain}

    def margin(self) -> Spec:
        scale, _, shown = scale_of("K", self.units)
        rows = self.datasets()[HOURS]
        lowest = min((row["margin_low"] for row in rows if row["margin_low"] is not None), default=0.0)
        top = HIGHEST[self.units]
        low = max(min(LOWEST_K * scale, lowest), 2.5 * LOWEST_K * scale)
        y = y_axis(
            {"domain": [low, top], "nice": False, "clamp": True},
            values=[0, top / 3, 2 * top / 3, top],
            labelExpr=f"datum.value < {top} ? datum.label : '≥{top:g}'",
        )
        x, data = self.on.x(), {"data": {"name": HOURS}}
        smooth = self.smooth
        limits = [(bound * scale, what) for bound, what in self._limits()]
        layers: list[Spec] = [
            {
                **data,
                "mark": {"type": "area", "color": self.look.surface, "opacity": 0.28, **smooth},
                "encoding": {"x": x, "y": {**y, "field": "margin"}, "y2": {"datum": 0.0}},
            },
            *self._strokes(y, scale),
            *self._wet(y, scale),
            *(
                {
                    "data": {"values": [{"v": bound}]},
                    "mark": {"type": "rule", "strokeDash": [5, 3], "strokeWidth": 1.5, "color": self.look.ink},
                    "encoding": {"y": {**y, "field": "v"}},
                }
                for bound, _ in limits
            ),
        ]
        if self.days.members > 1:
            layers.append(
                {
                    **data,
                    "mark": {"type": "area", "color": self.look.surface, "opacity": 0.35, **smooth},
                    "encoding": {"x": x, "y": {**y, "field": "margin_low"}, "y2": {"field": "margin_high"}},
                }
            )
        layers.append(
            {
                **data,
                "mark": {"type": "line", "color": self.look.surface, "strokeWidth": 2.5, **smooth},
                "encoding": {"x": x, "y": {**y, "field": "margin"}},
            }
        )
        for place, (bound, said) in enumerate(limits):
            where = {"x": x, "y": {**y, "field": "v"}}
            mark = {"text": said, "align": "right", "dx": -3, "dy": 9 if place else -8}
            layers += self.on.text([{"v": bound, "h": self.days.end_h}], mark, where)
        if 0 <= self.days.now_quarter_h <= self.days.end_h:
            mark = {"text": "now", "align": "left", "dx": 4, "y": 10}
            layers += self.on.text([{"h": self.days.now_quarter_h}], mark, {"x": x})
        title = [f"Surface over dew point, {shown}", "strokes: short of a limit; dots: surface wet"]
        return self.on.panel(f"{title[0]}  ({title[1]})" if self.wide else title, 170, layers)

    def _limits(self) -> list[tuple[float, str]]:
        limits = self.days.limits
        bounds = ((limits.apply_k, "to brush"), (limits.hold_k, "until dew-safe"))
        return [(bound, f"{limit_figure(bound, 'K', self.units)} {what}") for bound, what in bounds]

    def _strokes(self, y: Spec, scale: float) -> list[Spec]:
        """Return upright strokes from the margin to the limits it falls short of."""
        limits, px_h = self.days.limits, self.on.px_h
        layers: list[Spec] = []
        thin, thick = min(0.3 * px_h, 1.5), min(0.65 * px_h, 3.5)
        for bound, to, width in ((limits.apply_k, limits.hold_k, thin), (limits.hold_k, LOWEST_K, thick)):
            values = [
                {"h": hour, "v": scaled(max(margin, to), scale), "to": scaled(bound, scale)}
                for hour, margin in zip(self.days.hours, self.days.margin_k, strict=True)
                if margin is not None and margin < bound
            ]
            layers.append(
                {
                    "data": {"values": values},
                    "mark": {"type": "rule", "strokeWidth": width, "color": self.look.ink, "clip": True},
                    "encoding": {"x": self.on.x(), "y": {**y, "field": "v"}, "y2": {"field": "to"}},
                }
            )
        return layers

    def _wet(self, y: Spec, scale: float) -> list[Spec]:
        low = 0.62 * LOWEST_K * scale
        values = [
            {"h": hour, "v": low} for hour, is_wet in zip(self.days.hours, self.days.is_wet, strict=True) if is_wet
        ]
        dot = {"type": "point", "filled": True, "size": 11, "opacity": 1, "color": self.look.dew}
        return [
            {
                "data": {"values": values},
                "mark": {**dot, "clip": True},
                "encoding": {"x": self.on.x(), "y": {**y, "field": "v"}},
            }
        ]

    def temperatures(self) -> Spec:
        shown = scale_of("degC", self.units)[2]
        rows = self.datasets()[HOURS]
        fields = {"surface": "surface", "air": "air", "dew point": "dew"}
        ends = [*fields.values(), "surface_low", "surface_high"]
        known = [row[name] for row in rows for name in ends if row[name] is not None]
        room = max(max(known) - min(known), 1.0)
        y = y_axis({"domain": [min(known) - 0.05 * room, max(known) + 0.05 * room], "nice": False})
        x = self.on.x()
        smooth = self.smooth
        data: Spec = {"data": {"name": HOURS}}
        layers: list[Spec] = [
            {
                **data,
                "mark": {"type": "area", "color": self.look.surface, "opacity": 0.2, **smooth},
                "encoding": {"x": x, "y": {**y, "field": "dew"}, "y2": {"field": "surface"}},
            }
        ]
        if self.days.members > 1:
            layers.append(
                {
                    **data,
                    "mark": {"type": "area", "color": self.look.surface, "opacity": 0.3, **smooth},
                    "encoding": {"x": x, "y": {**y, "field": "surface_low"}, "y2": {"field": "surface_high"}},
                }
            )
        legend = {
            "orient": "top",
            "title": f"Temperature, {shown}",
            "titleFontWeight": "bold",
            "symbolType": "stroke",
            "offset": 4,
            "columnPadding": 14,
            **({"titleOrient": "left", "titlePadding": 14} if self.wide else {}),
        }

        keys = list(fields.values())

        def by(channel: list[object], **more: object) -> Spec:
            return {"field": "of", "type": "nominal", "sort": keys, "scale": {"domain": keys, "range": channel}, **more}

        legend["labelExpr"] = f"{json.dumps({key: name for name, key in fields.items()})}[datum.value]"
        layers.append(
            {
                **data,
                "transform": [{"fold": keys, "as": ["of", "v"]}],
                "mark": {"type": "line", **smooth},
                "encoding": {
                    "x": x,
                    "y": {**y, "field": "v"},
                    "color": by([colour for _, colour, *_ in self.look.lines], legend=legend),
                    "strokeDash": by([dash for *_, dash, _ in self.look.lines]),
                    "strokeWidth": by([width for *_, width in self.look.lines], legend=None),
                },
            }
        )
        return self.on.panel(None, 130, layers)

    def rain(self) -> Spec:
        scale, _, shown = scale_of("mm", self.units)
        rows = self.datasets()[RAIN]
        most = max((row["rain"] for row in rows if row["rain"] is not None), default=0.0)
        y = y_axis({"domain": [0.0, max(most, 2.0 * scale)], "nice": True}, count=2)
        layers: list[Spec] = [
            {
                "data": {"name": RAIN},
                "mark": {"type": "rect", "color": self.look.rain, "clip": True},
                "encoding": {
                    "x": self.on.x(),
                    "x2": {"field": "to"},
                    "y": {**y, "field": "rain"},
                    "y2": {"datum": 0.0},
                },
            }
        ]
        if most == 0.0:
            said = "none forecast" if self.days.in_the_rain else "none reaches it"
            middle = {"h": self.days.end_h / 2, "v": scale}
            layers.append(
                {
                    "data": {"values": [middle]},
                    "mark": {"type": "text", "text": said, "fontSize": 13},
                    "encoding": {"x": self.on.x(), "y": {**y, "field": "v"}},
                }
            )
        return self.on.panel(f"Rain, {shown}/h", 46, layers)

    def humidity(self) -> Spec:
        y = y_axis({"domain": [0.0, 100.0], "nice": False}, values=[0, 50, 100])
        x = self.on.x()
        layers: list[Spec] = [
            {
                "data": {"name": RAIN},
                "mark": {"type": "area", "interpolate": "step-after", "color": self.look.rain, "opacity": 0.3,
                         "line": {"color": self.look.rain, "strokeWidth": 1}, "clip": True},
                "encoding": {"x": x, "y": {**y, "field": "chance"}},
            },
            {
                "data": {"name": HOURS},
                "mark": {"type": "line", "color": self.look.ink, "strokeWidth": 2, "clip": True},
                "encoding": {"x": x, "y": {**y, "field": "humidity"}},
            },
            self._bound(self.days.limits.humidity_pct, y),
        ]  # fmt: skip
        return self.on.panel("Humidity (line), chance of rain (filled), %", 60, layers)

    def wind(self) -> Spec:
        scale, _, shown = scale_of("m/s", self.units)
        bound = self.days.limits.wind_m_s * scale
        known = [row["wind"] for row in self.datasets()[HOURS] if row["wind"] is not None]
        y = y_axis({"domain": [0.0, max([*known, 1.15 * bound])], "nice": False}, count=3)
        layers: list[Spec] = [
            {
                "data": {"name": HOURS},
                "mark": {"type": "line", "color": self.look.ink, "strokeWidth": 2, "clip": True},
                "encoding": {"x": self.on.x(), "y": {**y, "field": "wind"}},
            },
            self._bound(bound, y),
        ]
        return self.on.panel(f"Wind at the piece, {shown}", 46, layers)

    def _bound(self, bound: float, y: Spec) -> Spec:
        return {
            "data": {"values": [{"v": scaled(bound, 1.0)}]},
            "mark": {"type": "rule", "strokeDash": [5, 3], "strokeWidth": 1.5, "color": self.look.ink},
            "encoding": {"y": {**y, "field": "v"}},
        }

    def sun(self) -> Spec:
        y = y_axis({"domain": [0.0, 1000.0], "nice": False}, values=[0, 500, 1000], format="d")
        x = self.on.x(labels=True)
        layer: Spec = {
            "data": {"name": HOURS},
            "mark": {
                "type": "area", "color": self.look.sun, "opacity": 0.45, "clip": True,
                "line": {"color": self.look.sun, "strokeWidth": 1.5},
            },
            "encoding": {"x": x, "y": {**y, "field": "sun"}},
        }  # fmt: skip
        return self.on.panel("Sun on its face, W/m²", 46, [layer], labels=True)
