"""The only way for page and API to change the record: on the daemon's own store, and with a tick right after.

Each change returns when that tick has ended, so that the board shows the window where it is now; a tick that takes long
is not waited for.
"""

import threading
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import PurePath
from typing import TypeVar

from dryspell.answers import coat_pot, coat_seen
from dryspell.answers.coat_details import read_past_instant, read_plain
from dryspell.answers.coat_seen import Seen
from dryspell.answers.coat_told import Told, told
from dryspell.answers.coat_weather import outlook_here
from dryspell.answers.log_record import Record
from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.errors import CoatError
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Coat, Mixed, Spoiler
from dryspell.outlook.states import state_of
from dryspell.store import Store
from dryspell.tick.learned import as_expected
from dryspell.tick.logbook import ByHand, Correction, Logbook, began_at
from dryspell.trade.piece import Piece
from dryspell.weather.table import WeatherTable
from dryspell.web.board import Board

Changed = TypeVar("Changed", Coat, Seen, Mixed)
WeatherOf = Callable[[Piece, datetime], WeatherTable | None]
"""Returns the weather at a piece from an instant on, as it is known; nobody is asked over the network."""
AskTick = Callable[[], bool]
"""Asks for a tick, waits a little for its end, and says whether it has ended."""


class Desk:
    """Changes the record, and reads it.

    Pieces are named by their keys, which have to be those of the configuration.

    Parameters
    ----------
    config
        As it was read; the board holds what the record has taught beside it.

    Raises
    ------
    CoatError
        From each of its methods, for what cannot be; nothing is then recorded.
    StoreError
        When the state cannot be read or written.
    """

    def __init__(
        self, config: Config, store: Store, clock: Clock, board: Board, weather: WeatherOf, ask_tick: AskTick
    ) -> None:
        self.config = config
        self.clock = clock
        self._store = store
        self._board = board
        self._weather = weather
        self._ask_tick = ask_tick
        self._entering = threading.Lock()
        self._changes = 0
        self._changed_at: datetime | None = None

    @property
    def changes(self) -> int:
        """A number that grows with each change made here."""
        return self._changes

    @property
    def is_behind(self) -> bool:
        """Whether what the board shows is older than the last change made here."""
        known, changed = self._board.known, self._changed_at
        return changed is not None and (known is None or known.at < changed)

    def read(self, piece: str, given: dict[str, str], *, number: int | None = None) -> Told:
        """Read what was told of a coat, with `number` of one that is corrected; ToldError says what cannot be read.

        A photo is told by its name: no file is looked for.
        """
        now = self.clock.now()
        corrected = None if number is None else self._book(now).find(self.config.piece[piece], number).finished_at
        return told(given, self.config, self.config.piece[piece], now, corrected=corrected, photo=_name_of)

    def read_instant(self, piece: str, text: str) -> datetime:
        """Return the past instant that a text names at a piece; ValueError says what is wrong with it."""
        return read_past_instant(text, self.config.site_of(self.config.piece[piece]).zone, self.clock.now())

    def record(self, piece: str, told: Told, *, number: int | None = None, request: str = "") -> Coat:
        """Enter the next coat, with `number` only if that is its number; what is asked twice by one name goes in once.

        Parameters
        ----------
        request
            A name that whoever asks has made up for this one; empty is none.
        """
        with self._entering:
            coat = self._store.coat_asked_for(request) if request else None
            if coat is None:
                coat = self._record(piece, told, number, request)
            elif coat.piece != piece:
                raise CoatError(f"that name was given to a coat of {coat.piece} before; make up another")
        return self._changed(coat)

    def _record(self, piece: str, told: Told, number: int | None, request: str) -> Coat:
        now = self.clock.now()
        if number is not None and number != (next_one := self.next_number(piece)):
            raise CoatError(
                f"coat {number} of {self.config.piece[piece].name} is recorded already; the next one is coat {next_one}"
            )
        draft = Coat(piece=piece, number=1, recorded_at=now, **{"finished_at": now, **told.coat})
        table = self._weather_of(draft)
        return self._book(now).record(draft, table, ByHand(**told.by_hand), request=request)

    def correct(self, piece: str, number: int, told: Told, *, who: str = "") -> Coat:
        """Put a coat in the place of the one of that number, of which only what is told is another."""
        book = self._book(self.clock.now())
        old = book.find(self.config.piece[piece], number)
        table = self._weather_of(old.model_copy(update=dict(told.coat)))
        return self._changed(book.correct(old, Correction(told.coat, told.by_hand), table, who=read_plain(who)))

    def undo(self, piece: str, *, number: int | None = None, who: str = "") -> Coat:
        """Take back the coat that lies on top; with `number` only if it is that one."""
        with self._entering:
            self._on_top(piece, number)
            coat = self._store.undo_coat(piece, self.clock.now(), who=read_plain(who))
        if coat is None:
            raise CoatError(f"no coat of {self.config.piece[piece].name} is recorded, so there is none to take back")
        return self._changed(coat)

    def spoil(
        self, piece: str, by: Spoiler | None, *, number: int | None = None, note: str = "", who: str = ""
    ) -> Coat:
        """Note what spoilt the coat that lies on top, or with None that nothing did."""
        with self._entering:
            coat = self._on_top(piece, number)
            if coat.spoilt == (by or ""):
                raise CoatError(f"coat {coat.number} of {self.config.piece[piece].name} is recorded just so")
            now = self.clock.now()
            coat = self._store.spoil_coat(coat, by, now, note=read_plain(note), who=read_plain(who))
        return self._changed(coat)

    def sandable(self, piece: str, at: datetime | None = None, *, number: int | None = None) -> Seen:
        """Note that the coat that lies on top is sandable, or since when, and learn from it."""
        now = self.clock.now()
        at, coat, of = at or now, self._on_top(piece, number), self.config.piece[piece]
        if at <= coat.finished_at:
            raise CoatError(f"coat {coat.number} of {of.name} was finished at that time; it is sandable only later")
        expected = as_expected(self.config, coat_seen.coating_of(self.config, of, coat).key)
        film = outlook_here(expected, of, self._store, self._weather_of(coat), at).film
        progress = coat_seen.progress_of(film)
        return self._changed(coat_seen.record(self.config, self._store, of, coat, at, progress, now))

    def mix(self, piece: str, at: datetime | None = None) -> Mixed:
        """Note that the pot for the next coat of two parts was mixed."""
        now = self.clock.now()
        return self._changed(coat_pot.mix(self.config, self._store, self.config.piece[piece], at or now, now))

    def pour_away(self, piece: str) -> Mixed:
        """Note that the pot is gone."""
        return self._changed(coat_pot.pour_away(self._store, self.config.piece[piece], self.clock.now()))

    def record_of(self, piece: str, units: Units | None = None) -> Record:
        """Return the record of a piece as it stands, in units of the reader; photos are named without their folders."""
        known = self._board.known
        outlook = known.outlook(piece) if known else None
        now = self.clock.now()
        state = state_of(outlook, now).value if outlook else ""
        alerting = self.config.alerting.model_copy(update={"units": units} if units else {})
        config = replace(known.config if known else self.config, alerting=alerting)
        stand = [coat.id for coat in self._store.laid(piece, bare=True)]
        versions = [replace(version, coat=_named(version.coat)) for version in self._store.versions(piece)]
        of = {version.coat.id: version.coat for version in versions}
        laid = [of[number] for number in stand]  # nothing is erased, so each of them is among those read later
        return Record(config, config.piece[piece], laid, versions, now, state)

    def films(self, piece: str) -> Sequence[Coat]:
        """Return the coats of a piece that count, and a spoilt one on top of them."""
        return self._store.films(piece)

    def next_number(self, piece: str) -> int:
        """Return the number of the next coat of a piece."""
        coats = self._store.coats(piece, bare=True)
        return max(self.config.piece[piece].done, coats[-1].number if coats else 0) + 1

    @property
    def store(self) -> Store:
        """The state, to be read only: whatever changes goes by the methods above."""
        return self._store

    def _book(self, now: datetime) -> Logbook:
        return Logbook(self.config, self._store, now)

    def _on_top(self, piece: str, number: int | None) -> Coat:
        films, name = self._store.films(piece), self.config.piece[piece].name
        if not films:
            raise CoatError(f"no coat of {name} is recorded")
        if number is not None and films[-1].number != number:
            raise CoatError(f"coat {number} of {name} is not the one on top any more: that is coat {films[-1].number}")
        return films[-1]

    def _weather_of(self, coat: Coat) -> WeatherTable | None:
        piece = self.config.piece[coat.piece]
        return self._weather(piece, began_at(coat, piece))

    def _changed(self, result: Changed) -> Changed:
        self._changes += 1
        self._changed_at = self.clock.now()
        self._ask_tick()
        return result


def _named(coat: Coat) -> Coat:
    return coat.model_copy(update={"photo": PurePath(coat.photo).name}) if coat.photo else coat


def _name_of(photo: str) -> str:
    return PurePath(read_plain(photo)).name
