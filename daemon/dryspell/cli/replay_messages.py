"""The messages of a replay in figures, for people and for other programs."""

import textwrap
from collections.abc import Iterator

from dryspell.cli.show import WIDTH
from dryspell.config import Config
from dryspell.outlook.as_json import Document, instant
from dryspell.outlook.figures import weekday_date
from dryspell.replay.account import Account, Replayed
from dryspell.replay.dangers import Told
from dryspell.replay.messages import Messages, messages_of

_HOW = {
    Told.AHEAD: "45 min before or sooner",
    Told.AT_ONCE: "later, but with the word to coat or as soon as the coat was recorded",
    Told.LATE: "too late",
    Told.NEVER: "not at all",
    Told.BRUSHING: "not, for they were there before a coat was recorded that nobody was told to lay",
}


def by_piece(config: Config, came: Replayed) -> dict[str, Messages]:
    """Return the figures of each piece of a replay, in which every piece is in a build-up all the time."""
    period = (came.begin, came.end)
    return {
        key: messages_of(
            key,
            came.said,
            accounts[came.enters] if came.enters else Account((), ()),
            config.site_of(config.piece[key]).zone,
            period,
            [period],
        )
        for key, accounts in came.accounts.items()
    }


def message_lines(config: Config, came: Replayed, *, with_weeks: bool) -> Iterator[str]:
    """Yield the figures for a terminal, with a line a week where that is asked for."""
    for key, figures in by_piece(config, came).items():
        yield from textwrap.wrap(f"{config.piece[key].name}. {summary(figures)}", WIDTH, break_on_hyphens=False)
        if with_weeks:
            yield from week_lines(figures)


def summary(figures: Messages) -> str:
    """Return what the messages on a piece come to, in a sentence or two."""
    days, most = figures.in_build_up, max(figures.in_build_up, default=0)
    told = ", ".join(f"{count} {_HOW[how]}" for how in Told if (count := figures.told(how)))
    reached = f" Of the {len(figures.reached)} dangers that reached a wet film it told: {told}." if told else ""
    turned = {0: "nothing", 1: "no word more than once", 2: "no word more than twice"}
    turns = turned.get(figures.most_turns, f"one word {figures.most_turns} times")
    return (
        f"Messages a day: {figures.median:g} by the median of {len(days)} days, {most} at the most. Turned to its "
        f"contrary within six hours: {turns}.{reached}"
    )


def week_lines(figures: Messages) -> Iterator[str]:
    """Yield a line a week: how many messages, and how many of each kind."""
    for monday, kinds in figures.weeks.items():
        week = f"  {weekday_date(monday).ljust(11)}{sum(kinds.values()):3}  "
        of_kinds = ", ".join(f"{count} {kind.replace('_', ' ')}" for kind, count in sorted(kinds.items(), key=_first))
        lines = textwrap.wrap(of_kinds, WIDTH, initial_indent=week, subsequent_indent=" " * len(week))
        yield from lines or [week.rstrip()]


def messages_document(figures: Messages) -> Document:
    """Return the figures of a piece as a document."""
    return {
        "weeks": [{"week_of": monday.isoformat(), "kinds": dict(kinds)} for monday, kinds in figures.weeks.items()],
        "a_day": {"median": figures.median, "most": max(figures.in_build_up, default=0)},
        "most_turns_in_6_h": figures.most_turns,
        "reached": [
            {
                "coat": each.coat,
                "hazard": each.hazard,
                "at": instant(each.at),
                "told_at": instant(each.told_at),
                "told": each.told.value,
            }
            for each in figures.reached
        ],
    }


def _first(counted: tuple[str, int]) -> tuple[int, str]:
    return -counted[1], counted[0]
