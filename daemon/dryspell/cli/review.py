"""`dryspell review`: how often verdicts and odds were right here."""

from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path

import click

from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.pieces import pieces_of
from dryspell.config import load

NOTHING_YET = 1
"""Exit code with --exit-code when there is nothing to review."""
EPILOG = """\b
Example:
  dryspell review toe_rail --days 60

\b
The daemon keeps once an hour what it says of the weather now and up to five
days ahead. Each start is judged again in the weather that came: readings of
your sensors first, else the hours of the forecasts themselves once they were
past. Only starts in working hours count, and only their weather: not whether
the coat underneath was ready."""


@click.command(epilog=EPILOG)
@click.argument("piece", required=False, metavar="[PIECE]")
@click.option(
    "--days", type=click.IntRange(min=1), default=400, metavar="N", show_default=True, help="How far back to go."
)
@click.option("--exit-code", "with_exit_code", is_flag=True, help="Exit with 1 when there is nothing to review yet.")
@colour_option
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece: str | None,
    days: int,
    with_exit_code: bool,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Tell how often verdicts and odds were right at your place."""
    from dryspell.answers.review import review_document, reviewed  # noqa: PLC0415  (what --help does without)
    from dryspell.cli.paint import Paint  # noqa: PLC0415
    from dryspell.cli.review_show import review_text  # noqa: PLC0415
    from dryspell.store.store import open_store  # noqa: PLC0415  (what --help does without)

    config = load(config_path, secrets=False)
    pieces = pieces_of(config, piece)
    at = clock_at(now).now()
    with closing(open_store(config.state_dir)) as store:
        found = {key: reviewed(config, store, each, at - timedelta(days=days), at) for key, each in pieces.items()}
    names = {key: each.name for key, each in pieces.items()}
    if as_json:
        click.echo(review_document(found, names, at, days).text())
    else:
        painted = in_colour(colour)
        click.echo(review_text(found, names, Paint(painted)), color=painted)
    if with_exit_code and not any(each.came.size for each in found.values()):
        ctx.exit(NOTHING_YET)
