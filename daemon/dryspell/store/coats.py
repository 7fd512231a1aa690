"""The coats that were put on. Nothing is erased.

A coat taken back stays, with the instant at which it was; a correction is another coat, and the old one stays beside
it; a spoilt one stays with its number, which the next coat takes again. Each of these is told in `coat_changes`.
"""

import sqlite3
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from pydantic import BaseModel, ValidationError

from dryspell.errors import ChangedError
from dryspell.outlook.met_model import Met
from dryspell.outlook.model import Advice, Coat, Reason, Spoiler
from dryspell.store.database import Database, instant, seconds

ADVICE_HOLDS_FOR = timedelta(hours=24)
"""A verdict given longer ago than this, and none since, is not taken for one that stood: perhaps no daemon ran."""

Change = Literal["undone", "corrected", "spoilt", "not spoilt"]

_WRITTEN = (
    "piece, number, finished_at, who, batch, thinner_parts, wet_film_um, note, recorded_at, began_at, coating, "
    "abrasive, litres, photo, spoilt, met, advice"
)
_SANDABLE = "(SELECT at FROM seen_sandable WHERE coat = coats.id ORDER BY seen_sandable.id DESC LIMIT 1)"
# The last pot for a coat, of the day before its last stroke.
_MIXED = (
    "(SELECT max(mixed_at) FROM pots WHERE pots.piece = coats.piece AND pots.coat = coats.number AND away_at IS NULL "
    "AND mixed_at BETWEEN coats.finished_at - 86400 AND coats.finished_at)"
)
_COLUMNS = f"id, {_WRITTEN}, {_SANDABLE}, {_MIXED}"
_BARE = _COLUMNS.replace("met, advice", "NULL, NULL")
_LAST_SEEN = "SELECT max(id) FROM seen_sandable GROUP BY coat"
"""Of several times told for a coat the last one told counts."""


@dataclass(frozen=True)
class CoatChange:
    """What was done to a coat after it was recorded, when, and by whom if that was told.

    `detail` is what spoilt it, or a note; `successor` is the coat that a correction put in its place.
    """

    what: Change
    at: datetime
    detail: str
    who: str
    successor: int | None


@dataclass(frozen=True)
class Version:
    """A coat as it was once recorded, and what was done to it since."""

    coat: Coat
    changes: tuple[CoatChange, ...]

    @property
    def stands(self) -> bool:
        """Whether it is what the record says now."""
        return not any(change.what in ("undone", "corrected") for change in self.changes)


