"""The chart of a review: whether odds held, by how far ahead they were said."""

from dataclasses import dataclass

from dryspell.alerts.picture_look import LIGHT, Look, Spec, config_of
from dryspell.outlook.review import BINS, Bin, Reviewed, Score
from dryspell.web.charts.panels import SCHEMA

SPANS: tuple[tuple[str, int, int], ...] = (
    ("now, up to 6 h ahead", 0, 6),
    ("12 to 24 h ahead", 12, 24),
    ("2 days ahead", 48, 48),
    ("3 to 5 days ahead", 72, 120),
)
SIDE = {True: 250, False: 138}
FEW = 30
"""Fewer starts than this say little, and are drawn hollow (no source)."""


@dataclass(frozen=True)
class Told:
    """Starts of odds within a tenth, of one span of lead times."""

    span: str
    low_pct: int
    high_pct: int
    starts: int
    said_pct: float
    came_pct: float

    @property
    def few(self) -> bool:
        """Whether there are so few that they say little."""
        return self.starts < FEW


def by_span(found: Reviewed) -> list[tuple[str, Score]]:
    """Return the scores by how far ahead verdicts were given, those of which there are some."""
    spans = []
    for name, first, last in SPANS:
        rows = (found.lead_h >= first) & (found.lead_h <= last)
        part = Reviewed(found.lead_h[rows], found.yes[rows], found.share[rows], found.came[rows])
        if part.came.size:
            spans.append((name, part.score))
    return spans


def review_rows(found: Reviewed) -> list[Told]:
    """Return the chart's points as rows of a table."""
    return [
        _told(name, k, of)
        for name, score in by_span(found)
        for k, of in enumerate(score.reliability)
        if of is not None
    ]  # fmt: skip


def _told(span: str, k: int, of: Bin) -> Told:
    each = 100 // BINS
    return Told(span, each * k, each * (k + 1), of.count, round(100.0 * of.said, 1), round(100.0 * of.came, 1))


def review_chart(found: Reviewed, look: Look = LIGHT, *, wide: bool = False) -> Spec:
    """Return the chart: of each span of lead times what was said against what came.

    A disc on the line held what it said; under it less came than was said, above it more. Its size goes with the
    number of starts, and it is hollow where these are few.
    """
    rows = review_rows(found)
    most = max((row.starts for row in rows), default=1)
    return {
        "$schema": SCHEMA,
        "background": "transparent",
        "padding": 4,
        "columns": 4 if wide else 2,
        "spacing": 18,
        "concat": [_panel(name, rows, most, look, SIDE[wide]) for name, _ in by_span(found)],
        "config": config_of(look),
    }


def _panel(name: str, rows: list[Told], most: int, look: Look, side: int) -> Spec:
    values = [{"said": row.said_pct, "came": row.came_pct, "starts": row.starts} for row in rows if row.span == name]
    share: Spec = {"type": "quantitative", "scale": {"domain": [0, 100]}}
    x, y = (
        {**share, "field": field, "axis": {"values": [0, 50, 100], "title": f"{field}, %"}}
        for field in ("said", "came")
    )
    scale = {"domain": [1, most], "range": [40, 420]}
    size: Spec = {"field": "starts", "type": "quantitative", "scale": scale, "legend": None}
    disc = {"type": "point", "filled": True, "opacity": 1, "strokeWidth": 2, "stroke": look.dew}
    layers: list[Spec] = [
        {
            "data": {"values": [{"said": 0, "came": 0}, {"said": 100, "came": 100}]},
            "mark": {"type": "line", "color": look.ink, "strokeDash": [5, 3], "strokeWidth": 1.5},
            "encoding": {"x": x, "y": y},
        },
        {
            "data": {"values": values},
            "mark": {"type": "line", "color": look.dew, "strokeWidth": 1.5, "opacity": 0.7},
            "encoding": {"x": x, "y": y},
        },
    ]
    for few in (False, True):
        points = [row for row in values if (row["starts"] < FEW) is few]
        fill = {"fill": look.paper, "strokeDash": [2, 2]} if few else {"fill": look.dew}
        encoding = {"x": x, "y": y, "size": size}
        layers.append({"data": {"values": points}, "mark": {**disc, **fill}, "encoding": encoding})
    return {"title": name, "width": side, "height": side, "layer": layers}
