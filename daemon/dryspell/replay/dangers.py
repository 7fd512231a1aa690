"""Whether somebody was told in time of what reached a wet film in a past period."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice
from dryspell.outlook.fate import Fate
from dryspell.outlook.model import Hazard
from dryspell.replay.account import Account, CoatAccount

LEAD = timedelta(minutes=45)
"""So long before it reaches the film somebody is to know of it."""
_HAZARD: dict[Fate, Hazard] = {Fate.DEW: "dew", Fate.RAIN: "rain", Fate.COLD: "cold", Fate.HEAT: "sun"}
_OPENING = (Kind.COAT_NOW, Kind.HOT_COAT)


class Told(StrEnum):
    """When somebody was told of a danger that reached a film."""

    AHEAD = "ahead"  # three quarters of an hour before it did, or sooner
    AT_ONCE = "at_once"  # later than that, but with the word to coat, or as soon as the coat was recorded
    LATE = "late"
    NEVER = "never"
    BRUSHING = "brushing"  # nobody was told to coat, and it was there before the coat was recorded


@dataclass(frozen=True)
class Reached:
    """A danger that reached a film which was not yet safe from it, or would have if no shade had been hung.

    Attributes
    ----------
    coat
        The number of the coat.
    hazard, at
        What reached it, and when.
    told_at
        Since when somebody knew; None where nobody did.
    told
        What that comes to.
    """

    coat: int
    hazard: Hazard
    at: datetime
    told_at: datetime | None
    told: Told


def reached_films(account: Account, said: Sequence[tuple[datetime, Notice]]) -> tuple[Reached, ...]:
    """Return what reached the films of one piece.

    Parameters
    ----------
    account
        The coats that the daemon was told of.
    said
        What was said of that piece, and when, in order.
    """
    return tuple(_reached(coat, _HAZARD[fate], at, said) for coat in account.coats for fate, at in coat.met.items())


def _reached(coat: CoatAccount, hazard: Hazard, at: datetime, said: Sequence[tuple[datetime, Notice]]) -> Reached:
    told_at = min([*_warned(coat, hazard, at, said), *_told_before(coat, hazard, at, said)], default=None)
    if told_at is None:
        told = Told.BRUSHING if at <= coat.finished_at else Told.NEVER
    elif at - told_at >= LEAD:
        told = Told.AHEAD
    else:
        told = Told.AT_ONCE if told_at <= coat.finished_at else Told.LATE
    return Reached(coat.number, hazard, at, told_at, told)


def _warned(
    coat: CoatAccount, hazard: Hazard, at: datetime, said: Iterable[tuple[datetime, Notice]]
) -> Iterator[datetime]:
    """Yield the first warning of the film that was not taken back again before it came."""
    since = None
    for when, notice in said:
        if notice.hazard != hazard or not coat.finished_at <= when <= at:
            continue
        if notice.kind is Kind.RISK_OVER:
            since = None
        elif notice.kind is Kind.FILM_RISK:
            since = since or when
    if since is not None:
        yield since


def _told_before(
    coat: CoatAccount, hazard: Hazard, at: datetime, said: Iterable[tuple[datetime, Notice]]
) -> Iterator[datetime]:
    """Yield when the word to coat, which this one was begun after, said that a shade has to hang by then."""
    if hazard != "sun":
        return
    opened = [
        (when, notice)
        for when, notice in said
        if notice.kind in _OPENING and notice.coat == coat.number and when <= coat.begun_at
    ]
    for when, notice in opened[-1:]:
        by = [window.hang_shade_by for window in notice.windows if window.hang_shade_by]
        if any(shade <= at for shade in by):
            yield when
