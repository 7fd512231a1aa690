"""Pieces that ask the same are answered once: what the weather does to a surface, and what may then be done with it."""

from collections.abc import Hashable, Iterable, Sequence
from datetime import UTC, datetime
from typing import Any

from dryspell.config import Config
from dryspell.outlook.below import on_top
from dryspell.outlook.conditions import STEP_S
from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Coat, Outlook
from dryspell.outlook.outlook import make_outlook
from dryspell.outlook.sight import Sight, sight_of
from dryspell.trade.piece import Piece
from dryspell.weather.table import WeatherTable

# Whatever is not named here tells two pieces, or two coats, apart.
OF_ITS_OWN: dict[str, Any] = {
    "key": "", "label": "", "tags": (), "area_m2": 1.0, "loss_pct": 0.0, "edges_m": 0.0, "thirsty_coats": 0,
    "prepare_time_h": None, "priority": 1, "cover_at_hand": False,
}  # fmt: skip
"""What an outlook does not hang on; of the area it is the time that brushing takes, in steps of the grid."""
OF_ITS_COATS: dict[str, Any] = {
    "coating": "", "system": "", "coats": 1, "done": 0, "over": "bare wood", "wood_moisture_pct": None, "wood": "usual",
    "brush_time_h": None, "dry_after_dew_h": 0.0,
}  # fmt: skip
"""What says nothing, beside that, of how the weather reaches a piece."""
OF_THE_RECORD: dict[str, Any] = {
    "id": 0, "piece": "", "who": "", "batch": "", "note": "", "photo": "", "met": None, "advice": None,
    "recorded_at": datetime.min.replace(tzinfo=UTC),
}  # fmt: skip
"""What is recorded of a coat, and no film hangs on."""


def by_exposure(pieces: Iterable[Piece]) -> list[list[Piece]]:
    """Return the pieces in groups that the weather reaches alike."""
    groups: dict[Piece, list[Piece]] = {}
    for piece in pieces:
        groups.setdefault(piece.model_copy(update=OF_ITS_OWN | OF_ITS_COATS), []).append(piece)
    return list(groups.values())


def question_of(piece: Piece, coats: Sequence[Coat]) -> Hashable:
    """Return what an outlook of a piece hangs on, under one configuration and its weather."""
    steps = max(1, -(-round(piece.brushing_h * 3600) // STEP_S))
    asked = piece.model_copy(update=OF_ITS_OWN | {"brush_time_h": steps * STEP_S / 3600})
    return asked, tuple(coat.model_copy(update=OF_THE_RECORD) for coat in coats)


class Alike:
    """Pieces that the weather of one site reaches alike, at one instant.

    It holds all that the weather is there, tens of megabytes with every look into it: of one group at a time, and no
    longer than its pieces are looked at.
    """

    def __init__(self, config: Config, table: WeatherTable | None, now: datetime) -> None:
        self._config = config
        self._table = table
        self._now = now
        self._sight: Sight | None = None
        self._answers: dict[Hashable, Outlook] = {}

    def outlook(self, piece: Piece, coats: Sequence[Coat]) -> Outlook:
        """Return the outlook of one of them; parameters and errors are those of `make_outlook`."""
        question = question_of(piece, coats)
        if question not in self._answers:
            self._answers[question] = self._made(piece, coats)
        return _told_of(piece, coats, self._answers[question])

    def _made(self, piece: Piece, coats: Sequence[Coat]) -> Outlook:
        config, site = self._config, self._config.site_of(piece)
        stale_after_h = config.weather.stale_after_h
        if self._sight is None and self._table is not None:
            self._sight = sight_of(piece, site, self._table, self._now, stale_after_h=stale_after_h)
        lays = as_laid(config.lays_of(piece), coats, config.coating)
        return make_outlook(
            piece, site, lays, coats, self._table, self._now, stale_after_h=stale_after_h, sight=self._sight
        )


def _told_of(piece: Piece, coats: Sequence[Coat], outlook: Outlook) -> Outlook:
    """Return the outlook of a piece that asks the same, as one of this piece and its coats."""
    if outlook.piece == piece.key:
        return outlook
    own: dict[str, Any] = {"piece": piece.key, "piece_name": piece.name}
    top, _ = on_top(coats)
    if outlook.film is not None and top is not None:
        own["film"] = outlook.film.model_copy(update={"coat": top})
    return outlook.model_copy(update=own)
