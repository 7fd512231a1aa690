"""Dew, rain, cold or sun will reach a film that is not yet safe from it: when, and once more shortly before.

The rules, per film and danger:

- it is said from three hours ahead, of the sun from one; of what comes in the quiet hours, or too soon after them, in
  the evening before; of what comes when nobody works, an hour before the work ends, for whoever covers it then;
- of the sun nothing is said that was said with the word to coat, not four hours before: to hang the shade by then;
- at a chance of 30 % and more, as a coat is refused from there on; it is over below 15 %, for half an hour;
- in quiet hours only what is news, cannot wait for the morning, and has not begun: that rings;
- once more 45 minutes before, but not of the sun, and whenever it comes over an hour sooner than was told; neither in
  quiet hours;
- that it is over is said while what was told is still ahead, and not within six hours of having said so before.
"""

from collections.abc import Iterable
from datetime import datetime, timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import FilmMemory, Warned
from dryspell.alerts.model import Why
from dryspell.alerts.quiet import quiet_before
from dryspell.alerts.spans import last_worked
from dryspell.alerts.talk import Talk
from dryspell.alerts.topics.film import film_key
from dryspell.outlook.model import FilmRisk, Hazard

SAY_FROM, OVER_BELOW = 0.3, 0.15
"""Odds: refuse at a chance of rain of 30 %, think of it from 15 % (common practice, no source)."""
# All of these: common practice of people who have to drive to their work, no source.
LEAD = timedelta(hours=3)
SUN_LEAD = timedelta(hours=1)
A_MORNING = timedelta(hours=4)
REMIND = timedelta(minutes=45)
NEEDED = timedelta(hours=1)
BEFORE_QUIET = timedelta(minutes=90)
BEFORE_LEAVING = timedelta(hours=1)
OVER_FOR = timedelta(minutes=30)
SOONER = timedelta(hours=1)
REST = timedelta(hours=6)
UNDER_WAY = timedelta(minutes=15)
MOST_TIMES = 6
"""How often one danger is told of as news to one film, whatever the forecast does."""


def speak(talk: Talk) -> None:
    """Say what comes to the film, and what does not after all."""
    film, risks = talk.memory.film, talk.outlook.film_risk
    if film is None or risks is None:
        return
    by_hazard = {risk.hazard: risk for risk in risks}
    warned = {each.hazard: each for each in film.warned}
    # In the order in which they come, then what is there no more.
    for hazard in dict.fromkeys([*by_hazard, *warned]):
        after = _speak(talk, film, by_hazard.get(hazard), warned.get(hazard))
        if after is not None:
            warned[hazard] = after
    talk.remember(film=film.put(warned=tuple(warned.values())))


def due_from(talk: Talk, risk: FilmRisk) -> datetime:
    """Return from when on a danger is said."""
    began = quiet_before(risk.at - NEEDED, talk.habits.quiet, talk.zone)
    due = risk.at - (SUN_LEAD if risk.hazard == "sun" else LEAD)
    due = due if began is None else min(due, began - BEFORE_QUIET)
    leaves = None if risk.hazard == "sun" else last_worked(risk.at - NEEDED, talk.ways.hours, talk.zone)
    return due if leaves is None else min(due, leaves - BEFORE_LEAVING)


def _speak(talk: Talk, film: FilmMemory, risk: FilmRisk | None, before: Warned | None) -> Warned | None:
    if before is None or not before.stands:
        if risk is None or risk.odds < SAY_FROM or not _is_due(talk, risk):
            return before
        return _told_to_shade(talk, film, risk, before) or _warn(talk, film, risk, before, Why.AHEAD)
    if risk is None or risk.odds < OVER_BELOW:
        return _low(talk, before, risk)
    before = before.put(low_since=None)
    if risk.odds < SAY_FROM:
        return before
    is_sooner = before.at - risk.at > SOONER and before.at > talk.now
    if is_sooner and talk.quiet_until is None and _is_due(talk, risk):
        return _warn(talk, film, risk, before, Why.SOONER)
    return _remind(talk, risk, before)


def _is_due(talk: Talk, risk: FilmRisk) -> bool:
    if talk.now < due_from(talk, risk):
        return False
    if talk.quiet_until is None:
        return True
    return risk.at - talk.now >= UNDER_WAY and risk.at - NEEDED < talk.quiet_until


