"""Weather out of a table file that somebody wrote: measurements, a forecast from elsewhere, an invented scenario."""

from collections.abc import Callable, Mapping
from datetime import UTC, date, datetime, tzinfo
from pathlib import Path

import numpy as np

from dryspell.errors import WeatherError
from dryspell.units import convert
from dryspell.weather.checks import Columns, as_datetime, as_instant, disagreement, gaps, in_order, within_bounds
from dryspell.weather.sources.sheet import Row, Sheet, read_csv, read_json_lines
from dryspell.weather.table import VARIABLES, WeatherTable

_READERS: Mapping[str, Callable[[str, str], Sheet]] = {
    ".csv": read_csv,
    ".jsonl": read_json_lines,
    ".ndjson": read_json_lines,
}


class TableFile:
    """A weather table on disk.

    Both forms hold one row a time, with CF standard names for the columns and any unit that converts. Times are ISO
    8601 with an offset or Z. Sums, means and maxima are over the step that ends at the time. An empty cell, null or NaN
    is a value that is not known.

    CSV (`.csv`, UTF-8, commas)::

        # issued 2026-06-01T06:00Z
        time,air_temperature [degF],relative_humidity [percent]
        2026-06-01T08:00+02:00,61.5,80

    Lines before the header that begin with `#` are comments; one of them may say when the table was issued.

    JSON Lines (`.jsonl` or `.ndjson`, UTF-8): the first line is an object with the units by name under "units", and the
    instant of issue under "issued_at" where it is known; each further line is an object with "time" and values by
    name, where a name left out is a value that is not known::

        {"units": {"air_temperature": "degF", "relative_humidity": "percent"}, "issued_at": "2026-06-01T06:00Z"}
        {"time": "2026-06-01T08:00+02:00", "air_temperature": 61.5, "relative_humidity": 80}

    A file that does not say when it was issued counts from when it was last changed.

    Parameters
    ----------
    path
        The file; how its name ends tells the form.
    shift_to
        Move the whole table by whole days, so that its first local day becomes this one. Its `issued_at` is then the
        `now` of each fetch. Whole days are 24 h each: the hours keep their place under the sun, and where the clocks
        change in between, the local hours move by one.
    zone
        Where the local days of `shift_to` are counted.
    """

    attribution = ""

    def __init__(self, path: Path, *, shift_to: date | None = None, zone: tzinfo = UTC) -> None:
        self.path = path
        self.name = path.name
        self._shift_to = shift_to.astimezone(zone).date() if isinstance(shift_to, datetime) else shift_to
        self._zone = zone

    def fetch(self, now: datetime) -> WeatherTable:
        """Read the file.

        Raises
        ------
        WeatherError
            The file cannot be read; the message names file, line, column and value, and what would be right.
        """
        where = str(self.path)
        sheet = self._sheet(where)
        times = np.array([_instant(row.time, f"{where}, line {row.line}") for row in sheet.rows], dtype="datetime64[s]")
        times, columns, notes = in_order(times, _columns(sheet, where))
        if times.size < 2:
            raise WeatherError(f"{where}: weather at {times.size} time(s); two at the least are needed")
        columns, bound_notes = within_bounds(columns)
        notes += (*gaps(times), *bound_notes, *disagreement(columns))
        if self._shift_to is None:
            return WeatherTable(times, columns, self.name, self._issued_at(sheet, where), self.attribution, notes)
        days = self._shift_to - as_datetime(times[0]).astimezone(self._zone).date()
        moved = times + np.timedelta64(days.days, "D")
        return WeatherTable(moved, columns, self.name, now.astimezone(UTC), self.attribution, notes)

    def _sheet(self, where: str) -> Sheet:
        reader = _READERS.get(self.path.suffix.lower())
        if reader is None:
            raise WeatherError(f"{where}: the name of a weather table has to end in {', '.join(_READERS)}")
        try:
            return reader(self.path.read_text("utf-8-sig"), where)
        except OSError as error:
            raise WeatherError(f"{where} cannot be read: {error.strerror}") from None
        except UnicodeDecodeError:
            raise WeatherError(f"{where} is not UTF-8 text; save it in that encoding") from None

    def _issued_at(self, sheet: Sheet, where: str) -> datetime:
        if sheet.issued is None:
            return datetime.fromtimestamp(self.path.stat().st_mtime, UTC)
        line, written = sheet.issued
        return as_datetime(_instant(written, f"{where}, line {line}, issued"))


def _instant(written: object, place: str) -> np.datetime64:
    right = "write one such as 2026-06-01T08:00Z or 2026-06-01T08:00+02:00"
    if written is None:
        raise WeatherError(f"{place}: the time is missing; {right}")
    try:
        moment = datetime.fromisoformat(str(written))
        if moment.tzinfo is None:
            raise WeatherError(f"{place}: the time {written} has no offset from UTC; {right}")
        return as_instant(moment)
    except (ValueError, OverflowError):
        raise WeatherError(f"{place}: {written!r} is not a time; {right}") from None


def _columns(sheet: Sheet, where: str) -> Columns:
    columns: Columns = {}
    for name, unit in sheet.units.items():
        try:
            convert(0.0, unit, VARIABLES[name].unit)
        except ValueError as error:
            raise WeatherError(f"{where}, line {sheet.head_line}, column {name}: [{unit}] {error}") from None
        values = [_value(row, name, unit, where) for row in sheet.rows]
        columns[name] = np.array([values], dtype=np.float64)
    return columns


def _value(row: Row, name: str, unit: str, where: str) -> float:
    cell = row.cells[name]
    if cell is None or (isinstance(cell, str) and cell.lower() in {"nan", "null"}):
        return np.nan
    try:
        if isinstance(cell, bool) or not isinstance(cell, str | int | float):
            raise ValueError("is not a number")  # noqa: TRY301, TRY004  (one message for all that is no number)
        return convert(float(cell), unit, VARIABLES[name].unit)
    except (ValueError, OverflowError):
        right = "write one such as 12.5, or leave it empty where it is not known"
        raise WeatherError(f"{where}, line {row.line}, column {name}: {cell!r} is not a number; {right}") from None
