"""The coating record on a terminal of 80 columns."""

import textwrap
from collections.abc import Iterator, Sequence

from dryspell.answers.log_record import FILM_BY, FILM_MARK, Record, totals
from dryspell.answers.log_words import change_text, told_of
from dryspell.cli.paint import Paint
from dryspell.cli.show import heading
from dryspell.outlook.coat_log import Row
from dryspell.outlook.coat_words import KNOWN, deviations, spoilt_text
from dryspell.outlook.figures import Units, quantity, when
from dryspell.outlook.met_model import Figure

WIDTH = 80
_INDENT = " " * 11
_WHO = 7


def log_text(records: Sequence[Record], paint: Paint, *, history: bool) -> str:
    """Return the record of some pieces as text."""
    lines = list[str]()
    for record in records:
        lines += [*([""] if lines else []), *_piece(record, paint, history=history)]
    if any(record.log.rows for record in records):
        lines += ["", *_legend(records, paint)]
    return "\n".join(line.rstrip() for line in lines)


def _piece(record: Record, paint: Paint, *, history: bool) -> Iterator[str]:
    count = f"{record.log.on} of {max(record.coats, record.log.on)} coats on: {record.state}"
    yield from heading(f"{record.piece.name}, {record.site.name}", count, paint)
    if record.log.rows:
        yield paint(_head(record.units), "aside")
    label = ""
    for row in record.log.rows:
        yield _row(row, record)
        told = ([row.coating.label] if row.coating.label != label else []) + list(told_of(row, record))
        yield from _wrapped("; ".join(told), _INDENT)
        label = row.coating.label
        for text in deviations(row, record.units):
            yield from _wrapped(f"! {text}", _INDENT, hanging=2)
    yield from _wrapped(totals(record.log, record.units), "")
    if history and record.versions:
        yield from _history(record)


def _head(units: Units) -> str:
    film, degree = ("mil", "°F") if units == "us" else ("µm", "°C")
    margin = "°F" if units == "us" else "K"
    return (
        f"{'coat':>4} {'full':>4}  {'last stroke':<16} {'thinner':>7} {'wet ' + film:>7} {'dry':>4} "
        f"{'air ' + degree:>7} {'RH %':>5} {'margin ' + margin:>8}  who"
    )


def _row(row: Row, record: Record) -> str:
    coat, units = row.coat, record.units
    told = coat.met.told if coat.met else None
    parts = "?" if coat.thinner_parts is None else f"{coat.thinner_parts:g}"
    full = "-" if coat.spoilt or coat.thinner_parts is None else row.full_number or "-"
    wet = f"{_number(row.wet_film_um, 'um', units)}{FILM_MARK[row.film_by]}"
    dry = "-" if row.dry_film_um is None else _number(row.dry_film_um, "um", units)
    at = f"{coat.finished_at.astimezone(record.zone):%Y-%m-%d %H:%M}"
    air, humidity, margin = (
        _marked(getattr(told, name, None), unit, units)
        for name, unit in (("air_c", "degC"), ("humidity_pct", "%"), ("margin_k", "K"))
    )
    return f"{coat.number:>4} {full:>4}  {at:<16} {parts:>7} {wet:>7} {dry:>4} {air:>7} {humidity:>5} {margin:>8}  " + (
        coat.who if len(coat.who) <= _WHO else f"{coat.who[: _WHO - 1].rstrip()}…"
    )


def _number(value: float, unit: str, units: Units) -> str:
    """Return a figure without its unit, which stands over the column."""
    return quantity(value, unit, units).partition(" ")[0]


def _marked(figure: Figure | None, unit: str, units: Units) -> str:
    return "?" if figure is None else f"{_number(figure.value, unit, units)}{figure.known[0]}"


def _history(record: Record) -> Iterator[str]:
    yield ""
    yield "History"
    for version in record.versions:
        coat = version.coat
        at = when(coat.finished_at, record.zone, record.now)
        told = f"Coat {coat.number}, last stroke {at}, recorded {when(coat.recorded_at, record.zone, record.now)}"
        told += ": stands" * version.stands + f", {spoilt_text(coat)}" * (version.stands and coat.spoilt != "")
        yield from _wrapped(told, "  ", hanging=2)
        for change in version.changes:
            yield from _wrapped(change_text(change, version, record), "    ", hanging=2)


def _legend(records: Sequence[Record], paint: Paint) -> Iterator[str]:
    rows = [row for record in records for row in record.log.rows]
    tolds = [row.coat.met.told for row in rows if row.coat.met]
    used = {f.known for told in tolds for f in (told.air_c, told.humidity_pct, told.margin_k) if f}
    said = [f"{known[0]} {text}" for known, text in KNOWN.items() if known in used]
    said += [f"{FILM_MARK[by]} {FILM_BY[by]}" for by in ("litres", "plan") if any(row.film_by == by for row in rows)]
    text = ", ".join(
        [*said, "? not known", "thinner in parts to 100", "air, RH and margin by hand or at the first stroke"]
    )
    sources = dict.fromkeys(credit for record in records for credit in record.credits)
    for line in (f"{text}.", *(f"Weather: {credit}." for credit in sources)):
        yield from (paint(part, "aside") for part in _wrapped(line, ""))


def _wrapped(text: str, indent: str, hanging: int = 0) -> list[str]:
    after = indent + " " * hanging
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=after, break_on_hyphens=False)
