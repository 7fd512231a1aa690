"""The record: what was put on each piece, to look at, to print and to take away as a table."""

from base64 import b64encode
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from re import DOTALL, search
from typing import Any

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response

from dryspell.answers.log_csv import csv_text
from dryspell.answers.log_record import FILM_BY, Record, totals
from dryspell.answers.log_sheet import sheet_html
from dryspell.answers.log_words import change_text, told_of
from dryspell.outlook.coat_log import Row
from dryspell.outlook.coat_words import advice_text, deviations, met_lines, spoilt_text, thinner_text
from dryspell.outlook.figures import quantity, when
from dryspell.outlook.states import State
from dryspell.web.notices import notice_of
from dryspell.web.shell import Shell, View

NOTHING_MORE = "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"


@dataclass(frozen=True)
class Entry:
    """A coat of the record, for people."""

    number: int
    at: str
    instant: str
    who: str
    spoilt: str
    in_short: str
    facts: tuple[tuple[str, str], ...]
    met: tuple[str, ...]
    deviations: tuple[str, ...]
    is_top: bool


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""

    async def record_list(request: Request) -> Response:
        return await shell.page(request, "record_list.html", _pieces)

    async def record(request: Request) -> Response:
        piece = piece_of(request, shell)
        wanted, notice = number_of(request), notice_of(request, shell.config)

        def fill(view: View) -> dict[str, Any]:
            return _filled(view, piece, wanted) | {"notice": notice}

        return await shell.page(request, "record.html", fill, args=(wanted, notice))

    async def table(request: Request) -> Response:
        piece = piece_of(request, shell)
        view = shell.view(request)
        history = request.query_params.get("history") == "yes"
        text = await run_in_threadpool(lambda: csv_text([shell.desk.record_of(piece, view.units)], history=history))
        named = {"Content-Disposition": f'attachment; filename="coats-{_plain(piece)}.csv"'}
        return Response(text, media_type="text/csv; charset=utf-8", headers=named)

    async def sheet(request: Request) -> Response:
        piece = piece_of(request, shell)
        view = shell.view(request)
        html = await run_in_threadpool(lambda: sheet_html(shell.desk.record_of(piece, view.units)))
        return Response(html, media_type="text/html; charset=utf-8", headers={"Content-Security-Policy": _policy(html)})

    return [
        ("/record", ["GET"], record_list),
        ("/record/{piece}", ["GET"], record),
        ("/record/{piece}/coats.csv", ["GET"], table),
        ("/record/{piece}/sheet", ["GET"], sheet),
    ]


def piece_of(request: Request, shell: Shell) -> str:
    """Return the key of the piece that an address names; there is nothing at one that names none."""
    piece = str(request.path_params["piece"])
    if piece not in shell.config.piece:
        raise HTTPException(404)
    return piece


def number_of(request: Request) -> int | None:
    """Return the number of a coat that an address names, None where it names none."""
    text = request.query_params.get("coat", "")
    return int(text) if text.isascii() and text.isdigit() and len(text) < 4 else None


def _pieces(view: View) -> dict[str, Any]:
    records = [view.desk.record_of(key, view.units) for key in view.config.piece]
    return {
        "rows": [
            {
                "key": record.piece.key,
                "name": record.piece.name,
                "site": record.site.name,
                "on": record.log.on,
                "coats": max(record.coats, record.log.on),
                "state": record.state if record.state != State.UNKNOWN else "",
                "last": when(record.laid[-1].finished_at, record.zone, record.now) if record.laid else "",
            }
            for record in records
        ]
    }


def _filled(view: View, piece: str, wanted: int | None) -> dict[str, Any]:
    record = view.desk.record_of(piece, view.units)
    outlook = view.known.outlook(piece) if view.known else None
    next_coat = view.desk.next_number(piece)
    lay = record.config.lay_of(record.piece, next_coat)
    return {
        "record": record,
        "is_known": record.state != State.UNKNOWN,
        "entries": list(_entries(record)),
        "totals": totals(record.log, view.units),
        "history": list(_history(record)),
        "next_coat": next_coat,
        "is_beyond": next_coat > record.coats,
        "wanted": wanted,
        "two_parts": next_coat <= record.coats and lay.coating.pot_life is not None,
        "pot": outlook.pot if outlook else None,
        "credits": [f"Weather: {credit}." for credit in record.credits],
    }


def _entries(record: Record) -> Iterator[Entry]:
    """Yield the coats, the last one first."""
    units = record.units
    for row in reversed(record.log.rows):
        coat = row.coat
        yield Entry(
            number=coat.number,
            at=when(coat.finished_at, record.zone, record.now),
            instant=coat.finished_at.isoformat(),
            who=coat.who,
            spoilt=spoilt_text(coat) if coat.spoilt else "",
            in_short=", ".join(filter(None, [thinner_text(coat.thinner_parts), *told_of(row, record)][:2])),
            facts=tuple(_facts(row, record)),
            met=tuple(met_lines(coat.met, record.zone, record.now, units, assumed=coat.began_at is None)),
            deviations=tuple(deviations(row, units)),
            is_top=coat.id == record.laid[-1].id,
        )


def _facts(row: Row, record: Record) -> Iterator[tuple[str, str]]:
    coat, units, zone, now = row.coat, record.units, record.zone, record.now
    yield "Last stroke", when(coat.finished_at, zone, now)
    if coat.began_at:
        yield "First stroke", when(coat.began_at, zone, now)
    if coat.who:
        yield "Put on by", coat.who
    yield "Coating", row.coating.label
    yield "Thinner", thinner_text(coat.thinner_parts)
    yield "Wet film", ", ".join(filter(None, [quantity(row.wet_film_um, "um", units), FILM_BY[row.film_by]]))
    if row.dry_film_um is not None:
        yield "Dry film", f"about {quantity(row.dry_film_um, 'um', units)}"
    if row.full_number:
        yield "Full coat", f"number {row.full_number}"
    if coat.sandable_at:
        yield "Seen to be sandable", when(coat.sandable_at, zone, now)
    if more := "; ".join(told_of(row, record)):
        yield "Told", more
    if coat.advice:
        yield "Begun under", advice_text(coat.advice)
    yield "Recorded", when(coat.recorded_at, zone, now)


def _history(record: Record) -> Iterator[tuple[str, list[str]]]:
    for version in record.versions:
        coat = version.coat
        last, recorded = (when(at, record.zone, record.now) for at in (coat.finished_at, coat.recorded_at))
        text = (
            f"Coat {coat.number}, last stroke {last}, recorded {recorded}{'' if version.stands else ', stands no more'}"
        )
        yield text, [change_text(change, version, record) for change in version.changes]


def _plain(key: str) -> str:
    return "".join(letter if letter.isascii() and (letter.isalnum() or letter in "_-") else "-" for letter in key)


def _policy(html: str) -> str:
    """Return a policy that lets the one style of a sheet be, and nothing else."""
    style = search("<style>(.*?)</style>", html, DOTALL)
    digest = b64encode(sha256((style[1] if style else "").encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
