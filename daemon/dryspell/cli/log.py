"""`dryspell log`: the coating record, on the terminal, for a spreadsheet, for a program, or as a page for a client."""

from collections.abc import Iterator
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.pieces import pieces_of
from dryspell.clock import Clock
from dryspell.config import Config, load
from dryspell.errors import CoatError
from dryspell.trade.piece import Piece

if TYPE_CHECKING:
    from dryspell.answers.log_record import Record
    from dryspell.store import Store

EPILOG = """\b
Examples:
  dryspell log
  dryspell log toe_rail --history
  dryspell log --csv > coats.csv
  dryspell log toe_rail --sheet toe_rail.html

\b
Without PIECE all pieces are shown. The page of --sheet is for a client: one
file with nothing from elsewhere, to print or to send. The notes stand in it;
look it over before it leaves your hands."""


@click.command(epilog=EPILOG)
@click.argument("piece_key", required=False, metavar="[PIECE]")
@click.option("--history", is_flag=True, help="With what was corrected or taken back, and when.")
@click.option("--csv", "as_csv", is_flag=True, help="A row a coat, for a spreadsheet.")
@click.option(
    "--sheet",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.html",
    help="Write a page to print for a client.",
)
@colour_option
@shared_options
def command(
    *,
    piece_key: str | None,
    history: bool,
    as_csv: bool,
    sheet: Path | None,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Show what was put on, when, in what weather, and the film it makes."""
    if as_csv + as_json + (sheet is not None) > 1:
        raise click.UsageError("--csv, --json and --sheet are three forms of the record; wanted one of them")
    if history and sheet is not None:
        raise click.UsageError("--sheet shows what stands; --history goes with the table, --csv and --json")
    config = load(config_path, secrets=False)
    pieces = list(pieces_of(config, piece_key).values())
    clock = clock_at(now)
    if sheet is not None and len(pieces) > 1:
        raise CoatError(f"a sheet is of one piece; name one of {', '.join(config.piece)}")
    records = list(_records(config, pieces, clock, with_state=not as_csv))
    if as_csv:
        from dryspell.answers.log_csv import csv_text  # noqa: PLC0415  (with the others: what --help does without)

        click.echo(csv_text(records, history=history), nl=False)
    elif as_json:
        from dryspell.answers.log_document import log_document  # noqa: PLC0415

        click.echo(log_document(records, clock.now(), history=history).text())
    elif sheet is not None:
        from dryspell.answers.log_sheet import sheet_html  # noqa: PLC0415

        _write(sheet, sheet_html(records[0]))
        click.echo(f"{sheet} is written. Look it over before it leaves your hands.")
    else:
        from dryspell.cli.log_text import log_text  # noqa: PLC0415
        from dryspell.cli.paint import Paint  # noqa: PLC0415

        painted = in_colour(colour)
        click.echo(log_text(records, Paint(painted), history=history), color=painted)


def _records(config: Config, pieces: list[Piece], clock: Clock, *, with_state: bool) -> Iterator["Record"]:
    from dryspell.answers.log_record import Record  # noqa: PLC0415  (what --help does without)
    from dryspell.store.store import open_store  # noqa: PLC0415

    with closing(open_store(config.state_dir)) as store:
        for piece in pieces:
            state = _state(config, piece, store, clock) if with_state else ""
            yield Record(config, piece, store.laid(piece.key), store.versions(piece.key), clock.now(), state)


def _state(config: Config, piece: Piece, store: "Store", clock: Clock) -> str:
    """Return how far a piece is by the weather that is known here."""
    from dryspell.answers.coat_weather import outlook_here, weather_here  # noqa: PLC0415  (what --help does without)
    from dryspell.outlook.states import state_of  # noqa: PLC0415
    from dryspell.tick.learned import learned  # noqa: PLC0415

    table = weather_here(config, piece, store, clock)
    outlook = outlook_here(learned(config, store.progress_seen()), piece, store, table, clock.now())
    return state_of(outlook, clock.now()).value


def _write(file: Path, text: str) -> None:
    """Write a file whole or not at all."""
    new = file.with_name(f".{file.name}.new")
    try:
        new.write_text(text, "utf-8")
        new.replace(file)
    except OSError as error:
        raise CoatError(f"{file} cannot be written ({error.strerror}); name a file in a folder of yours") from None
