"""A year after the last coat, and each year from then on: look it over and renew it before it fails."""

from datetime import timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import UpkeepMemory
from dryspell.alerts.model import Why
from dryspell.alerts.talk import Talk
from dryspell.alerts.topics.film import SAME_FILM, by_day

YEAR = timedelta(days=365)
"""Once a year, and more often for what lies flat in the sun (common practice, no source)."""
IS_NEWS_FOR = timedelta(days=60)


def speak(talk: Talk) -> None:
    """Say that upkeep is due."""
    state, before = talk.outlook.film, talk.memory.upkeep
    if state is None or state.coat.spoilt or talk.outlook.next_coat <= talk.outlook.coats:
        return
    finished = state.coat.finished_at
    if before is None or abs(before.finished_at - finished) >= SAME_FILM:
        before = UpkeepMemory(finished_at=finished)
    years = (talk.now - finished) // YEAR
    due = before.finished_at + years * YEAR
    if years > before.years and by_day(talk, due):
        before = before.put(years=years)
        if talk.now - due <= IS_NEWS_FOR:
            key = f"{talk.outlook.piece}/upkeep/{before.finished_at:%Y-%m-%d}/{years}"
            talk.say(Kind.UPKEEP, Why.DUE, key, due + 2 * IS_NEWS_FOR, level=Level.PLAN, at=due)
    talk.remember(upkeep=before)
