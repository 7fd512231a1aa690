"""The charts themselves: drawn, as specifications that a browser draws by itself, and the script that does that."""

import json
from collections.abc import Callable, Hashable, Mapping
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from dryspell.alerts.picture import picture_spec
from dryspell.alerts.picture_look import LOOKS, Look, Spec, Theme
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Outlook
from dryspell.outlook.review import Reviewed
from dryspell.web.board import Known
from dryspell.web.charts.drawings import Drawings, Drawn, packed, script_name
from dryspell.web.charts.outlook import outlook_chart
from dryspell.web.charts.outlook_table import told
from dryspell.web.charts.plan import plan_chart
from dryspell.web.charts.review import review_chart
from dryspell.web.charts.sight import Sight
from dryspell.web.charts.strips import strips_chart
from dryspell.web.refusal import refusal
from dryspell.web.shell import UNITS, Shell
from dryspell.web.static_files import FOR_EVER

FURTHEST = timedelta(days=20)
"""No forecast reaches further; a day beyond it is no day of ours."""
WHILE_CURRENT = "private, max-age=3600"
TOGETHER = ("strips", "hours")
"""Charts of which a page has one for each piece."""
SIZES = ("wide", "narrow")


@dataclass(frozen=True)
class Asked:
    """What somebody wants to see of what is known, and how."""

    shell: Shell
    sight: Sight
    known: Known
    name: str
    outlook: Outlook | None
    units: Units
    theme: Theme
    wide: bool
    day: date | None
    is_current: bool

    @property
    def look(self) -> Look:
        """The inks."""
        return LOOKS[self.theme]

    @property
    def key(self) -> Hashable:
        """What is the same for all who are shown the same."""
        piece = self.outlook.piece if self.outlook else ""
        return self.known.at, self.name, piece, self.units, self.theme, self.wide, self.day

    def spec(self) -> Spec | None:
        """Return the chart, None where there is nothing to show in it."""
        return CHARTS[self.name](self)

    def texts(self) -> dict[Hashable, str]:
        """Return the chart as text by its key, if there is something to show, and those on the same page with it."""
        together = [self]
        if self.name in TOGETHER:
            together += [replace(self, outlook=each) for each in self.known.outlooks if each is not self.outlook]
        specs = {each.key: each.spec() for each in together}
        return {key: json.dumps(spec, separators=(",", ":")) for key, spec in specs.items() if spec is not None}


def _outlook(asked: Asked) -> Spec | None:
    if asked.outlook is None:
        return None
    days = asked.sight.days(asked.known, asked.outlook, asked.day, wide=asked.wide)
    if days is None:
        return None
    chart = outlook_chart(asked.outlook, days, asked.units, asked.look, wide=asked.wide)
    return chart | {"usermeta": told(asked.outlook, days, asked.units)}


def _strips(asked: Asked) -> Spec | None:
    outlook = asked.outlook
    if outlook is None or not (outlook.windows or outlook.blocks):
        return None
    return strips_chart(outlook, asked.units, asked.look, wide=asked.wide)


def _hours(asked: Asked) -> Spec | None:
    if asked.outlook is None or (ahead := asked.sight.ahead(asked.known, asked.outlook)) is None:
        return None
    return picture_spec(asked.outlook, ahead, asked.units, asked.look) | {"background": "transparent"}


def _plan(asked: Asked) -> Spec | None:
    plans = asked.known.plans
    return plan_chart(plans, asked.look, wide=asked.wide) if plans and plans.plans else None


def _review(asked: Asked) -> Spec | None:
    of_each = asked.shell.reviews.of(asked.shell.clock.now())
    found = Reviewed.joined([of_each[asked.outlook.piece]] if asked.outlook else of_each.values())
    return review_chart(found, asked.look, wide=asked.wide) if found.came.size else None


CHARTS: Mapping[str, Callable[[Asked], Spec | None]] = {
    "outlook": _outlook,
    "strips": _strips,
    "hours": _hours,
    "plan": _plan,
    "review": _review,
}
"""Each chart by its name."""


def routes(shell: Shell, sight: Sight) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""
    charts = _Charts(shell, sight)
    return [
        ("/charts/{name}.svg", ["GET"], charts.svg),
        ("/charts/{name}.json", ["GET"], charts.spec),
        ("/static/charts/{name}", ["GET"], charts.script),
    ]


class _Charts:
    def __init__(self, shell: Shell, sight: Sight) -> None:
        self._shell = shell
        self._sight = sight
        self._drawings = Drawings(shell.config.state_dir / "cache")

    async def svg(self, request: Request) -> Response:
        asked = self._asked(request)
        if asked is None:
            return refusal(request.scope, 404, "No chart has that address.")
        made = self._drawings.kept(asked.key)
        if made is None:
            charts = await run_in_threadpool(asked.texts)
            if asked.key not in charts:
                return refusal(request.scope, 404, "There is nothing to show in this chart.")
            made = await run_in_threadpool(self._drawings.svg, asked.key, charts)
        if made is None:
            return refusal(request.scope, 503, "This chart cannot be drawn now; its table has the figures.")
        return _sent(request, made, "image/svg+xml", asked)

    async def spec(self, request: Request) -> Response:
        asked = self._asked(request)
        spec = None if asked is None else await run_in_threadpool(asked.spec)
        if asked is None or spec is None:
            return refusal(request.scope, 404, "No chart has that address.")
        body = json.dumps(spec, separators=(",", ":"), ensure_ascii=False).encode()
        return _sent(request, packed(body), "application/json", asked)

    async def script(self, request: Request) -> Response:
        if request.path_params["name"] != script_name():
            return refusal(request.scope, 404, "No file has that address.")
        made = await run_in_threadpool(self._drawings.script)
        if made is None:
            return refusal(request.scope, 503, "The script that draws charts cannot be had now.")
        return _sent(request, made, "text/javascript; charset=utf-8", None)

    def _asked(self, request: Request) -> Asked | None:
        """Return what is asked for, None where there is no such thing."""
        known, query = self._shell.board.known, request.query_params
        name, theme = request.path_params["name"], query.get("theme", "light")
        units, size = query.get("units", "metric"), query.get("size", "narrow")
        piece, of = query.get("piece", ""), query.get("of", "")
        if known is None or name not in CHARTS or theme not in LOOKS or units not in UNITS or size not in SIZES:
            return None
        outlook = known.outlook(piece) if piece else None
        day = day_of(query.get("day", ""), known)
        if (piece and outlook is None) or (query.get("day") and day is None):
            return None
        current = of == f"{known.at.timestamp():.3f}"
        return Asked(self._shell, self._sight, known, name, outlook, units, theme, size == "wide", day, current)


def day_of(text: str, known: Known) -> date | None:
    """Return the day that is asked for, None where that is none or none of these weeks."""
    try:
        day = date.fromisoformat(text)
    except ValueError:
        return None
    return day if abs(day - known.at.date()) <= FURTHEST else None


def _sent(request: Request, made: Drawn, kind: str, asked: Asked | None) -> Response:
    keep = FOR_EVER if asked is None else WHILE_CURRENT if asked.is_current else "private, no-cache"
    headers = {"Cache-Control": keep, "ETag": f'W/"{made.mark}"', "Vary": "Accept-Encoding"}
    if f'"{made.mark}"' in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    if "gzip" in request.headers.get("accept-encoding", ""):
        return Response(made.packed, headers={**headers, "Content-Encoding": "gzip"}, media_type=kind)
    return Response(made.body, headers=headers, media_type=kind)
