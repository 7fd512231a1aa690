"""Plans on a terminal of 80 columns: when each piece is done, then every coat to come with its day and its hours."""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.cli.material_words import coats_text, wrapped
from dryspell.cli.paint import Paint
from dryspell.cli.show import WIDTH, heading, sources
from dryspell.outlook import words
from dryspell.outlook.figures import Units, duration
from dryspell.outlook.model import Limit
from dryspell.outlook.plan_model import Moved, Plan, PlannedCoat, Plans, Share
from dryspell.trade.before import before_text
from dryspell.trade.system import NO_SANDING

_INDENT = " " * 6


def plans_text(
    made: Plans,
    shown: Sequence[Plan],
    names: Mapping[str, str],
    people: Mapping[str, str],
    paint: Paint,
    units: Units = "metric",
) -> str:
    """Return everything there is to say of some of the plans made together.

    Parameters
    ----------
    names
        What sites and coatings are called, by key.
    people
        What the people are called, by key.
    """
    lines = [*_summary(shown, paint)]
    for plan in shown:
        lines += ["", *_piece(plan, names, people, paint, units)]
    lines.append("")
    if made.share is not None:
        lines += [*wrapped(f"{'The pieces share people' if people else 'One finisher for all pieces'}: "
                           f"{_share_text(made.share)}", ""), ""]  # fmt: skip
    lines += sources(shown, paint)
    return "\n".join(line.rstrip() for line in lines)


def _summary(plans: Sequence[Plan], paint: Paint) -> Iterator[str]:
    now, zone = plans[0].made_at, ZoneInfo(plans[0].timezone)
    local = now.astimezone(zone)
    yield paint(f"{words.weekday_date(local)} {local:%Y %H:%M}", "title") + paint(f"  {zone.key}", "aside")
    yield ""
    widest = max(len(plan.piece_name) for plan in plans)
    for plan in plans:
        indent = 2 + widest + 2
        first, *rest = wrapped(_outcome(plan), " " * indent)
        yield f"  {paint(plan.piece_name.ljust(widest), 'title')}  {first.strip()}"
        yield from rest


def _outcome(plan: Plan) -> str:
    """Return when a piece is done, or how far it comes."""
    zone, now = ZoneInfo(plan.timezone), plan.made_at
    if not plan.left:
        return "built up"
    if plan.built_up_at is not None:
        use = plan.in_service_at
        used = f"in use from {words.day(use, zone, now)}" if use else "in use later than the forecast reaches"
        return f"built up {words.when(plan.built_up_at, zone, now)}, {used}"
    if plan.planned:
        first = words.when(plan.planned[0].start, zone, now)
        return f"{len(plan.planned)} of {plan.left} coats within the forecast, the next one {first}"
    return "no hours for the next coat within the forecast" if plan.reason is None or plan.weather else "no weather"


def _piece(
    plan: Plan, names: Mapping[str, str], people: Mapping[str, str], paint: Paint, units: Units
) -> Iterator[str]:
    on = plan.coats - plan.left
    to_come = f"{coats_text(range(on + 1, plan.coats + 1))} of {plan.coats}" if plan.left else "built up"
    yield from heading(f"{plan.piece_name}, {names.get(plan.site, plan.site)}", to_come, paint)
    zone, now = ZoneInfo(plan.timezone), plan.made_at
    before = ""
    for coat in plan.planned:
        yield from _coat(plan, coat, names, people, paint, units, is_first=coat.coating != before)
        before = coat.coating
    if plan.unplanned and plan.left:
        numbers = range(plan.coats - plan.unplanned + 1, plan.coats + 1)
        yield from wrapped(f"{words.capital(coats_text(numbers))}: {_why_not(plan, zone, now, units)}.", "  ")
    elif plan.left:
        yield from wrapped(f"{words.capital(_outcome(plan))}.", "  ")
    if plan.beyond is not None:
        half, most = (words.day(at, zone, now) for at in (plan.beyond.built_up_50_at, plan.beyond.built_up_90_at))
        years = f"Of {plan.beyond.years} past years"
        yield from wrapped(f"{years} it would be built up by {half} in half, by {most} in nine of ten.", "  ")


