"""The rows of a fleet, each checked by the models of the configuration; what is wrong with one keeps no other back.

The columns are `site`, `piece`, the keys of a site that its weather and sun depend on, the keys of a piece, and of its
last coat `last_coat` (an instant with its offset) and `thinner`. A cell that is empty is a key that is left out.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, Strict

from dryspell.config import Config
from dryspell.config.problems import Problems, written_keys
from dryspell.config.systems import coats_of
from dryspell.config.wording import listed, meant
from dryspell.errors import FleetError
from dryspell.fleet.cells import Grid, Place
from dryspell.fleet.judge import Question
from dryspell.fleet.sheet import Column, Line, as_literal, open_sheet, with_unit
from dryspell.outlook.model import Coat
from dryspell.trade.coating import MOST_THINNER
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay


def _read_instant(value: Any) -> Any:
    try:
        instant = value if isinstance(value, datetime) else datetime.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError("is not an instant; wanted such as 2026-09-03T08:00+02:00 or 2026-09-03T06:00Z") from None
    if instant.tzinfo is None:
        raise ValueError("has no offset from UTC; wanted such as 2026-09-03T08:00+02:00 or 2026-09-03T06:00Z")
    return instant


class LastCoat(BaseModel):
    """The coat that lies on a piece."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    last_coat: Annotated[datetime | None, BeforeValidator(_read_instant)] = Field(
        default=None, description="its last stroke"
    )
    thinner: float | None = Field(
        default=None, strict=True, ge=0, le=MOST_THINNER, description="parts to a hundred of coating"
    )


NAMES = ("site", "piece")
OF_SITE = tuple(key for key in written_keys(Site) if key not in ("name", "travel", "sources"))
OF_PIECE = tuple(key for key in written_keys(Piece) if key not in NAMES)
OF_COAT = tuple(LastCoat.model_fields)
COLUMNS = (*NAMES, *OF_SITE, *OF_PIECE, *OF_COAT)
NEEDED = ("site", "latitude", "longitude", "timezone")

_NOT_JUDGED: Mapping[str, Any] = {"key": "", "site": ""}
"""What tells pieces apart and makes no difference to a verdict is the same for all, so that like pieces are one."""


_STRICT = {
    of.alias or name
    for model in (Site, Piece, LastCoat)
    for name, of in model.model_fields.items()
    if any(isinstance(each, Strict) for each in of.metadata)
}
"""Keys that are a number, true or false, which a CSV file holds as text."""


@dataclass(frozen=True)
class Berth:
    """One row that can be judged: what it is called, and which of the questions of its cell it asks."""

    row: int
    site: str
    piece: str
    question: int


@dataclass(frozen=True)
class BadRow:
    """One row that cannot be judged, and why."""

    row: int
    site: str
    piece: str
    problem: str


@dataclass
class InCell:
    """What a table asks of one forecast cell: each question once, and the rows that ask it."""

    questions: list[Question] = field(default_factory=list)
    berths: list[Berth] = field(default_factory=list)


@dataclass
class Fleet:
    """All that a table asks, by forecast cell, in the order of the table; and the rows that cannot be read."""

    cells: dict[Place, InCell] = field(default_factory=dict)
    bad: list[BadRow] = field(default_factory=list)

    @property
    def rows(self) -> int:
        """How many rows there are in all."""
        return len(self.bad) + sum(len(cell.berths) for cell in self.cells.values())


def read_fleet(path: Path, config: Config, grid: Grid, now: datetime) -> Fleet:
    """Read a table.

    Raises
    ------
    FleetError
        The file cannot be read, or its columns cannot be used; every problem of theirs is named.
    """
    with open_sheet(path) as (columns, lines):
        _check(columns, path)
        return _Reading(columns, config, grid, now).fleet(lines)


def _check(columns: Sequence[Column], path: Path) -> None:
    names = [column.name for column in columns]
    problems = [f'"{name}" is no column; {meant(name, COLUMNS, f"there is {listed(COLUMNS)}")}' for name in names
                if name not in COLUMNS]  # fmt: skip
    problems += [f"{name} stands {names.count(name)} times; keep one" for name in dict.fromkeys(names)
                 if names.count(name) > 1]  # fmt: skip
    problems += [f"{name} is missing; wanted a column of that name" for name in NEEDED if name not in names]
    if not {"coating", "system"} & set(names):
        problems.append("coating is missing; wanted a column of that name, or system")
    if problems:
        raise FleetError("\n".join(f"{path}: {problem}" for problem in problems))


