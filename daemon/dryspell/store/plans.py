"""The last plan of each piece: what was promised, until another is made."""

from typing import TYPE_CHECKING

from pydantic import ValidationError

from dryspell.store.database import Database, seconds

if TYPE_CHECKING:
    from collections.abc import Iterable

    from dryspell.outlook.plan_model import Plan


class PlanShelf(Database):
    """Reads and writes plans."""

    def plans(self) -> "dict[str, Plan]":
        """Return the last plan of each piece, by its key; one that this version cannot read is none."""
        from dryspell.outlook.plan_model import Plan  # noqa: PLC0415  (many models, for one kind of question)

        found = {}
        for piece, text in self._rows("SELECT piece, plan FROM plans"):
            try:
                found[piece] = Plan.model_validate_json(text)
            except ValidationError:
                continue
        return found

    def keep_plans(self, plans: "Iterable[Plan]") -> None:
        """Keep plans in the place of those before."""
        rows = [(plan.piece, seconds(plan.made_at), plan.model_dump_json()) for plan in plans]
        with self._transaction() as connection:
            connection.executemany(
                "INSERT INTO plans (piece, made_at, plan) VALUES (?, ?, ?) ON CONFLICT (piece) "
                "DO UPDATE SET made_at = excluded.made_at, plan = excluded.plan",
                rows,
            )
