"""Plans on a terminal of 80 columns: when each piece is done, then every coat to come with its day and its hours."""

from collections.abc import Iterator, Mapping, Sequence
from zoneinfo import ZoneInfo

from dryspell.answers.plan_words import beyond_text, how, moved_text, outcome, share_text, why_not
from dryspell.cli.material_words import coats_text, wrapped
from dryspell.cli.paint import Paint
from dryspell.cli.show import WIDTH, heading, sources
from dryspell.outlook import words
from dryspell.outlook.figures import Units
from dryspell.outlook.plan_model import Plan, PlannedCoat, Plans
from dryspell.trade.before import before_text

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
                           f"{share_text(made.share)}", ""), ""]  # fmt: skip
    lines += [*_past_credits(shown, paint), *sources(shown, paint)]
    return "\n".join(line.rstrip() for line in lines)


def _past_credits(shown: Sequence[Plan], paint: Paint) -> Iterator[str]:
    """Yield whose weather of past years it is, and the credit it asks for."""
    for source, credit in dict.fromkeys((each.beyond.source, each.beyond.attribution) for each in shown if each.beyond):
        for line in (f"Past years: {source}." if source else "", credit):
            yield from (paint(part, "aside") for part in wrapped(line, "") if line)


def _summary(plans: Sequence[Plan], paint: Paint) -> Iterator[str]:
    now, zone = plans[0].made_at, ZoneInfo(plans[0].timezone)
    local = now.astimezone(zone)
    yield paint(f"{words.weekday_date(local)} {local:%Y %H:%M}", "title") + paint(f"  {zone.key}", "aside")
    yield ""
    widest = max(len(plan.piece_name) for plan in plans)
    for plan in plans:
        indent = 2 + widest + 2
        first, *rest = wrapped(outcome(plan), " " * indent)
        yield f"  {paint(plan.piece_name.ljust(widest), 'title')}  {first.strip()}"
        yield from rest


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
        yield from wrapped(f"{words.capital(coats_text(numbers))}: {why_not(plan, zone, now, units)}.", "  ")
    elif plan.left:
        yield from wrapped(f"{words.capital(outcome(plan))}.", "  ")
    if plan.beyond is not None:
        yield from wrapped(beyond_text(plan.beyond, zone, now), "  ")


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
    with_what = ", ".join([*([names.get(coat.coating, coat.coating)] if is_first else []), *how(coat)])
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
                           f"{moved_text(coat, coat.moved, people, zone, units)}.", _INDENT)  # fmt: skip