class _Reading:
    """One table while it is read. What many rows have alike is checked once."""

    def __init__(self, columns: Sequence[Column], config: Config, grid: Grid, now: datetime) -> None:
        self._columns = columns
        self._config = config
        self._grid = grid
        self._now = now
        self._pieces: dict[str, tuple[Piece | None, list[str]]] = {}
        self._lays: dict[str, tuple[Lay, ...]] = {}
        self._asked: dict[tuple[Place, str], int] = {}

    def fleet(self, lines: Iterator[Line]) -> Fleet:
        """Return what the rows ask."""
        fleet = Fleet()
        for line in lines:
            cells = {column.name: cell for column, cell in zip(self._columns, line.cells, strict=False)}
            site, piece = (str(cells.get(name) or "") for name in NAMES)
            if line.problem:
                fleet.bad.append(BadRow(line.number, site, piece, line.problem))
                continue
            read = self._read(cells)
            if isinstance(read, str):
                fleet.bad.append(BadRow(line.number, site, piece, read))
                continue
            place, question = read
            cell = fleet.cells.setdefault(place, InCell())
            number = self._asked.setdefault((place, question.key), len(cell.questions))
            if number == len(cell.questions):
                cell.questions.append(question)
            cell.berths.append(Berth(line.number, site, piece, number))
        return fleet

    def _read(self, cells: Mapping[str, Any]) -> tuple[Place, Question] | str:
        """Return where a row is and what it asks, or all that is wrong with it."""
        tables = {model: self._table(cells, keys) for model, keys in
                  ((Site, OF_SITE), (Piece, OF_PIECE), (LastCoat, OF_COAT))}  # fmt: skip
        problems = Problems("")
        if not cells.get("site"):
            problems.add(["site"], "is empty; wanted a name")
        site = problems.read(Site, [], tables[Site], owner="a site", filled_in={"key": "site"})
        piece, of_piece = self._piece(tables[Piece])
        problems.found += of_piece
        coat = problems.read(LastCoat, [], tables[LastCoat], owner="a coat")
        if piece and coat:
            self._check_coat(tables[LastCoat], coat, piece, problems)
        if problems.found or not (site and piece and coat):
            return "; ".join(problem.removeprefix(": ") for problem in problems.found)
        place, at = self._grid.of(site)
        return place, Question(piece, at, self._lays_of(piece), self._coats(piece, coat))

    def _table(self, cells: Mapping[str, Any], keys: Sequence[str]) -> dict[str, Any]:
        table = {}
        for column in self._columns:
            cell = cells[column.name]
            if column.name in keys and cell is not None:
                is_literal = column.name in _STRICT or str(cell).startswith(("[", "{"))
                cell = as_literal(cell) if is_literal else cell
                table[column.name] = with_unit(cell, column.unit) if column.unit else cell
        return table

    def _piece(self, table: Mapping[str, Any]) -> tuple[Piece | None, list[str]]:
        """Return the piece of a row without its names, and what is wrong with it."""
        key = repr(table)
        if key not in self._pieces:
            problems = Problems("")
            config = self._config
            filled_in = {**_NOT_JUDGED, **coats_of([], table, config.system, problems)}
            kept = {name: value for name, value in table.items() if name not in ("name", "tags")}
            piece = problems.read(Piece, [], kept, owner="a piece", filled_in=filled_in)
            for name, known in (("coating", config.coating), ("system", config.system)):
                if isinstance(value := table.get(name), str) and value not in known:
                    problems.add_reference([name], value, known, name)
            self._pieces[key] = (None if problems.found else piece, problems.found)
        return self._pieces[key]

    def _check_coat(self, table: Mapping[str, Any], coat: LastCoat, piece: Piece, problems: Problems) -> None:
        if coat.last_coat is None:
            if coat.thinner is not None:
                problems.add_value(["thinner"], coat.thinner, "is of a coat of which last_coat is empty")
            return
        if not piece.done:
            problems.add_value(["last_coat"], str(table["last_coat"]), "needs done, the coats on with that one counted")
        if coat.last_coat > self._now:
            problems.add_value(["last_coat"], str(table["last_coat"]), "is still to come")

    def _lays_of(self, piece: Piece) -> tuple[Lay, ...]:
        key = f"{piece.coating}\n{piece.system}\n{piece.coats}\n{piece.over}"
        if key not in self._lays:
            self._lays[key] = self._config.lays_of(piece)
        return self._lays[key]

    def _coats(self, piece: Piece, coat: LastCoat) -> tuple[Coat, ...]:
        if coat.last_coat is None:
            return ()
        return (
            Coat(
                piece="",
                number=piece.done,
                finished_at=coat.last_coat,
                recorded_at=coat.last_coat,
                thinner_parts=coat.thinner,
            ),
        )
