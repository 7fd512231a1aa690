"""Pieces that ask the same are answered once: what the weather does to a surface, and what may then be done with it."""

from collections.abc import Hashable, Iterable, Sequence
from datetime import UTC, datetime
from functools import cached_property
from typing import Any

from dryspell.config import Config
from dryspell.outlook.answer import Answer
from dryspell.outlook.below import on_top
from dryspell.outlook.columns import STEP_S, Columns
from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Coat, Outlook
from dryspell.outlook.outlook import make_answer
from dryspell.outlook.sight import Sight, columns_of, sight_of
from dryspell.trade.piece import Piece, Site
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
    # What stands at one site after each other shares its columns, and coats of one coating what drying comes to.
    alike = [sorted(group, key=lambda piece: (piece.coating, piece.system)) for group in groups.values()]
    return sorted(alike, key=lambda group: group[0].site)


def question_of(piece: Piece, coats: Sequence[Coat]) -> Hashable:
    """Return what an outlook of a piece hangs on, under one configuration and its weather."""
    steps = max(1, -(-round(piece.brushing_h * 3600) // STEP_S))
    asked = piece.model_copy(update=OF_ITS_OWN | {"brush_time_h": steps * STEP_S / 3600})
    return asked, tuple(coat.model_copy(update=OF_THE_RECORD) for coat in coats)


class Answers:
    """What was answered at the look before: until the next instant of the grid it is the answer still.

    On other weather, or under another configuration, it is none.
    """

    def __init__(self) -> None:
        self._config: Config | None = None
        self._groups: list[list[Piece]] = []
        self._bare: dict[str, Hashable] = {}
        self._of: dict[Hashable, tuple[WeatherTable, Answer]] = {}
        self._asked: set[Hashable] = set()

    def begin(self, config: Config) -> list[list[Piece]]:
        """Begin a look under a configuration, and return its pieces in groups that the weather reaches alike."""
        if self._config is None or config.piece is not self._config.piece:
            self._groups = by_exposure(config.piece.values())
            self._bare = {piece.key: question_of(piece, ()) for piece in config.piece.values()}
        if config != self._config:
            self._config, self._of = config, {}
        self._asked = set()
        return self._groups

    def question(self, piece: Piece, coats: Sequence[Coat]) -> Hashable:
        """Return the question of a piece of that configuration."""
        return question_of(piece, coats) if coats else self._bare[piece.key]

    def at(self, question: Hashable, table: WeatherTable | None, now: datetime) -> Outlook | None:
        """Return the answer to a question as it is by now; None where it has to be worked out."""
        self._asked.add(question)
        of, answer = self._of.get(question, (None, None))
        return answer.at(now) if answer is not None and of is table else None

    def keep(self, question: Hashable, table: WeatherTable | None, answer: Answer) -> None:
        """Keep an answer for the next look, in place of what was answered before."""
        if table is not None and answer.until is not None:
            self._of[question] = table, answer
        else:
            self._of.pop(question, None)

    def end(self) -> None:
        """End the look: what was not asked in it is not kept."""
        self._of = {question: of for question, of in self._of.items() if question in self._asked}


class Place:
    """The weather of one site, and its columns on the grid: some megabytes, once something is to be judged there."""

    def __init__(self, site: Site, table: WeatherTable | None) -> None:
        self.site, self.table = site, table

    @cached_property
    def columns(self) -> Columns | None:
        """Return them; None where there is no weather."""
        return None if self.table is None else columns_of(self.site, self.table)


class Alike:
    """Pieces that the weather of one site reaches alike, at one instant.

    It holds all that the weather is there, tens of megabytes with every look into it: of one group at a time, and no
    longer than its pieces are looked at.
    """

    def __init__(self, config: Config, place: Place, now: datetime, before: Answers) -> None:
        self._config = config
        self._place = place
        self._table = place.table
        self._now = now
        self._before = before
        self._sight: Sight | None = None
        self._answers: dict[Hashable, Outlook] = {}

    def outlook(self, piece: Piece, coats: Sequence[Coat]) -> Outlook:
        """Return the outlook of one of them; parameters and errors are those of `make_outlook`."""
        question = self._before.question(piece, coats)
        if question not in self._answers:
            found = self._before.at(question, self._table, self._now)
            self._answers[question] = self._made(question, piece, coats) if found is None else found
        return _told_of(piece, coats, self._answers[question])

    def _made(self, question: Hashable, piece: Piece, coats: Sequence[Coat]) -> Outlook:
        config, site = self._config, self._place.site
        stale_after_h = config.weather.stale_after_h
        if self._sight is None and self._table is not None:
            self._sight = sight_of(
                piece, site, self._table, self._now, stale_after_h=stale_after_h, columns=self._place.columns
            )
        lays = as_laid(config.lays_of(piece), coats, config.coating)
        answer = make_answer(
            piece, site, lays, coats, self._table, self._now, stale_after_h=stale_after_h, sight=self._sight
        )
        self._before.keep(question, self._table, answer)
        return answer.outlook


def _told_of(piece: Piece, coats: Sequence[Coat], outlook: Outlook) -> Outlook:
    """Return the outlook of a piece that asks the same, as one of this piece and its coats."""
    if outlook.piece == piece.key and (outlook.film is None or outlook.film.coat in coats):
        return outlook
    own: dict[str, Any] = {"piece": piece.key, "piece_name": piece.name}
    top, _ = on_top(coats)
    if outlook.film is not None and top is not None:
        own["film"] = outlook.film.model_copy(update={"coat": top})
    return outlook.model_copy(update=own)