def _coat(
    plan: Plan,
    coat: PlannedCoat,
    names: Mapping[str, str],
    people: Mapping[str, str],
    paint: Paint,
    units: Units,
    *,
    is_first: bool,
) -> Iterator[str]:
    zone, now = ZoneInfo(plan.timezone), plan.made_at
    day = words.weekday_date(coat.start.astimezone(zone))
    hours = f"brush {words.clock(coat.start, zone)} to {words.moment(coat.last_stroke, zone, on=coat.start)}"
    prepare = "" if coat.hot else f"prepare {words.clock(coat.prepare_at, zone)}  "
    odds = "" if coat.probability is None else f"odds {coat.probability:.0%}"
    left = f"  {coat.number:>2}  {day:<11} {prepare:<15}{hours}"
    right = "  ".join(part for part in (odds, people.get(coat.who, coat.who)) if part)
    yield paint(left.ljust(WIDTH - len(right)), "title") + right
    with_what = ", ".join([*([names.get(coat.coating, coat.coating)] if is_first else []), *_how(coat)])
    yield from wrapped(words.capital(with_what) + ".", _INDENT)
    if coat.before:
        yield from wrapped(f"{words.capital(before_text(coat.before))}.", _INDENT)
    known = {"dew-safe": coat.stages.dew_safe, "ready to sand": coat.stages.sandable}
    told = [f"{name} {words.moment(at, zone, on=coat.start)}" for name, at in known.items() if at is not None]
    if told:
        yield from wrapped(words.capital(", ".join(told)) + ".", _INDENT)
    if coat.coarse:
        yield from wrapped("Not firm: the weather there is given in steps that can hide a night.", _INDENT)
    if coat.moved is not None:
        yield from wrapped(f"Moved, was {words.when(coat.moved.planned_at, zone, now)}: "
                           f"{_moved(coat, coat.moved, people, zone, units)}.", _INDENT)  # fmt: skip


def _how(coat: PlannedCoat) -> Iterator[str]:
    yield "no thinner" if not coat.thinner_parts else f"{coat.thinner_parts:g} parts of thinner to 100"
    if coat.hot:
        yield "on the soft coat below, unsanded"
    elif coat.abrasive == NO_SANDING:
        yield "sanding is compulsory by then" if coat.sand_first else "not sanded before it"
    else:
        yield f"sand {coat.abrasive} before it" + (
            ", compulsory by then" if coat.sand_first and not coat.before else ""
        )


def _moved(coat: PlannedCoat, moved: Moved, people: Mapping[str, str], zone: ZoneInfo, units: Units) -> str:
    who = people.get(coat.who, "") or "whoever does it"
    match moved.why:
        case "weather" if moved.reason is not None:
            return words.reason_text(moved.reason, zone, units, on=moved.planned_at, below=coat.number - 1)
        case "coat_below":
            below = f"coat {coat.number - 1}" if coat.number > 1 else "the film on it"
            return f"{below} is not ready by then"
        case "people":
            return f"{who} is needed at another piece then"
        case "sooner":
            return "so that the piece is done sooner"
        case "missed":
            return "it was not put on then"
        case _:
            return "the weather there is not good any more"


def _why_not(plan: Plan, zone: ZoneInfo, now: datetime, units: Units) -> str:
    reaches = plan.weather.reaches if plan.weather else None
    until = f" before the forecast ends ({words.when(reaches, zone, now)})" if reaches else ""
    if plan.weather is None or plan.missing:
        lacking = ", ".join(words.variable(name) for name in plan.missing)
        return f"the forecast has no {lacking}" if lacking else "there is no weather to plan with"
    if plan.by_people:
        return f"no hours{until} in which somebody is free for it"
    reason = plan.reason
    if reason is None or (reason.limit is Limit.KNOWN and reason.value is None):
        return f"no hours{until}"
    if reason.limit is Limit.KNOWN:
        return words.reason_text(reason, zone, units, now=now)
    why = "the coat below is not ready in time" if reason.limit is Limit.COAT_BELOW else words.LABELS[reason.limit]
    return f"no good hours{until}, mostly for this: {why}"


def _share_text(share: Share) -> str:
    if share.is_best:
        return "no plan for all of them is better than this."
    if share.coats < share.coats_at_most:
        more = share.coats_at_most - share.coats
        return f"no other plan has more than {more} coat{'s' if more > 1 else ''} more."
    sooner = duration(timedelta(hours=share.finish_h - share.bound_h))
    share_pct = f"{share.gap_pct:.1f} % of the time it takes"
    return f"another plan might finish them sooner, by {sooner} in all at most ({share_pct})."
