"""The pots of two-part coating that were mixed: the last one of each piece is the one that is brushed."""

from datetime import datetime

from dryspell.outlook.model import Mixed
from dryspell.store.database import Database, instant, seconds


class PotShelf(Database):
    """Reads and writes pots."""

    def pots(self) -> dict[str, Mixed]:
        """Return the pot that was mixed last, by piece, unless it was poured away."""
        rows = self._rows(
            "SELECT piece, coat, mixed_at FROM pots WHERE id IN (SELECT max(id) FROM pots GROUP BY piece) "
            "AND away_at IS NULL"
        )
        return {piece: Mixed(piece=piece, coat=coat, mixed_at=instant(at)) for piece, coat, at in rows}

    def add_pot(self, pot: Mixed, recorded_at: datetime) -> None:
        """Record that a pot was mixed; one before it is taken for used up."""
        with self._transaction() as connection:
            connection.execute(
                "INSERT INTO pots (piece, coat, mixed_at, recorded_at) VALUES (?, ?, ?, ?)",
                (pot.piece, pot.coat, seconds(pot.mixed_at), seconds(recorded_at)),
            )

    def pour_away(self, pot: Mixed, at: datetime) -> None:
        """Record that a pot was poured away, or never was mixed."""
        with self._transaction() as connection:
            connection.execute(
                "UPDATE pots SET away_at = ? WHERE piece = ? AND mixed_at = ? AND away_at IS NULL",
                (seconds(at), pot.piece, seconds(pot.mixed_at)),
            )
