"""How far the film has come: dew-safe, rain-safe, ready to sand, built up, in service, cured. Each once a film.

- dew-safe and rain-safe are for the page, unless somebody was told of dew or rain to come: then it is over now;
- the rest is said in working hours, else in the morning of the day after;
- what is so for longer than it is news is not spoken of any more, nor is "ready to sand" to whoever was told of a
  window of that day, and with it when to sand; nor where one opens later that day that leaves time to prepare then.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import FilmMemory
from dryspell.alerts.model import Why
from dryspell.alerts.talk import Talk
from dryspell.alerts.topics.windows import has_room
from dryspell.outlook.model import FilmState

SAME_FILM = timedelta(hours=6)
"""A coat whose last stroke was corrected by less than this is the same film still."""
# What is news for how long: no source.
SAFE_IS_NEWS_FOR = timedelta(hours=6)
SANDABLE_IS_NEWS_FOR = timedelta(hours=36)
DONE_IS_NEWS_FOR = timedelta(days=7)


@dataclass(frozen=True)
class _Milestone:
    kind: Kind
    at: datetime | None
    news_for: timedelta
    level: Level = Level.PLAN
    by_day: bool = True


def film_key(piece: str, film: FilmMemory) -> str:
    """Return what the keys of the notices on a film begin with."""
    return f"{piece}/film/{film.number}/{film.finished_at:%Y-%m-%dT%H:%MZ}"


def follow(talk: Talk) -> None:
    """See which film is on, and forget what was said of another."""
    state, before = talk.outlook.film, talk.memory.film
    if state is None:
        # Without weather nothing is known of the film; it is there still, as long as no coat was undone.
        if before is not None and before.number != talk.outlook.next_coat - 1:
            _drop(talk, before)
        return
    coat = state.coat
    if before and before.number == coat.number and abs(before.finished_at - coat.finished_at) < SAME_FILM:
        return
    if before is not None:
        _drop(talk, before)
    talk.remember(film=FilmMemory(number=coat.number, finished_at=coat.finished_at))


def _drop(talk: Talk, film: FilmMemory) -> None:
    begins = f"{film_key(talk.outlook.piece, film)}/"
    talk.retract_all(lambda key: key.startswith(begins))
    talk.remember(film=None)


def speak(talk: Talk) -> None:
    """Say what the film has reached."""
    state, film = talk.outlook.film, talk.memory.film
    if state is None or film is None or state.coat.spoilt:
        return
    said = list(film.said)
    for stone in _milestones(talk, state, film):
        if stone.at is None or stone.at > talk.now or stone.kind in said:
            continue
        if stone.by_day and not by_day(talk, stone.at):
            continue
        if stone.kind is Kind.READY_TO_SAND and _opens_today(talk):
            continue
        said.append(stone.kind)
        if talk.now - stone.at <= stone.news_for and not _is_idle(talk, stone.kind):
            key = f"{film_key(talk.outlook.piece, film)}/{stone.kind}"
            talk.say(stone.kind, Why.REACHED, key, stone.at + 2 * stone.news_for, level=stone.level, at=stone.at)
    talk.remember(film=film.put(said=tuple(said)))


def by_day(talk: Talk, since: datetime) -> bool:
    """Say whether it is a time for what can wait: working hours, or from the morning of the day after on."""
    local = talk.local
    hours = talk.ways.hours
    is_at_work = not hours or any(local.weekday() in days and a <= local.time() < b for days, a, b in hours)
    is_day_after = local.date() > since.astimezone(talk.zone).date() and local.time() >= talk.habits.morning
    return is_at_work or is_day_after


def _milestones(talk: Talk, state: FilmState, film: FilmMemory) -> Iterator[_Milestone]:
    stages, built_up = state.stages, talk.outlook.next_coat > talk.outlook.coats
    hazards = {warned.hazard for warned in film.warned}
    yield _Milestone(
        Kind.DEW_SAFE,
        stages.dew_safe,
        SAFE_IS_NEWS_FOR,
        Level.PLAN if "dew" in hazards and "rain" not in hazards else Level.LOG,
        by_day=False,
    )
    yield _Milestone(
        Kind.RAIN_SAFE, stages.rain_safe, SAFE_IS_NEWS_FOR, Level.PLAN if "rain" in hazards else Level.LOG, by_day=False
    )
    if not built_up:
        yield _Milestone(Kind.READY_TO_SAND, stages.sandable, SANDABLE_IS_NEWS_FOR)
        return
    yield _Milestone(Kind.BUILT_UP, stages.sandable, SANDABLE_IS_NEWS_FOR)
    yield _Milestone(Kind.IN_SERVICE, stages.in_service, DONE_IS_NEWS_FOR)
    yield _Milestone(Kind.CURED, stages.full_cure, DONE_IS_NEWS_FOR)


def _is_idle(talk: Talk, kind: Kind) -> bool:
    """Say whether a word would tell whoever hears it nothing that they are not told otherwise."""
    today = talk.local.date()
    promises = talk.memory.windows.promises
    told_to_coat = any(p.opened or p.told.start.astimezone(talk.zone).date() == today for p in promises)
    return kind is Kind.READY_TO_SAND and (told_to_coat or talk.heard(Kind.COAT_NOW, Kind.HOT_COAT))


def _opens_today(talk: Talk) -> bool:
    """Say whether a window opens later that day of which it is enough to hear then, and with it when to sand."""
    ahead = talk.outlook.windows[:1]
    today = talk.local.date()
    return any(
        w.start > talk.now and w.start.astimezone(talk.zone).date() == today and has_room(talk, w) for w in ahead
    )
