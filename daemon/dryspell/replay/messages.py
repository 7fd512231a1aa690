"""The messages of a past period in figures: how many of which kind, how often a word turned, and what came in time.

A message on several pieces counts for each of them. A build-up goes from the first look at a piece with coats to come
until its last coat is fully cured, or hard where the coating names no cure; outside of it nobody should hear a thing.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from statistics import median
from zoneinfo import ZoneInfo

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice, Why
from dryspell.replay.account import Account, Said
from dryspell.replay.dangers import Reached, Told, reached_films

TURNS_WITHIN = timedelta(hours=6)
_DAY = timedelta(days=1)

Span = tuple[datetime, datetime]


@dataclass(frozen=True)
class Messages:
    """The messages on one piece.

    Attributes
    ----------
    weeks
        By the Monday of each local week, how many of each kind.
    in_build_up, outside
        How many on each local day of a build-up, and on each other day.
    most_turns
        The most turns to the contrary, on one topic, within six hours.
    reached
        What reached films before they were safe from it.
    """

    weeks: Mapping[date, Mapping[str, int]]
    in_build_up: tuple[int, ...]
    outside: tuple[int, ...]
    most_turns: int
    reached: tuple[Reached, ...]

    @property
    def median(self) -> float:
        """The median of messages a day in a build-up; 0 where there was none."""
        return float(median(self.in_build_up)) if self.in_build_up else 0.0

    def told(self, *how: Told) -> int:
        """Return of how many dangers somebody was told so."""
        return sum(each.told in how for each in self.reached)


def messages_of(
    piece: str, said: Iterable[Said], account: Account, zone: ZoneInfo, period: Span, build_ups: Sequence[Span]
) -> Messages:
    """Return the figures of one piece.

    Parameters
    ----------
    said
        Of all pieces, in order.
    account
        The coats that the daemon was told of.
    zone
        Of the place: days are local ones, and weeks begin on Mondays.
    period, build_ups
        From one instant to before another.
    """
    mine = [each for each in said if any(part.piece == piece for part in each.parts)]
    days = dict.fromkeys(_days(period, zone), 0)
    weeks: dict[date, Counter[str]] = {_monday(day): Counter() for day in days}
    for each in mine:
        day = each.at.astimezone(zone).date()
        days[day] += 1
        weeks[_monday(day)][each.kind] += 1
    of_build_ups = {day for span in build_ups for day in _days(span, zone)}
    parts = [(each.at, part) for each in mine for part in each.parts if part.piece == piece]
    return Messages(
        weeks=weeks,
        in_build_up=tuple(count for day, count in days.items() if day in of_build_ups),
        outside=tuple(count for day, count in days.items() if day not in of_build_ups),
        most_turns=max((_most_within(turns) for turns in turns_of(parts)), default=0),
        reached=reached_films(account, parts),
    )


def turns_of(said: Iterable[tuple[datetime, Notice]]) -> Iterator[list[datetime]]:
    """Yield, by topic, when the word of it was turned to its contrary: of one piece, in order."""
    words: dict[tuple[str, int], list[tuple[datetime, bool]]] = {}
    for at, notice in said:
        if (holds := _holds(at, notice)) is not None:
            words.setdefault((notice.topic, notice.coat), []).append((at, holds))
    for topic in words.values():
        yield [at for (_, was), (at, holds) in pairwise(topic) if was != holds]


def _holds(at: datetime, notice: Notice) -> bool | None:
    """Say whether a notice says that something is so, or that it is not after all; None where neither."""
    match notice.kind:
        case Kind.TOMORROW | Kind.COAT_NOW | Kind.HOT_COAT | Kind.LAST_CALL | Kind.FILM_RISK | Kind.WEATHER_BACK:
            return True
        case Kind.RISK_OVER | Kind.WEATHER_LOST:
            return False
        case Kind.WAIT if notice.why is not Why.GONE and notice.told is not None and notice.told.start > at:
            return None  # another hour of what is still to come
        case Kind.WAIT:
            return notice.why is Why.SHORTER
        case _:
            return None


def _most_within(turns: Sequence[datetime]) -> int:
    return max((sum(at <= other < at + TURNS_WITHIN for other in turns) for at in turns), default=0)


def _days(span: Span, zone: ZoneInfo) -> Iterator[date]:
    """Yield the local days of which some is in a span."""
    begin, end = span
    day, last = begin.astimezone(zone).date(), (end - timedelta(microseconds=1)).astimezone(zone).date()
    while day <= last:
        yield day
        day += _DAY


def _monday(day: date) -> date:
    return day - timedelta(days=day.weekday())
