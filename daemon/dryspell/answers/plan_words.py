"""What a plan says in words: when a piece is done, why a coat moved, why others find no hours."""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.outlook import words
from dryspell.outlook.figures import Units, duration
from dryspell.outlook.model import Limit
from dryspell.outlook.plan_model import Beyond, Moved, Plan, PlannedCoat, Share
from dryspell.trade.system import NO_SANDING

FEW_YEARS = 5
"""Of fewer past years nine of ten say nothing."""


def outcome(plan: Plan) -> str:
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


def beyond_text(beyond: Beyond, zone: ZoneInfo, now: datetime) -> str:
    """Return what past years say of the finish, as sentences."""
    if beyond.unknown or beyond.until is None:
        return f"When it may be built up is not known: {beyond.unknown}."
    half, most, until = (at and words.day(at, zone, now) for at in
                         (beyond.built_up_50_at, beyond.built_up_90_at, beyond.until))  # fmt: skip
    one = beyond.years == 1
    weather = f"In the weather of these days in {'one past year' if one else f'{beyond.years} past years'}"
    if half is None:
        return f"{weather} it would not be built up by {until}{'' if one else ' in half of them'}."
    found = f"{weather} it would be built up by {half}{'' if one else ' in half of them'}"
    if not one:
        found += f", by {most} in nine of ten" if most else f", in nine of ten not by {until}"
    return found + (". So few years are a hint and no odds." if beyond.years < FEW_YEARS else ".")


def how(coat: PlannedCoat) -> Iterator[str]:
    """Yield how a coat is put on: thinner, and what is sanded before it."""
    yield "no thinner" if not coat.thinner_parts else f"{coat.thinner_parts:g} parts of thinner to 100"
    if coat.hot:
        yield "on the soft coat below, unsanded"
    elif coat.abrasive == NO_SANDING:
        yield "sanding is compulsory by then" if coat.sand_first else "not sanded before it"
    else:
        yield f"sand {coat.abrasive} before it" + (
            ", compulsory by then" if coat.sand_first and not coat.before else ""
        )


def moved_text(coat: PlannedCoat, moved: Moved, people: Mapping[str, str], zone: ZoneInfo, units: Units) -> str:
    """Return why a coat is not where it was planned before."""
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


def why_not(plan: Plan, zone: ZoneInfo, now: datetime, units: Units) -> str:
    """Return why the next coats find no hours, without a full stop."""
    reaches = plan.weather.reaches if plan.weather else None
    until = f" before the forecast ends ({words.when(reaches, zone, now)})" if reaches else ""
    if plan.weather is None or plan.missing:
        lacking = ", ".join(words.variable(name) for name in plan.missing)
        return f"the forecast has no {lacking}" if lacking else "there is no weather to plan with"
    if reaches and reaches <= now:
        return f"the forecast ended {words.when(reaches, zone, now)}, so there is no weather to plan with"
    if plan.by_people:
        return f"no hours{until} in which somebody is free for it"
    reason = plan.reason
    if reason is None or (reason.limit is Limit.KNOWN and reason.value is None):
        return f"no hours{until}"
    if reason.limit is Limit.KNOWN:
        return words.reason_text(reason, zone, units, now=now)
    why = "the coat below is not ready in time" if reason.limit is Limit.COAT_BELOW else words.LABELS[reason.limit]
    return f"no good hours{until}, mostly for this: {why}"


def share_text(share: Share) -> str:
    """Return how good a plan is for people who cannot be at two pieces at once."""
    if not share.is_thinned:
        return _share_of_all(share)
    return f"{_share_of_all(share)} Of coats that may go on at very many times not every one of those was looked at."


def _share_of_all(share: Share) -> str:
    if share.is_best:
        return "no plan for all of them is better than this."
    if share.is_thinned and share.coats == share.coats_at_most and not share.gap_pct:
        return "no plan with the times that were looked at is better than this."
    if share.coats < share.coats_at_most:
        more = share.coats_at_most - share.coats
        return f"no other plan has more than {more} coat{'s' if more > 1 else ''} more."
    sooner = duration(timedelta(hours=share.finish_h - share.bound_h))
    share_pct = f"{share.gap_pct:.1f} % of the time it takes"
    return f"another plan might finish them sooner, by {sooner} in all at most ({share_pct})."
