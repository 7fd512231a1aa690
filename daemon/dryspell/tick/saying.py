"""What the configuration says of speaking: when, of what, and to whom."""

from collections.abc import Callable, Iterable, Mapping
from datetime import datetime, timedelta

from dryspell.alerts.kinds import Kind, Level
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Habits, Notice, PieceHabits
from dryspell.alerts.quiet import Quiet, common, quiet_until
from dryspell.alerts.sensors import MEMORY_KEY
from dryspell.alerts.writing import About
from dryspell.config import Config
from dryspell.config.target import AlertTarget
from dryspell.outlook.model import Outlook
from dryspell.store.notices import Sending
from dryspell.trade.system import NO_SANDING


def habits_of(config: Config) -> Habits:
    """Return when things are said.

    Nothing is decided in the hours that are quiet for every target. What is quiet longer for one of them is held for it
    when it is sent.
    """
    pieces = {}
    for key, piece in config.piece.items():
        lays = config.lays_of(piece)
        pieces[key] = PieceHabits(
            hours=piece.hours,
            hot=frozenset(lay.number for lay in lays if lay.hot and not lay.changes),
            unsanded=frozenset(lay.number for lay in lays if lay.abrasive == NO_SANDING),
            prepares=timedelta(hours=piece.preparing_h),
            brushes=timedelta(hours=piece.brushing_h),
        )
    return Habits(
        evening=config.alerting.evening,
        quiet=quiet_for_all(config),
        again=config.alerting.again,
        all_told_to_coat=all(
            target.hears(Kind.COAT_NOW, Level.NOW) and target.hears(Kind.HOT_COAT, Level.NOW)
            for target in config.alerts.values()
            if target.hears(Kind.FILM_RISK, Level.NOW) or target.hears(Kind.TOMORROW, Level.PLAN)
        ),
        piece=pieces,
    )


def quiet_for_all(config: Config) -> Quiet | None:
    """Return the hours that are quiet for every target."""
    usual = config.alerting.quiet
    theirs = [target.quiet_hours(usual) for target in config.alerts.values()]
    return common(theirs) if theirs else usual


def about(config: Config, outlooks: Iterable[Outlook]) -> dict[str, About]:
    """Return, by piece, what the words of a notice on it are taken from."""
    found = {}
    for outlook in outlooks:
        piece = config.piece[outlook.piece]
        film = outlook.film
        below = config.lay_of(piece, film.coat.number) if film else None
        found[piece.key] = About(outlook, config.lay_of(piece, outlook.next_coat), piece, below)
    return found


def counted_on(memory: Mapping[str, PieceMemory], outlooks: Iterable[Outlook], now: datetime) -> frozenset[str]:
    """Return the sites where somebody counts on the weather: a window was promised, or a film is wet."""
    return frozenset(
        outlook.site
        for outlook in outlooks
        if (of := memory.get(outlook.piece))
        and (of.windows.promises or (of.lost.wet_until is not None and of.lost.wet_until > now))
    )


def heard(notice: Notice, targets: Mapping[str, AlertTarget]) -> dict[str, Notice]:
    """Return who is told of a notice, by target, with what it says of their pieces."""
    told = {
        key: notice.only(target.hears_of) for key, target in targets.items() if target.hears(notice.kind, notice.level)
    }
    return {key: part for key, part in told.items() if part is not None}


def held_back(config: Config) -> Callable[[Sending, datetime], bool]:
    """Return what says that a message is not to be sent at an instant: its target has quiet hours, where it is about.

    A message is tried again for as long as a target cannot be reached, so that this is asked whenever one is sent. What
    can still save a film is never held.
    """

    def holds(sending: Sending, now: datetime) -> bool:
        target = config.alerts.get(sending.target)
        if target is None or sending.urgent:
            return False
        sensor = config.sensor.get(sending.piece.removeprefix(MEMORY_KEY))
        piece = config.piece.get(sending.piece)
        site = config.site.get(piece.site if piece else sensor.site if sensor else sending.piece)
        return site is not None and quiet_until(now, target.quiet_hours(config.alerting.quiet), site.zone) is not None

    return holds