class CoatBook(Database):
    """Reads and writes coats."""

    def coats(self, piece: str, *, bare: bool = False) -> list[Coat]:
        """Return the coats of a piece that count, the first one first; `bare` as for `films`."""
        return _counting(self.laid(piece, bare=bare))

    def films(self, piece: str, *, bare: bool = False) -> list[Coat]:
        """Return the coats of a piece that count, and after them a spoilt one if that lies on top of them.

        Parameters
        ----------
        bare
            Without what they met and what was advised: that no film hangs on, and it is nine tenths of a coat.
        """
        laid = self.laid(piece, bare=bare)
        return _counting(laid) + ([laid[-1]] if laid and laid[-1].spoilt else [])

    def laid(self, piece: str, *, bare: bool = False) -> list[Coat]:
        """Return all that the record says was put on a piece, spoilt coats as well, in the order of their strokes.

        Parameters
        ----------
        bare
            As for `films`.
        """
        columns = _BARE if bare else _COLUMNS
        query = f"SELECT {columns} FROM coats WHERE piece = ? AND undone_at IS NULL ORDER BY finished_at, id"  # noqa: S608  (no outside text)
        return [_coat(row) for row in self._rows(query, piece)]

    def versions(self, piece: str) -> list[Version]:
        """Return every coat that was ever recorded of a piece, in the order of recording, with what was done to it."""
        rows = self._rows(f"SELECT {_COLUMNS} FROM coats WHERE piece = ? ORDER BY id", piece)  # noqa: S608  (no outside text)
        done: dict[int, list[CoatChange]] = {}
        for coat, what, at, detail, who, successor in self._rows(
            "SELECT coat, what, at, detail, who, successor FROM coat_changes WHERE coat IN "
            "(SELECT id FROM coats WHERE piece = ?) ORDER BY id",
            piece,
        ):
            done.setdefault(coat, []).append(CoatChange(what, instant(at), detail, who, successor))
        return [Version(_coat(row), tuple(done.get(row[0], ()))) for row in rows]

    def coat_asked_for(self, request: str) -> Coat | None:
        """Return the coat that was recorded at a request of that name, as the record has it; None where none was."""
        query = f"SELECT {_COLUMNS} FROM coats WHERE id = (SELECT coat FROM coat_requests WHERE id = ?)"  # noqa: S608  (no outside text)
        return next((_coat(row) for row in self._rows(query, request)), None)

    def add_coat(self, coat: Coat, *, request: str = "") -> Coat:
        """Record a coat and return it with its id.

        Parameters
        ----------
        request
            By what name it was asked for, see `coat_asked_for`; empty is none.

        Raises
        ------
        StoreError
            When a coat of that number is on already.
        """
        with self._transaction() as connection:
            coat = _insert(connection, coat)
            if request:
                connection.execute(
                    "INSERT INTO coat_requests (id, coat, at) VALUES (?, ?, ?)",
                    (request, coat.id, seconds(coat.recorded_at)),
                )
            return coat

    def undo_coat(self, piece: str, at: datetime, *, who: str = "") -> Coat | None:
        """Take back the coat of a piece that lies on top and return it; None when there is none."""
        with self._transaction() as connection:
            films = self.films(piece)
            if not films:
                return None
            connection.execute("UPDATE coats SET undone_at = ? WHERE id = ?", (seconds(at), films[-1].id))
            _note(connection, films[-1], at, "undone", who=who)
            return films[-1]

    def correct_coat(self, old: Coat, new: Coat, *, who: str = "") -> Coat:
        """Put a coat in the place of one that was recorded wrongly, and return it with its id.

        When it was seen to be sandable stays with it; what was learned from that does not where it was put on at
        another time, or is of another coating.

        Raises
        ------
        StoreError
            When the old one does not stand any more.
        """
        with self._transaction() as connection:
            at = seconds(new.recorded_at)
            gone = connection.execute("UPDATE coats SET undone_at = ? WHERE id = ? AND undone_at IS NULL", (at, old.id))
            if not gone.rowcount:
                raise _changed(old)
            new = _insert(connection, new)
            _note(connection, old, new.recorded_at, "corrected", who=who, successor=new.id)
            as_learned = (old.finished_at, old.coating) == (new.finished_at, new.coating)
            connection.execute(
                "INSERT INTO seen_sandable (coat, at, coating, progress, recorded_at) SELECT ?, at, coating, "
                "CASE WHEN ? THEN progress END, recorded_at FROM seen_sandable WHERE coat = ? ORDER BY id DESC LIMIT 1",
                (new.id, as_learned, old.id),
            )
            return new.model_copy(update={"sandable_at": old.sandable_at})

    def spoil_coat(self, coat: Coat, spoilt: Spoiler | None, at: datetime, *, note: str = "", who: str = "") -> Coat:
        """Note what spoilt a coat, or with None that nothing did, and return it with that.

        Raises
        ------
        StoreError
            When it does not stand any more, or its number was taken again.
        """
        what: Change = "spoilt" if spoilt else "not spoilt"
        with self._transaction() as connection:
            try:
                changed = connection.execute(
                    "UPDATE coats SET spoilt = ? WHERE id = ? AND undone_at IS NULL", (spoilt or "", coat.id)
                )
            except sqlite3.IntegrityError:
                raise _taken(coat) from None
            if not changed.rowcount:
                raise _changed(coat)
            _note(connection, coat, at, what, ": ".join(filter(None, [spoilt, note])), who=who)
        return coat.model_copy(update={"spoilt": spoilt or ""})

    def see_sandable(
        self, coat: Coat, at: datetime, *, coating: str, progress: float | None, recorded_at: datetime
    ) -> Coat:
        """Record when a coat was seen to be sandable, and return it with that.

        Parameters
        ----------
        coating
            What it is a coat of.
        progress
            How far it had come then by the sum, 1 where it was as expected; None where that is not known.
        """
        with self._transaction() as connection:
            connection.execute(
                "INSERT INTO seen_sandable (coat, at, coating, progress, recorded_at) VALUES (?, ?, ?, ?, ?)",
                (coat.id, seconds(at), coating, progress, seconds(recorded_at)),
            )
        return coat.model_copy(update={"sandable_at": instant(seconds(at))})

    def progress_seen(self) -> dict[str, list[float]]:
        """Return, by coating, how far by the sum its coats had come when they were seen to be sandable."""
        seen: dict[str, list[float]] = {}
        query = (
            "SELECT seen_sandable.coating, progress FROM seen_sandable JOIN coats ON coats.id = coat "  # noqa: S608  (no outside text)
            f"WHERE undone_at IS NULL AND spoilt = '' AND progress IS NOT NULL AND seen_sandable.id IN ({_LAST_SEEN}) "
            "ORDER BY seen_sandable.id"
        )
        for coating, progress in self._rows(query):
            seen.setdefault(coating, []).append(progress)
        return seen

    def advice_at(self, piece: str, at: datetime) -> Advice | None:
        """Return the verdict that stood at an instant; None where none was given in the day before it."""
        rows = self._rows(
            "SELECT word, reason, at FROM verdicts WHERE piece = ? AND at <= ? ORDER BY id DESC LIMIT 1",
            piece,
            seconds(at),
        )
        if not rows or at - instant(rows[0][2]) > ADVICE_HOLDS_FOR:
            return None
        word, reason, given = rows[0]
        return Advice(word=word, reason=reason and Reason.model_validate_json(reason), given_at=instant(given))


