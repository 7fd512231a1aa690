"""Planned coats as entries of a calendar, and what becomes of one that has moved or gone. Pure.

- an entry keeps what it is known by as long as its coat is to come;
- where it has moved its sequence is raised (RFC 5545, 3.8.7.4), so that every program takes the newer one;
- one that is planned no more is cancelled for two weeks, for programs that hold on to what they once read;
- one whose coat is on stays as it was told, until two weeks after its hours.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from dryspell.config import Config
from dryspell.outlook.figures import Units, clock, quantity, weekday_date
from dryspell.outlook.plan_model import Plan, PlannedCoat
from dryspell.outlook.words import reason_text
from dryspell.store.calendar_entry import Entry, Told
from dryspell.trade.before import before_text
from dryspell.trade.system import NO_SANDING

CANCELLED_FOR = timedelta(days=14)
KEPT_FOR = timedelta(days=14)

_MOVED = {
    "weather": "the weather there is not good any more",
    "coat_below": "the coat below is not ready by then",
    "people": "whoever does it is not free then",
    "sooner": "all of it is done sooner, or its last coat meets a better day",
    "missed": "that hour went by without the coat",
}


def entries_of(plans: Iterable[Plan], config: Config, units: Units) -> list[Entry]:
    """Return an entry for every planned coat."""
    return [_entry(plan, coat, config, units) for plan in plans for coat in plan.planned]


def tells(plan: Plan) -> bool:
    """Say whether a plan says anything of what is to come: one made for want of weather does not."""
    return bool(plan.planned) or not plan.left or plan.weather is not None


def told_now(
    before: Sequence[Told],
    entries: Iterable[Entry],
    planned: Mapping[str, int],
    now: datetime,
    new_uid: Callable[[], str],
) -> list[Told]:
    """Return what a calendar is told now.

    Parameters
    ----------
    before
        What it was told last.
    entries
        The coats that are planned.
    planned
        By piece, how many of its coats are on, of those whose plan says anything; what was told of others stays.
    new_uid
        Makes up what a new entry is known by.
    """
    old = {(told.entry.piece, told.entry.coat): told for told in before}
    found = []
    for entry in entries:
        was = old.pop((entry.piece, entry.coat), None)
        found.append(Told(new_uid(), 0, entry, now) if was is None else _again(was, entry, now))
    for told in old.values():
        left = _gone(told, planned, now)
        found += [] if left is None else [left]
    return sorted(found, key=lambda told: (told.entry.begins_at, told.entry.piece, told.entry.coat))


def _again(was: Told, entry: Entry, now: datetime) -> Told:
    if was.entry == entry and was.gone_at is None:
        return was
    hours = (was.entry.begins_at, was.entry.ends_at)
    moved = was.gone_at is not None or hours != (entry.begins_at, entry.ends_at)
    return Told(was.uid, was.sequence + moved, entry, now)


def _gone(told: Told, planned: Mapping[str, int], now: datetime) -> Told | None:
    """Return what is told of a coat that is in no plan now; None for nothing any more."""
    if told.gone_at is not None:
        return told if now - told.gone_at < CANCELLED_FOR else None
    if now - told.entry.ends_at >= KEPT_FOR:
        return None
    on = planned.get(told.entry.piece)
    if on is None or told.entry.coat <= on:
        return told
    return replace(told, sequence=told.sequence + 1, changed_at=now, gone_at=now)


def _entry(plan: Plan, coat: PlannedCoat, config: Config, units: Units) -> Entry:
    zone = ZoneInfo(plan.timezone)
    person = config.person.get(coat.who)
    return Entry(
        piece=plan.piece,
        coat=coat.number,
        begins_at=coat.prepare_at,
        ends_at=coat.last_stroke,
        title=f"{plan.piece_name}: coat {coat.number} of {plan.coats}" + (f" ({person.name})" if person else ""),
        text="\n".join(_lines(plan, coat, config, units, zone)),
        place=config.site[plan.site].name if plan.site in config.site else plan.site,
    )


def _lines(plan: Plan, coat: PlannedCoat, config: Config, units: Units, zone: ZoneInfo) -> Iterable[str]:
    prepare = f"Prepare from {clock(coat.prepare_at, zone)}, " if coat.prepare_at < coat.start else ""
    first = f"{prepare}first stroke {clock(coat.start, zone)}, last stroke by {clock(coat.last_stroke, zone)}"
    yield f"{first[:1].upper()}{first[1:]} ({plan.timezone})."
    coating = config.coating[coat.coating].label if coat.coating in config.coating else coat.coating
    thinned = f"{coat.thinner_parts:g} parts of thinner to 100" if coat.thinner_parts else "neat"
    sanded = "" if coat.abrasive == NO_SANDING else f", sanded with {coat.abrasive} before it"
    yield f"{coating}, {thinned}, wet film {quantity(coat.wet_film_um, 'um', units)}{sanded}."
    if coat.before:
        yield f"{before_text(coat.before)[:1].upper()}{before_text(coat.before)[1:]}."
    if coat.probability is not None:
        yield f"Odds that the weather holds: {coat.probability:.0%}."
    if coat.coarse:
        yield "It stands on weather given in steps that can hide a night."
    if coat.moved is not None:
        why = _MOVED[coat.moved.why]
        if coat.moved.reason is not None:
            why = reason_text(coat.moved.reason, zone, units)
        # By its date and not as "tomorrow": the text must not change with every day that passes.
        local = coat.moved.planned_at.astimezone(zone)
        yield f"Planned before for {weekday_date(local)} {clock(local, zone)}; moved: {why}."
    yield "A plan by the forecast of now, which changes; look again before you open the can."
    if config.alerting.link:
        yield config.alerting.link
