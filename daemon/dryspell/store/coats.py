"""The coats that were put on. Nothing is erased: a coat taken back stays, with the instant it was taken back."""

import sqlite3
from datetime import datetime
from typing import Any

from dryspell.errors import StoreError
from dryspell.outlook.model import Coat
from dryspell.store.database import Database, instant, seconds

_COLUMNS = (
    "id, piece, number, finished_at, who, batch, thinner_parts, wet_film_um, note, recorded_at, "
    "(SELECT at FROM seen_sandable WHERE coat = coats.id ORDER BY seen_sandable.id DESC LIMIT 1)"
)
_LAST_SEEN = "SELECT max(id) FROM seen_sandable GROUP BY coat"
"""Of several times told for a coat the last one told counts."""


class CoatBook(Database):
    """Reads and writes coats."""

    def coats(self, piece: str) -> list[Coat]:
        """Return the coats of a piece that count, the first one first."""
        query = f"SELECT {_COLUMNS} FROM coats WHERE piece = ? AND undone_at IS NULL ORDER BY number"  # noqa: S608  (no outside text)
        return [_coat(row) for row in self._rows(query, piece)]

    def add_coat(self, coat: Coat) -> Coat:
        """Record a coat and return it with its id.

        Raises
        ------
        StoreError
            When a coat of that number is on already.
        """
        values = (
            coat.piece, coat.number, seconds(coat.finished_at), coat.who, coat.batch, coat.thinner_parts,
            coat.wet_film_um, coat.note, seconds(coat.recorded_at),
        )  # fmt: skip
        with self._transaction() as connection:
            try:
                row = connection.execute(
                    "INSERT INTO coats (piece, number, finished_at, who, batch, thinner_parts, wet_film_um, note, "
                    "recorded_at) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)",
                    values,
                )
            except sqlite3.IntegrityError:
                raise StoreError(f"coat {coat.number} of {coat.piece} is recorded already") from None
            return coat.model_copy(update={"id": row.lastrowid})

    def undo_coat(self, piece: str, at: datetime) -> Coat | None:
        """Take back the last coat of a piece and return it; None when there is none."""
        with self._transaction() as connection:
            query = f"SELECT {_COLUMNS} FROM coats WHERE piece = ? AND undone_at IS NULL ORDER BY number DESC"  # noqa: S608  (no outside text)
            row = connection.execute(query, (piece,)).fetchone()
            if row is None:
                return None
            connection.execute("UPDATE coats SET undone_at = ? WHERE id = ?", (seconds(at), row[0]))
            return _coat(row)

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
            "SELECT coating, progress FROM seen_sandable JOIN coats ON coats.id = coat "  # noqa: S608  (no outside text)
            f"WHERE undone_at IS NULL AND progress IS NOT NULL AND seen_sandable.id IN ({_LAST_SEEN}) "
            "ORDER BY seen_sandable.id"
        )
        for coating, progress in self._rows(query):
            seen.setdefault(coating, []).append(progress)
        return seen


def _coat(row: tuple[Any, ...]) -> Coat:
    number, piece, coat, finished, who, batch, thinner, wet_film, note, recorded, sandable = row
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
        sandable_at=None if sandable is None else instant(sandable),
    )
