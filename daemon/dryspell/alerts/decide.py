"""What is worth saying now, given what was said before. Pure: the same input gives the same answer.

Each topic decides by itself, by rules that stand at the head of its file in `dryspell.alerts.topics`. Here is what
holds for all of them: in quiet hours nothing is said but what a person can still save a film from, and the rest is
decided anew in the morning; and what several pieces at a site have to say at one instant is one message.
"""

from collections.abc import Iterable, Mapping
from datetime import datetime

from dryspell.alerts.group import grouped
from dryspell.alerts.memory import PieceMemory, settled
from dryspell.alerts.model import Habits, Notice
from dryspell.alerts.talk import Talk
from dryspell.alerts.topics import film, lost, overcoat, plan, pot, risk, upkeep, windows
from dryspell.outlook.model import Outlook
from dryspell.outlook.plan_model import Plan

__all__ = ["decide", "settled"]


def decide(
    memory: Mapping[str, PieceMemory],
    outlooks: Iterable[Outlook],
    now: datetime,
    habits: Habits,
    plans: Mapping[str, Plan] | None = None,
) -> tuple[list[Notice], dict[str, PieceMemory]]:
    """Return what to say now, and the memory to keep; what is remembered of other pieces stays as it is.

    Parameters
    ----------
    memory
        By piece, as returned by the decision before; empty at first.
    outlooks
        One for each piece, made at `now`.
    plans
        The plans made last, by piece; None where none are made.
    """
    said: list[tuple[str, Notice]] = []
    kept = dict(memory)
    for outlook in outlooks:
        talk = Talk(outlook, now, habits, memory.get(outlook.piece) or PieceMemory(), (plans or {}).get(outlook.piece))
        _speak(talk)
        kept[outlook.piece] = talk.close()
        said += [(outlook.site, notice) for notice in talk.said]
    return grouped(said, kept)


def _speak(talk: Talk) -> None:
    lost.forget(talk)
    windows.forget(talk)
    film.follow(talk)
    pot.follow(talk)
    plan.forget(talk)
    is_known = talk.outlook.word != "unknown"
    if talk.quiet_until is not None:
        risk.speak(talk)
        if is_known:
            windows.track(talk)
        return
    if is_known:
        windows.speak(talk)
        plan.speak(talk)
    lost.speak(talk)
    risk.speak(talk)
    film.speak(talk)
    overcoat.speak(talk)
    pot.speak(talk)
    upkeep.speak(talk)