def _insert(connection: sqlite3.Connection, coat: Coat) -> Coat:
    values = (
        coat.piece, coat.number, seconds(coat.finished_at), coat.who, coat.batch, coat.thinner_parts, coat.wet_film_um,
        coat.note, seconds(coat.recorded_at), _optional(coat.began_at, seconds), coat.coating, coat.abrasive,
        coat.litres, coat.photo, coat.spoilt, _json(coat.met), _json(coat.advice),
    )  # fmt: skip
    marks = ", ".join("?" * len(values))
    try:
        row = connection.execute(f"INSERT INTO coats ({_WRITTEN}) VALUES ({marks})", values)  # noqa: S608  (no outside text)
    except sqlite3.IntegrityError:
        raise _taken(coat) from None
    (mixed,) = connection.execute(f"SELECT {_MIXED} FROM coats WHERE id = ?", (row.lastrowid,)).fetchone()  # noqa: S608  (no outside text)
    return coat.model_copy(update={"id": row.lastrowid, "mixed_at": _optional(mixed, instant)})


def _taken(coat: Coat) -> ChangedError:
    return ChangedError(f"coat {coat.number} of {coat.piece} is recorded already")


def _changed(coat: Coat) -> ChangedError:
    return ChangedError(f"coat {coat.number} of {coat.piece} was changed meanwhile; look at it again")


def _note(
    connection: sqlite3.Connection,
    coat: Coat,
    at: datetime,
    what: Change,
    detail: str = "",
    *,
    who: str,
    successor: int | None = None,
) -> None:
    connection.execute(
        "INSERT INTO coat_changes (coat, at, what, detail, who, successor) VALUES (?, ?, ?, ?, ?, ?)",
        (coat.id, seconds(at), what, detail, who, successor),
    )


def _json(model: BaseModel | None) -> str | None:
    return None if model is None else model.model_dump_json(exclude_defaults=True)


def _optional(value: Any, read: Callable[[Any], Any]) -> Any:
    return None if value is None else read(value)


def _counting(laid: list[Coat]) -> list[Coat]:
    return sorted((coat for coat in laid if not coat.spoilt), key=lambda coat: coat.number)


def _coat(row: tuple[Any, ...]) -> Coat:
    (
        number, piece, coat, finished, who, batch, thinner, wet_film, note, recorded, began, coating, abrasive, litres,
        photo, spoilt, met, advice, sandable, mixed,
    ) = row  # fmt: skip
    return Coat(
        id=number,
        piece=piece,
        number=coat,
        finished_at=instant(finished),
        who=who,
        batch=batch,
        thinner_parts=thinner,
        wet_film_um=wet_film,
        note=note,
        recorded_at=instant(recorded),
        sandable_at=_optional(sandable, instant),
        mixed_at=_optional(mixed, instant),
        began_at=_optional(began, instant),
        coating=coating,
        abrasive=abrasive,
        litres=litres,
        photo=photo,
        spoilt=spoilt,
        met=_optional(met, lambda text: _read(Met, text)),
        advice=_optional(advice, lambda text: _read(Advice, text)),
    )


def _read(model: type[BaseModel], text: str) -> Any:
    """Return what stands beside a coat; None where it cannot be read: the coat itself can."""
    try:
        return model.model_validate_json(text)
    except ValidationError:
        return None
