"""A table of a fleet as it lies on disk: CSV or Parquet, row by row, with or without the unit in a heading."""

import csv
import json
import math
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dryspell.errors import FleetError

_HEADING = re.compile(r"\s*(?P<name>[^\[\]]+?)\s*(?:\[(?P<unit>[^\[\]]*)\])?\s*")
_NUMBER = re.compile(r"\s*[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?\s*", re.ASCII)
_WORDS = {"true": True, "false": False}


@dataclass(frozen=True)
class Column:
    """The heading of a column: `latitude [deg]` is one of numbers in degrees; without a unit each cell has its own."""

    name: str
    unit: str

    @classmethod
    def of(cls, heading: str) -> "Column":
        """Read a heading."""
        match = _HEADING.fullmatch(heading)
        return cls(match["name"], (match["unit"] or "").strip()) if match else cls(heading, "")


@dataclass(frozen=True)
class Line:
    """One row: where it stands, its cells with None for an empty one, and why it cannot be read, else ""."""

    number: int
    cells: Sequence[Any]
    problem: str = ""


@contextmanager
def open_sheet(path: Path) -> Iterator[tuple[list[Column], Iterator[Line]]]:
    """Open a table and yield its columns and its rows; these are read as they are asked for.

    Rows are numbered by the line in a CSV file, as an editor shows it, and from 1 in Parquet.

    Raises
    ------
    FleetError
        It cannot be read, also while the rows are.
    """
    try:
        match path.suffix.lower():
            case ".csv":
                with path.open(encoding="utf-8-sig", newline="") as file:
                    yield _csv(file)
            case ".parquet":
                yield _parquet(path)
            case _:
                raise FleetError(f"{path}: the name of a table has to end in .csv or .parquet")
    except OSError as error:
        raise FleetError(f"{path} cannot be read: {error.strerror or error}") from None
    except UnicodeDecodeError:
        raise FleetError(f"{path} is not UTF-8 text; save it in that encoding") from None
    except csv.Error as error:
        raise FleetError(f"{path} is no CSV: {error}") from None


def _csv(file: Any) -> tuple[list[Column], Iterator[Line]]:
    reader = csv.reader(file, strict=True)
    head: list[str] = next((row for row in reader if row and not row[0].startswith("#")), [])

    def rows() -> Iterator[Line]:
        for row in reader:
            number = reader.line_num
            if not row:
                continue
            if len(row) == len(head):
                yield Line(number, [cell.strip() or None for cell in row])
            else:
                yield Line(number, row, f"has {len(row)} cells, where the heading has {len(head)}")

    return [Column.of(heading) for heading in head], rows()


def _parquet(path: Path) -> tuple[list[Column], Iterator[Line]]:
    import pyarrow as pa  # noqa: PLC0415  (an extra that CSV does without)
    import pyarrow.parquet as pq  # noqa: PLC0415

    try:
        file = pq.ParquetFile(path)
    except pa.ArrowInvalid as error:
        raise FleetError(f"{path} is no Parquet: {error}") from None

    def rows() -> Iterator[Line]:
        number = 0
        for batch in file.iter_batches():
            for cells in zip(*(column.to_pylist() for column in batch.columns), strict=True):
                number += 1
                yield Line(number, [_plain(cell) for cell in cells])

    return [Column.of(heading) for heading in file.schema_arrow.names], rows()


def _plain(cell: Any) -> Any:
    """Return a cell of Parquet as a configuration would hold it, None where it is empty."""
    if isinstance(cell, float) and math.isnan(cell):
        return None
    return (cell.strip() or None) if isinstance(cell, str) else cell


def with_unit(cell: Any, unit: str) -> Any:
    """Return a number as a quantity in the unit of its heading; anything else as it is, for whoever reads it to say."""
    is_number = isinstance(cell, int | float) and not isinstance(cell, bool)
    return f"{cell} {unit}" if is_number or (isinstance(cell, str) and _NUMBER.fullmatch(cell)) else cell


def as_literal(cell: Any) -> Any:
    """Return what stands in a cell of text for a whole number, a number, true, false, a list or a table."""
    if isinstance(cell, float) and cell.is_integer():  # Parquet has no whole number that is not known, and so a float
        return int(cell)
    if not isinstance(cell, str):
        return cell
    if cell.lower() in _WORDS:
        return _WORDS[cell.lower()]
    try:
        return json.loads(cell)
    except (ValueError, RecursionError):
        return cell
