"""The chart of the plans: the pieces below each other, the days across, and every coat to come as a mark."""

from collections.abc import Iterator
from datetime import datetime
from zoneinfo import ZoneInfo

from dryspell.alerts.picture_look import LIGHT, Look, Spec, config_of, hour_axis, wall_hours
from dryspell.outlook.figures import weekday_date
from dryspell.outlook.plan_model import Beyond, Plan, PlannedCoat, Plans
from dryspell.web.charts.panels import SCHEMA

WIDE, NARROW, ROW = 1000, 250, 52
GOOD_ODDS = 0.8
"""A coat whose odds are less is drawn hollow (no source)."""
LONGEST_NAME = 14
SHORTEST_H = 7 * 24.0
DISC = {WIDE: 430, NARROW: 300}


def is_firm(coat: PlannedCoat) -> bool:
    """Say whether a coat stands on good odds and on weather that shows each night."""
    return not coat.coarse and (coat.probability is None or coat.probability >= GOOD_ODDS)


def plan_chart(plans: Plans, look: Look = LIGHT, *, wide: bool = False) -> Spec:
    """Return the chart of some plans.

    A coat is a disc with its number, hollow where it is not firm; a diamond is the piece built up by the forecast, and
    a bar from where half of past years were built up to where nine of ten were. Hours are those of the first piece's
    site.
    """
    drawing = _Drawing(plans, look, WIDE if wide else NARROW)
    return {
        "$schema": SCHEMA,
        "background": "transparent",
        "padding": 4,
        "width": drawing.width,
        "height": {"step": ROW},
        "layer": list(drawing.layers()),
        "config": config_of(look),
    }


class _Drawing:
    def __init__(self, plans: Plans, look: Look, width: int) -> None:
        self.plans = plans.plans
        self.look = look
        self.width = width
        first = self.plans[0]
        self.zone = ZoneInfo(first.timezone)
        local = first.made_at.astimezone(self.zone)
        self.start = local.replace(hour=0, minute=0, second=0, microsecond=0).astimezone(first.made_at.tzinfo)
        last = max(instant for plan in self.plans for instant in _instants(plan))
        self.end_h = max(self.hour(last) + 24.0, SHORTEST_H)

    def hour(self, at: datetime) -> float:
        return round((at - self.start).total_seconds() / 3600.0, 2)

    def layers(self) -> Iterator[Spec]:
        firm, hollow = self._coats(firm=True), self._coats(firm=False)
        built = [(plan, plan.built_up_at) for plan in self.plans]
        ends = [{"piece": _name(plan), "h": self.hour(at)} for plan, at in built if at is not None]
        beyond = [
            {"piece": _name(plan), "h": self.hour(half), "to": self.hour(to)}
            for plan in self.plans
            if plan.beyond and (half := plan.beyond.built_up_50_at) and (to := _most(plan.beyond))
        ]
        known_90 = {_name(plan) for plan in self.plans if plan.beyond and plan.beyond.built_up_90_at}
        line = {"type": "rule", "color": self.look.ink, "strokeWidth": 1, "opacity": 0.6}
        yield self._layer([{"piece": _name(plan), "h": self._now(plan), "to": self._last(plan)} for plan in self.plans],
                          line, to=True)  # fmt: skip
        bar = {"type": "bar", "height": 9, "color": self.look.sun, "stroke": self.look.ink}
        yield self._layer(beyond, bar, to=True)
        yield self._layer(beyond, {"type": "text", "text": "50 %", "dy": -15, "fontSize": 12})
        yield self._layer([{**row, "h": row["to"]} for row in beyond if row["piece"] in known_90],
                          {"type": "text", "text": "90 %", "dy": 17, "fontSize": 12})  # fmt: skip
        disc = {"type": "point", "size": DISC[self.width], "opacity": 1, "strokeWidth": 2}
        yield self._layer(firm, {**disc, "filled": True, "fill": self.look.coat, "stroke": self.look.ink})
        yield self._layer(
            hollow, {**disc, "filled": True, "fill": self.look.paper, "stroke": self.look.ink, "strokeDash": [3, 2]}
        )
        number = {"type": "text", "baseline": "middle", "fontWeight": "bold", "fontSize": 13}
        yield self._layer(firm, {**number, "color": self.look.on_coat}, said=True)
        yield self._layer(hollow, {**number, "color": self.look.ink}, said=True)
        diamond = {"type": "point", "shape": "diamond", "size": 170, "filled": True, "opacity": 1, "dy": 19}
        yield self._layer(ends, {**diamond, "yOffset": 18, "color": self.look.ink})

    def _coats(self, *, firm: bool) -> list[Spec]:
        return [
            {"piece": _name(plan), "h": self.hour(coat.start), "said": str(coat.number)}
            for plan in self.plans
            for coat in plan.planned
            if is_firm(coat) is firm
        ]

    def _now(self, plan: Plan) -> float:
        return self.hour(plan.made_at)

    def _last(self, plan: Plan) -> float:
        return max(self.hour(instant) for instant in _instants(plan))

    def _layer(self, values: list[Spec], mark: Spec, *, to: bool = False, said: bool = False) -> Spec:
        names = [_name(plan) for plan in self.plans]
        encoding: Spec = {
            "x": {
                "field": "h",
                "type": "quantitative",
                "scale": {"domain": [0.0, self.end_h], "nice": False},
                "axis": hour_axis(self._ticks(), labels=True) | {"orient": "top", "labelPadding": 19},
            },
            "y": {
                "field": "piece",
                "type": "nominal",
                "sort": names,
                "scale": {"domain": names},
                "axis": {"title": None, "ticks": False, "labelFontWeight": "bold", "labelLimit": 130},
            },
        }
        if to:
            encoding["x2"] = {"field": "to"}
        if said:
            encoding["text"] = {"field": "said", "type": "nominal"}
        return {"data": {"values": values}, "mark": mark, "encoding": encoding}

    def _ticks(self) -> list[tuple[float, str | list[str]]]:
        days = self.end_h / 24.0
        every = next((n for n in (1, 2, 7, 14, 28) if self.width / days * n >= 52), 56)
        midnights = wall_hours(self.start, self.end_h, self.zone, 24)
        days_at = [(hour, weekday_date(local).split(" ", 1)) for hour, local in midnights]
        return list(days_at[::every])


def _instants(plan: Plan) -> Iterator[datetime]:
    yield plan.made_at
    yield from (coat.last_stroke for coat in plan.planned)
    if plan.built_up_at is not None:
        yield plan.built_up_at
    if plan.beyond is not None and (most := _most(plan.beyond)) is not None:
        yield most


def _most(beyond: Beyond) -> datetime | None:
    """Return when nine of ten past years had it built up, or else up to when that was looked for."""
    return beyond.built_up_90_at or beyond.until


def _name(plan: Plan) -> str:
    name = plan.piece_name
    return name if len(name) <= LONGEST_NAME else name[: LONGEST_NAME - 1].rstrip() + "…"
