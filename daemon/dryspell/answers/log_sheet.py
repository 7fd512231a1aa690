"""The coating record of a piece as a page for its owner."""

from collections.abc import Callable, Iterator
from html import escape
from pathlib import PurePath

from dryspell.answers.log_record import FILM_BY, FILM_MARK, Record, totals
from dryspell.answers.sheet_page import NUMBER, TEXT, WORD, Line, aside, bullets, facts, mark, page, table
from dryspell.outlook.coat_log import Row
from dryspell.outlook.coat_words import KNOWN, NAMES, deviations, thinner_text
from dryspell.outlook.figures import quantity, weekday_date
from dryspell.outlook.met_model import Figure, Met

CARE = (
    "For its first week spare the film: nothing heavy on it, no tape, no cover lying on it, no standing water.",
    "For four weeks wash it with clean water only: no cleaner, no polish, no pressure washer.",
    "Have chips and scratches touched up within days, before water gets under the film.",
    "Have it looked over once a season, and coated again before the film is dull or thin.",
)
"""Care of a new film (common practice, no source)."""
DEFERS = "The data sheet of the coating goes before all of this, and so does the word of whoever put it on."
NO_CLAIM = (
    "This record is what was written down by those who did the work, with the weather as it was known when they did. "
    "It claims no conformity with any standard, and promises nothing of how the film will last."
)

_TO = "→"
_NONE = "–"


def sheet_html(record: Record) -> str:
    """Return the page of a piece."""
    local = record.now.astimezone(record.zone)
    body = [
        f"<h1>{escape(record.piece.name)}</h1>",
        aside(f"Coating record, {weekday_date(local.date())} {local.year}"),
        _summary(record),
        *(part(record) for part in (_coats, _weather, _not_as_planned) if record.log.rows),
        f'<section class="keep"><h2>Care</h2>{bullets(CARE)}<p>{escape(DEFERS)}</p>{aside(NO_CLAIM)}</section>',
    ]
    return page(f"Coating record: {record.piece.name}", body)


def _summary(record: Record) -> str:
    log = record.log
    return facts(
        (
            ("Where", record.site.name),
            ("Build-up", f"{record.build_up}, {record.coats} coats planned"),
            ("So far", totals(log, record.units)),
            ("State", f"{record.state} (an estimate)"),
            ("Put on by", ", ".join(dict.fromkeys(row.coat.who for row in log.rows if row.coat.who))),
        )
    )


def _coats(record: Record) -> str:
    film = _unit("um", record)
    columns = (
        ("Coat", NUMBER), ("Full coat", NUMBER), ("Last stroke", WORD), ("Coating, batch", TEXT), ("Thinner", WORD),
        ("Sanded before", WORD), (f"Wet film {film}", NUMBER), (f"Dry film {film}", NUMBER), ("Put on by", WORD),
        ("Notes", TEXT),
    )  # fmt: skip
    rows = record.log.rows
    above = [None, *rows[:-1]]
    lines = [Line(_coat(row, over, record), off=row.coat.spoilt != "") for over, row in zip(above, rows, strict=True)]
    marks = [f"{FILM_MARK[by]} {FILM_BY[by]}" for by in ("litres", "plan") if any(row.film_by == by for row in rows)]
    said = f"Wet film without a mark: {FILM_BY['gauge']}; {'; '.join(marks)}." if marks else ""
    return f"<h2>The coats</h2>{table(columns, lines)}{aside(said) if said else ''}"


def _coat(row: Row, above: Row | None, record: Record) -> list[str]:
    coat = row.coat
    label = row.coating.label if above is None or above.coating.key != row.coating.key else ""
    full = str(row.full_number or "no") if coat.thinner_parts is not None else "not told"
    notes = [coat.note, f"Picture: {PurePath(coat.photo).name}" if coat.photo else ""]
    return [
        str(coat.number),
        "spoilt" if coat.spoilt else full,
        f"{coat.finished_at.astimezone(record.zone):%Y-%m-%d %H:%M}",
        _lines(label, f"batch {coat.batch}" if coat.batch else ""),
        escape(thinner_text(coat.thinner_parts)),
        escape({"": "not told", "none": "no"}.get(coat.abrasive, coat.abrasive)),
        _number(row.wet_film_um, "um", record) + mark(FILM_MARK[row.film_by]),
        _NONE if row.dry_film_um is None else _number(row.dry_film_um, "um", record),
        escape(coat.who),
        _lines(*notes),
    ]