def _told_to_shade(talk: Talk, film: FilmMemory, risk: FilmRisk, before: Warned | None) -> Warned | None:
    """Return what counts as told where all were told with the word to coat to hang the shade before the sun comes."""
    shade = talk.memory.windows.shade
    if risk.hazard != "sun" or shade is None or shade.coat != film.number or not talk.habits.all_told_to_coat:
        return None
    if not shade.by <= risk.at <= shade.told_at + A_MORNING:
        return None
    return Warned(hazard=risk.hazard, times=before.times if before else 0, at=risk.at, told_at=shade.told_at)


def _say(
    talk: Talk,
    kind: Kind,
    why: Why,
    key: str,
    expires_at: datetime,
    hazard: Hazard,
    at: datetime,
    risk: FilmRisk | None,
    level: Level = Level.NOW,
) -> None:
    topic = f"{talk.outlook.piece}/risk/{hazard}"
    talk.say(kind, why, key, expires_at, level=level, topic=topic, hazard=hazard, at=at, risk=risk)


def _warn(talk: Talk, film: FilmMemory, risk: FilmRisk, before: Warned | None, why: Why) -> Warned | None:
    times = before.times + 1 if before else 1
    if times > MOST_TIMES:
        return before
    key = f"{film_key(talk.outlook.piece, film)}/{Kind.FILM_RISK}/{risk.hazard}/{times}"
    if before is not None:
        talk.retract(before.key)
    # What helps a film that it has reached already helps for a while longer.
    until = max(risk.at, talk.now + NEEDED / 2)
    level = Level.NOW if talk.quiet_until is None else Level.WAKE
    _say(talk, Kind.FILM_RISK, why, key, until, risk.hazard, risk.at, risk, level)
    turns = _recent(talk, before.turns) if before else ()
    was_over = before is not None and bool(before.turns) and before.turns[-1] >= before.told_at
    again = (talk.now,) if was_over and why is Why.AHEAD else ()
    return Warned(hazard=risk.hazard, times=times, key=key, at=risk.at, told_at=talk.now, turns=(*turns, *again))


def _remind(talk: Talk, risk: FilmRisk, before: Warned) -> Warned:
    """Say it once more shortly before: somebody may have meant to see to it then."""
    near = risk.at - REMIND <= talk.now < risk.at
    long_ago = talk.now - before.told_at >= REMIND
    if before.reminded or not near or not long_ago or risk.hazard == "sun":
        return before
    if talk.quiet_until is not None or talk.habits.again == 0:
        return before
    key = f"{before.key}/{Why.NEAR}"
    _say(talk, Kind.FILM_RISK, Why.NEAR, key, risk.at, risk.hazard, risk.at, risk)
    return before.put(reminded=True)


def _low(talk: Talk, before: Warned, risk: FilmRisk | None) -> Warned:
    """Take it back when it is over for good; what has come and gone is over in silence."""
    since = before.low_since or talk.now
    if before.at <= talk.now or _is_safe(talk, before) or not before.key:
        talk.retract(before.key)
        return before.put(stands=False, low_since=None)
    rests = any(talk.now - turn < REST for turn in before.turns)
    if talk.now - since < OVER_FOR or talk.quiet_until is not None or rests:
        return before.put(low_since=since)
    talk.retract(before.key)
    key = f"{before.key}/{Kind.RISK_OVER}"
    _say(talk, Kind.RISK_OVER, Why.NO_LONGER, key, before.at, before.hazard, before.at, risk)
    turns = (*_recent(talk, before.turns), talk.now)
    return before.put(stands=False, low_since=None, turns=turns)


def _is_safe(talk: Talk, before: Warned) -> bool:
    """Say whether the film has got safe from it meanwhile, which has a word of its own."""
    film = talk.outlook.film
    stages = film.stages if film else None
    at = {"dew": stages.dew_safe, "rain": stages.rain_safe}.get(before.hazard) if stages else None
    return at is not None and at <= talk.now


def _recent(talk: Talk, turns: Iterable[datetime]) -> tuple[datetime, ...]:
    return tuple(turn for turn in turns if talk.now - turn < REST)
