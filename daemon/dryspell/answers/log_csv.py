"""The coating record as CSV (RFC 4180): a row a coat, the unit of every figure in its heading."""

import csv
import io
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from dryspell.answers.log_record import FILM_BY, Record
from dryspell.outlook.coat_log import Row
from dryspell.outlook.coat_words import advice_text, deviations
from dryspell.outlook.met_model import NOTHING, Figure, Met
from dryspell.store.coats import Version

Cell = str | float | int | None

_FIGURES = {
    "air_temperature [degC]": "air_c",
    "surface_temperature [degC]": "surface_c",
    "relative_humidity [percent]": "humidity_pct",
    "dew_point_temperature [degC]": "dew_point_c",
    "margin [K]": "margin_k",
    "wind_speed [m/s]": "wind_m_s",
}
# A cell that a spreadsheet would take for a formula (OWASP ASVS 5.0, 1.2.10), also where it splits the line at
# semicolons or tabs, as some do by the language they are set to.
_FORMULA = re.compile(r"(^|[;,\t\r\n\0])(\s*)(?=[=+\-@\uFF1D\uFF0B\uFF0D\uFF20\t\r\0])")


def csv_text(records: Iterable[Record], *, history: bool) -> str:
    """Return the record of some pieces as CSV.

    Parameters
    ----------
    history
        With the coats that were corrected or taken back.
    """
    out = io.StringIO()
    rows = [cells for record in records for cells in _cells(record, history=history)]
    writer = csv.writer(out)
    writer.writerow(_HEADINGS)
    writer.writerows([harmless(cells[heading]) for heading in _HEADINGS] for cells in rows)
    return out.getvalue()


def _cells(record: Record, *, history: bool) -> Iterable[Mapping[str, Cell]]:
    standing = {row.coat.id: row for row in record.log.rows}
    for version in sorted(record.versions, key=lambda version: version.coat.finished_at):
        row = standing.get(version.coat.id)
        if row is not None:
            yield _of_row(row, version, record)
        elif history:
            yield {**_of_row(record.reckoned([version.coat]).rows[0], version, record), "full_coat": None}


def _of_row(row: Row, version: Version, record: Record) -> Mapping[str, Cell]:
    coat, met = row.coat, row.coat.met
    told = {heading: getattr(met.told, name) if met else None for heading, name in _FIGURES.items()}
    last = version.changes[-1] if version.changes else None
    return {
        "piece": record.piece.key,
        "name": record.piece.name,
        "site": record.site.name,
        "timezone": record.zone.key,
        "coat": coat.number,
        "full_coat": row.full_number,
        "status": _status(version, row),
        "mixed": _local(coat.mixed_at, record),
        "first_stroke": _local(coat.began_at, record),
        "last_stroke": _local(coat.finished_at, record),
        "who": coat.who,
        "coating": row.coating.label,
        "batch": coat.batch,
        "abrasive": coat.abrasive,
        "thinner [parts to 100]": coat.thinner_parts,
        "thinner_planned [parts to 100]": row.lay.thinner_parts,
        "wet_film [um]": round(row.wet_film_um, 1),
        "wet_film_is": FILM_BY[row.film_by],
        "dry_film [um]": None if row.dry_film_um is None else round(row.dry_film_um, 1),
        "used [L]": coat.litres,
        **{heading: _value(figure) for heading, figure in told.items()},
        **{f"{heading.partition(' ')[0]}_is": figure.known if figure else None for heading, figure in told.items()},
        **_worst(met),
        "advice": advice_text(coat.advice) if coat.advice else None,
        "deviations": ". ".join(deviations(row, "metric")),
        "photo": coat.photo,
        "note": coat.note,
        "recorded": _local(coat.recorded_at, record),
        "changed": _local(last.at, record) if last else None,
        "changed_by": last.who if last else "",
    }


def _worst(met: Met | None) -> Mapping[str, Cell]:
    least, most = (met.least, met.most) if met else (NOTHING, NOTHING)
    return {
        "least_margin [K]": _value(least.margin_k),
        "most_relative_humidity [percent]": _value(most.humidity_pct),
        "most_wind_speed [m/s]": _value(most.wind_m_s),
    }


def _value(figure: Figure | None) -> float | None:
    return None if figure is None else figure.value


def _status(version: Version, row: Row) -> str:
    ended = [change.what for change in version.changes if change.what in ("undone", "corrected")]
    if ended:
        return {"undone": "taken back", "corrected": "corrected"}[ended[-1]]
    return f"spoilt: {row.coat.spoilt}" if row.coat.spoilt else "counts"


def _local(at: datetime | None, record: Record) -> str:
    return "" if at is None else f"{at.astimezone(record.zone):%Y-%m-%d %H:%M}"


def harmless(cell: Cell) -> Cell:
    """Return a cell that no spreadsheet takes for a formula; numbers stay numbers."""
    return _FORMULA.sub(r"\1'\2", cell) if isinstance(cell, str) else cell


_HEADINGS: Sequence[str] = (
    "piece", "name", "site", "timezone", "coat", "full_coat", "status", "mixed", "first_stroke", "last_stroke", "who",
    "coating", "batch", "abrasive", "thinner [parts to 100]", "thinner_planned [parts to 100]", "wet_film [um]",
    "wet_film_is", "dry_film [um]", "used [L]",
    *(name for heading in _FIGURES for name in (heading, f"{heading.partition(' ')[0]}_is")),
    "least_margin [K]", "most_relative_humidity [percent]", "most_wind_speed [m/s]", "advice", "deviations", "photo",
    "note", "recorded", "changed", "changed_by",
)  # fmt: skip
