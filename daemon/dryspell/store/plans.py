"""The last plan of each piece: what was promised, until another is made."""

from collections.abc import Iterable

from pydantic import ValidationError

from dryspell.outlook.plan_model import Plan
from dryspell.store.database import Database, seconds


class PlanShelf(Database):
    """Reads and writes plans."""

    def plans(self) -> dict[str, Plan]:
        """Return the last plan of each piece, by its key; one that this version cannot read is none."""
        found = {}
        for piece, text in self._rows("SELECT piece, plan FROM plans"):
            try:
                found[piece] = Plan.model_validate_json(text)
            except ValidationError:
                continue
        return found

    def keep_plans(self, plans: Iterable[Plan]) -> None:
        """Keep plans in the place of those before."""
        rows = [(plan.piece, seconds(plan.made_at), plan.model_dump_json()) for plan in plans]
        with self._transaction() as connection:
            connection.executemany(
                "INSERT INTO plans (piece, made_at, plan) VALUES (?, ?, ?) ON CONFLICT (piece) "
                "DO UPDATE SET made_at = excluded.made_at, plan = excluded.plan",
                rows,
            )
