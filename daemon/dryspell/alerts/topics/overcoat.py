"""The overcoat window of the film that is on: that it closes, twice, and that it is past: sand first.

It is urgent only to those who coat unsanded; who sands before that coat anyway finds it on the page. A stain has none:
it is never sanded.
"""

from datetime import timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.model import Why
from dryspell.alerts.talk import Talk
from dryspell.alerts.topics.film import by_day, film_key

# How early: common practice, no source.
FIRST, LEAST, SECOND = timedelta(hours=12), timedelta(hours=4), timedelta(hours=2)
PAST_IS_NEWS_FOR = timedelta(hours=24)


def speak(talk: Talk) -> None:
    """Say that the time to coat without sanding runs out, or has."""
    state, film = talk.outlook.film, talk.memory.film
    if state is None or film is None or state.coat.spoilt or talk.outlook.next_coat > talk.outlook.coats:
        return
    closes = state.stages.sand_first_after
    if closes is None or state.stain:
        return
    unsanded = talk.outlook.next_coat in talk.ways.unsanded
    left, said, key = closes - talk.now, list(film.said), film_key(talk.outlook.piece, film)
    for name, longest, least in (("closing", FIRST, LEAST), ("closing soon", SECOND, timedelta(0))):
        if least < left <= longest and name not in said and (name == "closing" or talk.habits.again):
            said.append(name)
            which = f"{key}/{Kind.OVERCOAT_CLOSING}/{name.partition(' ')[2] or 'first'}"
            level = Level.NOW if unsanded else Level.LOG
            why = Why.AHEAD if name == "closing" else Why.NEAR
            talk.say(Kind.OVERCOAT_CLOSING, why, which, closes, level=level, at=closes)
    if left <= timedelta(0) and "past" not in said and by_day(talk, closes):
        said.append("past")
        if -left <= PAST_IS_NEWS_FOR:
            level = Level.PLAN if unsanded else Level.LOG
            which = f"{key}/{Kind.OVERCOAT_PAST}"
            talk.say(Kind.OVERCOAT_PAST, Why.REACHED, which, closes + 2 * PAST_IS_NEWS_FOR, level=level, at=closes)
    talk.remember(film=film.put(said=tuple(said)))
