"""How it is doing: the ticks, the weather of each site, the sensors, the targets, the plan, and whose data it is."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from starlette.requests import Request
from starlette.responses import Response

from dryspell import __version__
from dryspell.alerts.sensors import SensorHealth, Trouble
from dryspell.outlook.figures import duration
from dryspell.web.shell import Shell, View

LATE_WITHIN = timedelta(days=7)
SHORTEST_IN_MIN_S = 120.0
_TROUBLE = {
    Trouble.SILENT: "silent",
    Trouble.STUCK: "stuck at one reading",
    Trouble.FLAGGED: "most of what it reads is not used",
}


@dataclass(frozen=True)
class Line:
    """A thing, how it is, and what there is to say of it."""

    name: str
    word: Literal["good", "look", "bad"]
    said: str


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""

    async def doing(request: Request) -> Response:
        return await shell.page(request, "doing.html", _fill)

    return [("/doing", ["GET"], doing)]


def _fill(view: View) -> dict[str, Any]:
    parts = {
        "The daemon": [_daemon(view)],
        "Weather": list(_weather(view)),
        "Sensors": list(_sensors(view)),
        "Who is told": list(_targets(view)),
        "The plan": [_plan(view)],
    }
    return {
        "parts": [(name, lines) for name, lines in parts.items() if lines],
        "credits": _credits(view),
        "version": __version__,
    }


def _ago(view: View, at: datetime | None) -> str:
    if at is None:
        return "never"
    ago = view.now - at
    return "just now" if ago < timedelta(minutes=1) else f"{duration(ago)} ago"


def _daemon(view: View) -> Line:
    if view.known is None:
        return Line("Ticks", "look", "the first look is under way")
    tick_s = view.config.daemon.tick_s
    every = f"{tick_s:g} s" if tick_s < SHORTEST_IN_MIN_S else duration(timedelta(seconds=tick_s))
    said = f"looked {_ago(view, view.known.at)}, every {every}"
    missing = [piece.name for key, piece in view.config.piece.items() if view.known.outlook(key) is None]
    if view.is_stale:
        return Line("Ticks", "bad", f"{said}; the log says why not since")
    if missing:
        return Line("Ticks", "bad", f"{said}; {', '.join(missing)} could not be judged, and the log says why")
    return Line("Ticks", "good", said)


def _weather(view: View) -> Iterator[Line]:
    known = view.known
    if known is None:
        return
    failing = {health.key: health for health in known.sources if health.failing_since}
    for key, site in known.config.site.items():
        if key not in known.tables:
            continue
        table = known.tables[key]
        if table is None:
            yield Line(site.name, "bad", "there is no weather to go by")
        else:
            age = view.now - table.issued_at
            old = age > timedelta(hours=view.config.weather.stale_after_h)
            said = f"{table.source}, issued {_ago(view, table.issued_at)}" + (", too old to go by" if old else "")
            yield Line(site.name, "bad" if old else "good", "; ".join([said, *table.notes]))
        for health in failing.values():
            if health.site == key and health.failing_since:
                instead = f"; {health.instead} instead" if health.instead else ""
                said = f"gives nothing, first {_ago(view, health.failing_since)}{instead}"
                yield Line(f"{health.source} for {site.name}", "look", said)


def _sensors(view: View) -> Iterator[Line]:
    for sensor in view.known.sensors if view.known else ():
        yield Line(sensor.name, "bad" if sensor.trouble else "good", _sensor(sensor, view))


def _sensor(sensor: SensorHealth, view: View) -> str:
    said = [f"last good reading {_ago(view, sensor.last_good_at)}"]
    if sensor.trouble:
        said.insert(0, _TROUBLE[sensor.trouble])
    if sensor.readings:
        said.append(f"{1 - sensor.flagged_share:.0%} of {sensor.readings} readings of the last hours are used")
    return ", ".join(said)


def _targets(view: View) -> Iterator[Line]:
    store = view.desk.store
    failing, queued, late = store.failing(), store.queued(), store.late_since(view.now - LATE_WITHIN)
    for key in view.config.alerts:
        waits = queued.get(key)
        said = [f"{waits.count} wait, the oldest told {_ago(view, waits.oldest_at)}"] if waits else []
        if dropped := late.get(key):
            said.append(f"{dropped} came too late in the last week and were dropped")
        if failed := failing.get(key):
            yield Line(
                key,
                "bad",
                "; ".join([f"has taken nothing: the first it did not take is of {_ago(view, failed.since)}", *said]),
            )
        else:
            yield Line(key, "look" if dropped else "good", "; ".join(said) or "nothing waits")
    if not view.config.alerts:
        yield Line("Nobody", "look", "no target is configured: what there is to say stands here and in the log")


def _plan(view: View) -> Line:
    plans = view.known.plans if view.known else None
    if plans is None or not plans.plans:
        return Line("Plan", "look", "none is made yet")
    coats = sum(len(plan.planned) for plan in plans.plans)
    return Line("Plan", "good", f"made {_ago(view, plans.plans[0].made_at)}, {coats} coats planned")


def _credits(view: View) -> list[str]:
    tables = [table for table in view.known.tables.values() if table] if view.known else []
    return list(dict.fromkeys(table.attribution for table in tables if table.attribution))
