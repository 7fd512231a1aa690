"""Reads the text of a weather table file, CSV or JSON Lines, into cells; what the cells mean is for the caller."""

import csv
import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from dryspell.errors import WeatherError
from dryspell.weather.table import VARIABLES

_ISSUED = re.compile(r"#\s*issued\s+(\S+)\s*")
_HEADING = re.compile(r"\s*([^\[\]]*?)\s*\[\s*(.*?)\s*\]\s*")


@dataclass(frozen=True)
class Row:
    """One line of the file: where it stands, its time as written, and its cells by name, None for an empty one."""

    line: int
    time: object
    cells: dict[str, object]


@dataclass(frozen=True)
class Sheet:
    """A file as written.

    Attributes
    ----------
    head_line, units
        The line that names the columns, and their units.
    rows
        The weather.
    issued
        When the file says it was issued, and the line where it says so.
    """

    head_line: int
    units: dict[str, str]
    rows: list[Row]
    issued: tuple[int, object] | None


def read_csv(text: str, where: str) -> Sheet:
    """Read CSV; `where` names the file in messages."""
    lines = text.split("\n")
    skip = 0
    issued: tuple[int, object] | None = None
    while skip < len(lines) and (not lines[skip].strip() or lines[skip].lstrip().startswith("#")):
        match = _ISSUED.fullmatch(lines[skip].strip())
        if match:
            issued = (skip + 1, match[1])
        skip += 1
    records = _records(lines[skip:], skip, where)
    head_line, head = next(records, (min(skip + 1, len(lines)), []))
    if not head or head[0].strip() != "time":
        found = repr(head[0]) if head else "nothing"
        raise WeatherError(
            f'{where}, line {head_line}: the first column has to be "time", found {found};'
            " the columns of a header stand between commas"
        )
    units = _headings(head[1:], f"{where}, line {head_line}")
    rows = []
    for line, cells in records:
        if len(cells) != len(head):
            raise WeatherError(f"{where}, line {line}: {len(cells)} cells where the header has {len(head)}")
        values: list[object] = [cell.strip() or None for cell in cells]
        rows.append(Row(line, values[0], dict(zip(units, values[1:], strict=True))))
    return Sheet(head_line, units, rows, issued)


def read_json_lines(text: str, where: str) -> Sheet:
    """Read JSON Lines; `where` names the file in messages."""
    objects = _objects(text, where)
    head_line, head = next(objects, (1, {}))
    place = f"{where}, line {head_line}"
    units = head.get("units")
    if not isinstance(units, dict) or set(head) - {"units", "issued_at"}:
        raise WeatherError(
            f'{place}: the first line has to hold "units", and "issued_at" where it is known, and nothing else:'
            ' {"units": {"air_temperature": "degC"}, "issued_at": "2026-06-01T06:00Z"}'
        )
    for name, unit in units.items():
        _check_name(name, place)
        if not isinstance(unit, str):
            raise WeatherError(f"{place}, column {name}: {json.dumps(unit)} is no unit; {_example(name)}")
    rows = []
    for line, cells in objects:
        for name in cells:
            if name != "time" and name not in units:
                _check_name(name, f"{where}, line {line}")
                raise WeatherError(
                    f'{where}, line {line}: {name} has no unit; name it under "units" in line {head_line}'
                )
        rows.append(Row(line, cells.get("time"), {name: cells.get(name) for name in units}))
    issued = (head_line, head["issued_at"]) if "issued_at" in head else None
    return Sheet(head_line, units, rows, issued)


def _records(lines: Sequence[str], skipped: int, where: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(lines, strict=True)
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield skipped + reader.line_num, cells
    except csv.Error as error:
        raise WeatherError(f"{where}, line {skipped + reader.line_num}: not CSV: {error}") from None


def _objects(text: str, where: str) -> Iterator[tuple[int, dict[str, object]]]:
    for number, line in enumerate(text.split("\n"), start=1):
        if not line.strip():
            continue
        try:
            # NaN is not JSON, but much software writes it; it is a value that is not known.
            value = json.loads(line, parse_constant=lambda name: None if name == "NaN" else name)
        except (ValueError, RecursionError):
            value = None
        if not isinstance(value, dict):
            raise WeatherError(f"{where}, line {number}: not a JSON object; every line has to be one, such as {{...}}")
        yield number, value


def _headings(headings: Sequence[str], place: str) -> dict[str, str]:
    units: dict[str, str] = {}
    for heading in headings:
        match = _HEADING.fullmatch(heading)
        name = match[1] if match else heading.strip()
        _check_name(name, place)
        if not match or not match[2]:
            raise WeatherError(f"{place}, column {name}: {heading.strip()!r} has no unit; {_example(name)}")
        if name in units:
            raise WeatherError(f"{place}, column {name}: it stands there twice; leave one of the two out")
        units[name] = match[2]
    if not units:
        raise WeatherError(f'{place}: no column but "time"; write one such as air_temperature [degC]')
    return units


def _check_name(name: str, place: str) -> None:
    if name not in VARIABLES:
        from difflib import get_close_matches  # noqa: PLC0415  (only where something is misspelt)

        near = get_close_matches(name, VARIABLES, n=1, cutoff=0.5)
        right = f"did you mean {near[0]}?" if near else f"known are {', '.join(VARIABLES)}"
        raise WeatherError(f"{place}: no such weather variable: {name!r}; {right}")


def _example(name: str) -> str:
    return f"write it as {name} [{VARIABLES[name].unit}], or in any unit that converts to it"