def _weather(record: Record) -> str:
    columns = [("Coat", NUMBER), ("When", WORD)]
    columns += [(f"{name[:1].upper()}{name[1:]} {_unit(unit, record)}", NUMBER) for name, unit in NAMES.values()]
    rows = record.log.rows
    lines = [
        Line([str(row.coat.number) if k == 0 else "", *cells], same=k > 0, off=row.coat.spoilt != "")
        for row in rows
        for k, cells in enumerate(_of_coat(row, record))
    ]
    used = {figure.known for row in rows if row.coat.met for figure in _figures(row.coat.met)}
    said = "; ".join(f"{known[0]} {text}" for known, text in KNOWN.items() if known in used)
    notes = [f"How each figure is known: {said}. Only h and s are measured." if said else ""]
    notes[0] += f" {_NONE} is not known. An arrow goes from the first stroke to the last."
    notes += [f"Sensors: {', '.join(record.sensors)}."] if record.sensors else []
    notes += [f"Forecast: {credit}." for credit in record.credits]
    text = "".join(aside(note.strip()) for note in notes)
    return f"<h2>The weather they were put on in</h2>{table(columns, lines)}{text}"


def _figures(met: Met) -> Iterator[Figure]:
    for part in (met.by_hand, met.start, met.end, met.least, met.most):
        yield from (figure for name in NAMES if (figure := getattr(part, name)))


def _of_coat(row: Row, record: Record) -> Iterator[list[str]]:
    """Yield the lines of a coat: measured by hand, from the first stroke to the last, and what went beyond those."""
    met = row.coat.met
    if met is None or not met.is_known:
        yield ["not known", *[_NONE] * len(NAMES)]
        return
    if any(figure.known == "hand" for figure in _figures(met)):
        yield ["measured by hand", *(_cell(getattr(met.by_hand, name), name, record) for name in NAMES)]
    began, finished = (at.astimezone(record.zone) for at in (met.began_at, row.coat.finished_at))
    about = "" if row.coat.began_at else "about "
    yield [f"{about}{began:%H:%M} {_TO} {finished:%H:%M}", *(_from_to(met, name, record) for name in NAMES)]
    if any(beyond := [_beyond(met, name, record) for name in NAMES]):
        yield ["in between", *beyond]


def _from_to(met: Met, name: str, record: Record) -> str:
    first, last = getattr(met.start, name), getattr(met.end, name)
    if first is None and last is None:
        return _NONE
    if first is None or last is None or first.known != last.known:
        return f"{_cell(first, name, record)} {_TO} {_cell(last, name, record)}"
    ends = dict.fromkeys(_number(figure.value, NAMES[name][1], record) for figure in (first, last))
    return f" {_TO} ".join(ends) + mark(last.known[0])


def _beyond(met: Met, name: str, record: Record) -> str:
    """Return what was less or more between the first stroke and the last than at both; empty for nothing."""
    ends = [figure.value for figure in (getattr(met.start, name), getattr(met.end, name)) if figure is not None]
    ways: tuple[tuple[Figure | None, Callable[[list[float]], float]], ...] = (
        (getattr(met.least, name), min),
        (getattr(met.most, name), max),
    )
    said = [
        _cell(figure, name, record)
        for figure, outer in ways
        if figure is not None and ends and outer([figure.value, *ends]) != outer(ends)
    ]
    shown = {_cell(getattr(end, name), name, record) for end in (met.start, met.end)}
    return ", ".join(cell for cell in said if cell not in shown)


def _cell(figure: Figure | None, name: str, record: Record) -> str:
    return _NONE if figure is None else _number(figure.value, NAMES[name][1], record) + mark(figure.known[0])


def _not_as_planned(record: Record) -> str:
    said = [f"Coat {row.coat.number}: {text}." for row in record.log.rows for text in deviations(row, record.units)]
    listed = bullets(said) if said else "<p>Nothing that is known of.</p>"
    return f"<section><h2>What was not as planned, or not as the figures of the coating ask</h2>{listed}</section>"


def _number(value: float, unit: str, record: Record) -> str:
    """Return a figure without its unit, which stands over the column."""
    return quantity(value, unit, record.units).partition(" ")[0].replace("-", "\N{MINUS SIGN}")


def _unit(unit: str, record: Record) -> str:
    return quantity(0.0, unit, record.units).partition(" ")[2]


def _lines(*texts: str) -> str:
    return "<br>".join(escape(text) for text in texts if text)
