"""Review: how often verdicts and odds were right here."""

from collections.abc import Mapping
from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from dryspell.outlook.review import BINS, Reviewed, Score
from dryspell.web.charts.pictures import review_picture
from dryspell.web.charts.review import review_rows
from dryspell.web.shell import Shell, View

FEW = 30
"""Of fewer starts odds say little (no source)."""


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""

    async def review(request: Request) -> Response:
        return await shell.page(request, "review.html", lambda view: _fill(shell.reviews.of(view.now), view))

    return [("/review", ["GET"], review)]


def _fill(found: Mapping[str, Reviewed], view: View) -> dict[str, Any]:
    everything = Reviewed.joined(found.values())
    if not everything.came.size:
        return {"tables": [], "bars": [], "picture": None, "points": [], "waiting": everything.open_, "count": 0}
    names = {key: piece.name for key, piece in view.config.piece.items()}
    tables = [("How far ahead", [_row(_ahead(lead), score) for lead, score in everything.by_lead().items()])]
    if len(found) > 1:
        tables.append(("Piece", [_row(names[key], each.score) for key, each in found.items() if each.came.size]))
    bars = [
        {
            "odds": f"{100 * k // BINS} to {100 * (k + 1) // BINS} %",
            "said": f"{of.said:.0%}",
            "came": f"{of.came:.0%}",
            "pct": round(100 * of.came),
            "starts": of.count,
            "few": of.count < FEW,
        }
        for k, of in enumerate(everything.score.reliability)
        if of is not None
    ]
    return {
        "tables": tables,
        "bars": bars,
        "picture": review_picture(view),
        "points": review_rows(everything),
        "waiting": everything.open_,
        "count": everything.score.count,
    }


def _row(label: str, score: Score) -> tuple[str, ...]:
    right = "" if score.right is None else f"{score.right:.0%}"
    brier = "" if score.brier is None else f"{score.brier:.3f}"
    skill = "" if score.skill is None else f"{score.skill:.2f}"
    counts = (score.hits, score.misses, score.false_alarms, score.correct_waits)
    return label, right, *map(str, counts), brier, skill


def _ahead(lead_h: int) -> str:
    if lead_h == 0:
        return "now"
    return f"{lead_h // 24} day{'s' if lead_h > 24 else ''}" if lead_h % 24 == 0 else f"{lead_h} h"
