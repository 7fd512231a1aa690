"""The plan: what is done on which day, at which piece, by whom, and when each piece is done."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from starlette.requests import Request
from starlette.responses import Response

from dryspell.answers.amounts import coats_text
from dryspell.answers.plan_words import beyond_text, how, moved_text, outcome, share_text, why_not
from dryspell.outlook.figures import clock, moment, weekday_date, when
from dryspell.outlook.plan_model import Plan, PlannedCoat
from dryspell.outlook.words import capital
from dryspell.trade.before import before_text
from dryspell.web.cards import odds_text
from dryspell.web.charts.pictures import plan_picture
from dryspell.web.shell import Shell, View


@dataclass(frozen=True)
class Due:
    """A coat to come, for people."""

    piece: str
    name: str
    number: int
    prepare: str
    begin: str
    begin_at: datetime
    leave: str
    who: str
    odds: str
    how: str
    remarks: tuple[str, ...]
    stages: str


@dataclass(frozen=True)
class Whole:
    """A piece with all that is planned of it, for people."""

    key: str
    name: str
    site: str
    outcome: str
    to_come: str
    odds: str
    remarks: tuple[str, ...]


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""

    async def plan(request: Request) -> Response:
        return await shell.page(request, "plan.html", _fill)

    return [("/plan", ["GET"], plan)]


def _fill(view: View) -> dict[str, Any]:
    plans = view.known.plans if view.known else None
    if plans is None:
        return {"days": [], "wholes": [], "share": "", "made": None, "credits": [], "picture": None}
    due = sorted((each for plan in plans.plans for each in _dues(plan, view)), key=lambda each: each[0])
    days: dict[str, list[Due]] = {}
    for _, day, coat in due:
        days.setdefault(day, []).append(coat)
    credits_ = [plan.weather.attribution for plan in plans.plans if plan.weather]
    credits_ += [plan.beyond.attribution for plan in plans.plans if plan.beyond]
    return {
        "days": list(days.items()),
        "picture": plan_picture(view),
        "wholes": [_whole(plan, view) for plan in plans.plans],
        "share": capital(share_text(plans.share)) if plans.share else "",
        "made": plans.plans[0].made_at if plans.plans else None,
        "credits": list(dict.fromkeys(filter(None, credits_))),
    }


def _dues(plan: Plan, view: View) -> Iterator[tuple[datetime, str, Due]]:
    zone = ZoneInfo(plan.timezone)
    for coat in plan.planned:
        yield coat.start, weekday_date(coat.start.astimezone(zone).date()), _due(plan, coat, zone, view)


def _due(plan: Plan, coat: PlannedCoat, zone: ZoneInfo, view: View) -> Due:
    people = {key: person.name for key, person in view.config.person.items()}
    remarks = []
    if coat.before:
        remarks.append(f"{capital(before_text(coat.before))}.")
    if coat.coarse:
        remarks.append("Not firm: the weather there is given in steps that can hide a night.")
    if coat.moved is not None:
        why = moved_text(coat, coat.moved, people, zone, view.units)
        remarks.append(f"Moved, was {when(coat.moved.planned_at, zone, view.now)}: {why}.")
    stages = {"dew-safe": coat.stages.dew_safe, "ready to sand": coat.stages.sandable}
    label = view.config.coating[coat.coating].label if coat.coating in view.config.coating else coat.coating
    return Due(
        piece=plan.piece,
        name=plan.piece_name,
        number=coat.number,
        prepare="" if coat.hot else moment(coat.prepare_at, zone, on=coat.start),
        begin=clock(coat.start, zone),
        begin_at=coat.start,
        leave=moment(coat.last_stroke, zone, on=coat.start),
        who=people.get(coat.who, coat.who),
        odds="" if coat.probability is None else odds_text(coat.probability),
        how=f"{label}, {', '.join(how(coat))}",
        remarks=tuple(remarks),
        stages=", ".join(f"{name} {moment(at, zone, on=coat.start)}" for name, at in stages.items() if at),
    )


def _whole(plan: Plan, view: View) -> Whole:
    zone, site = (
        ZoneInfo(plan.timezone),
        view.config.site[plan.site].name if plan.site in view.config.site else plan.site,
    )
    remarks = []
    if plan.unplanned and plan.left:
        numbers = range(plan.coats - plan.unplanned + 1, plan.coats + 1)
        remarks.append(f"{capital(coats_text(numbers))}: {why_not(plan, zone, plan.made_at, view.units)}.")
    if plan.beyond is not None:
        remarks.append(beyond_text(plan.beyond, zone, plan.made_at))
    on = plan.coats - plan.left
    return Whole(
        key=plan.piece,
        name=plan.piece_name,
        site=site,
        outcome=capital(outcome(plan)),
        to_come=f"{coats_text(range(on + 1, plan.coats + 1))} of {plan.coats} to come" if plan.left else "",
        odds="" if plan.odds_pct is None or not plan.planned
        else f"All that is planned of it goes well with {plan.odds_pct:.0f} % at least.",
        remarks=tuple(remarks),
    )  # fmt: skip
