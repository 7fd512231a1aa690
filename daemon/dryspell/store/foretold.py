"""What was said of the weather some hours ahead, once an hour for each piece, for the review of how right it was."""

from collections.abc import Iterable, Mapping
from datetime import datetime

from dryspell.outlook.model import Foretold
from dryspell.outlook.said import COLUMNS, Said
from dryspell.store.database import Database, seconds

_HOUR_S = 3600


class ForetoldShelf(Database):
    """Reads and writes what was foretold."""

    def keep_foretold(self, said: Mapping[str, Iterable[Foretold]], now: datetime, *, since: datetime) -> None:
        """Keep what is said of pieces now, unless something was in this hour, and drop what is older than `since`."""
        hour = seconds(now) // _HOUR_S
        rows = [
            (piece, hour, each.lead_h, seconds(each.start), each.coat, each.word, each.share, each.is_odds, each.quick)
            for piece, of_piece in said.items()
            for each in of_piece
        ]
        with self._transaction() as connection:
            connection.executemany(
                "INSERT INTO foretold (piece, hour, lead_h, start, coat, word, share, is_odds, quick) "
                "VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?) ON CONFLICT DO NOTHING",
                rows,
            )
            connection.executemany(
                "DELETE FROM foretold WHERE piece = ? AND hour < ?",
                [(piece, seconds(since) // _HOUR_S) for piece in said],
            )

    def foretold(self, piece: str, since: datetime, until: datetime) -> Said:
        """Return what was said of a piece from one instant to another, in the order of saying."""
        query = (
            "SELECT lead_h, start, coat, word <> 'wait', share, quick FROM foretold "
            "WHERE piece = ? AND hour >= ? AND hour <= ? ORDER BY hour, lead_h"
        )
        return Said(self._array(COLUMNS, query, piece, seconds(since) // _HOUR_S, seconds(until) // _HOUR_S))
