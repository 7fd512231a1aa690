"""There is no weather to go by, while somebody counts on it: said once, and once more when there is again.

Nothing is judged then. It is said while a promise stands or a film is wet, at the most once a day, and again only six
hours after it was back; that it is back is said when it has been for half an hour.
"""

from datetime import timedelta

from dryspell.alerts.kinds import Kind
from dryspell.alerts.memory import LostMemory, Promise
from dryspell.alerts.model import Told, Why
from dryspell.alerts.talk import Talk

IS_NEWS_FOR = timedelta(hours=12)
BACK_IS_NEWS_FOR = timedelta(hours=6)
WET_FOR = timedelta(hours=24)
"""How long a film is taken for wet when there is no weather to tell (common practice: a day)."""
# No source.
HELD_FOR = timedelta(minutes=30)
REST = timedelta(hours=6)


def is_lost(talk: Talk) -> bool:
    """Say whether nothing can be told of the next coat, or of the film."""
    return talk.outlook.word == "unknown" or (talk.outlook.film is not None and talk.outlook.film_risk is None)


def forget(talk: Talk) -> None:
    """Take it that a film that was put on since the last look is wet."""
    if talk.memory.coat != talk.outlook.next_coat:
        film = talk.outlook.film
        _set(talk, wet_until=film.coat.finished_at + WET_FOR if film else None)


def speak(talk: Talk) -> None:
    """Say that there is no weather, or that there is again."""
    if is_lost(talk):
        _lost(talk)
    else:
        film = talk.outlook.film
        wet_until = None if film is None else film.stages.dew_safe or talk.now + WET_FOR
        if film and talk.now - film.coat.finished_at > 7 * WET_FOR:
            wet_until = None
        _set(talk, wet_until=wet_until)
        _back(talk)


def _set(talk: Talk, **changes: object) -> None:
    talk.remember(lost=talk.memory.lost.put(**changes))


def _promised(talk: Talk) -> Told | None:
    promises: tuple[Promise, ...] = talk.memory.windows.promises
    return min((promise.told for promise in promises), key=lambda told: told.start, default=None)


def _counted_on(talk: Talk, memory: LostMemory) -> Why | None:
    if _promised(talk):
        return Why.LOST_PROMISE
    return Why.LOST_WET if memory.wet_until is not None and memory.wet_until > talk.now else None


def _topic(talk: Talk) -> str:
    return f"{talk.outlook.piece}/weather"


def _lost(talk: Talk) -> None:
    memory = talk.memory.lost
    why, today = _counted_on(talk, memory), talk.local.date()
    rests = memory.back_at is not None and talk.now - memory.back_at < REST
    if memory.key:
        _set(talk, known_since=None)
        return
    if why is None or memory.on == today or rests:
        return
    key = talk.key(Kind.WEATHER_LOST, today)
    _set(talk, key=key, on=today, known_since=None)
    talk.say(Kind.WEATHER_LOST, why, key, talk.now + IS_NEWS_FOR, topic=_topic(talk), told=_promised(talk))


def _back(talk: Talk) -> None:
    memory = talk.memory.lost
    if not memory.key:
        return
    since = memory.known_since or talk.now
    if talk.now - since < HELD_FOR:
        _set(talk, known_since=since)
        return
    talk.retract(memory.key)
    _set(talk, key="", known_since=None, back_at=talk.now)
    # Whoever is told what to do now need not be told that there is weather.
    if _counted_on(talk, memory) and not talk.heard(Kind.COAT_NOW, Kind.HOT_COAT, Kind.WAIT, Kind.TOMORROW):
        key = f"{memory.key}/{Kind.WEATHER_BACK}"
        talk.say(
            Kind.WEATHER_BACK,
            Why.BACK,
            key,
            talk.now + BACK_IS_NEWS_FOR,
            topic=_topic(talk),
            told=_promised(talk),
        )
