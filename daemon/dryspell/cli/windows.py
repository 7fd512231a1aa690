"""`dryspell windows`: every window ahead for the next coat, and why the rest is not one."""

import logging
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

import click

from dryspell.cli.options import clock_at, colour_option, exit_code_option, in_colour, shared_options
from dryspell.cli.pieces import pieces_of
from dryspell.clock import Clock
from dryspell.config import Config, load
from dryspell.outlook.model import Outlook

FETCH_WAIT_S = 60.0
NOT_NOW = 1
"""Exit code with --exit-code when nothing asked about can be coated now."""

EPILOG = """\b
Example:
  dryspell windows toe_rail

\b
Without PIECE all pieces are shown, a line a day. With PIECE every window and
every span between follow in words, with their numbers."""


@click.command(epilog=EPILOG)
@click.argument("piece", required=False, metavar="[PIECE]")
@click.option("--details/--no-details", default=None, help="Every start in words. [default: only with PIECE]")
@exit_code_option
@colour_option
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece: str | None,
    details: bool | None,
    with_exit_code: bool,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Show every window ahead for the next coat, and why the rest is not one."""
    config = load(config_path, secrets=False)
    outlooks = _of(piece, config, outlooks_now(config, clock_at(now)))
    if as_json:
        click.echo(document_text(config, outlooks))
    else:
        painted = in_colour(colour)
        full = piece is not None if details is None else details
        click.echo(text_of(config, outlooks, colour=painted, details=full), color=painted)
    if with_exit_code and all(outlook.word in ("wait", "unknown") for outlook in outlooks):
        ctx.exit(NOT_NOW)


def outlooks_now(config: Config, clock: Clock) -> list[Outlook]:
    """Return the outlook of every piece from what the state holds and the weather as it is now."""
    import random  # noqa: PLC0415  (with the rest below: what --help does without)

    from dryspell.store.store import open_store  # noqa: PLC0415
    from dryspell.tick.gather import Gatherer  # noqa: PLC0415
    from dryspell.tick.learned import learned  # noqa: PLC0415
    from dryspell.tick.look import look  # noqa: PLC0415
    from dryspell.tick.since import since_of  # noqa: PLC0415
    from dryspell.tick.sources import sources_of  # noqa: PLC0415

    logging.basicConfig(format="dryspell: %(message)s", level=logging.WARNING)
    store = open_store(config.state_dir)
    try:
        coats = {key: store.films(key, bare=True) for key in config.piece}
        gatherer = Gatherer(config, store, clock, sources_of(config, store), random.Random())  # noqa: S311  (nothing secret)
        tables = gatherer.tables(since_of(config, coats), wait_s=FETCH_WAIT_S)
        return look(learned(config, store.progress_seen()), coats, tables, clock.now(), pots=store.pots())
    finally:
        store.close()


def _of(piece: str | None, config: Config, outlooks: list[Outlook]) -> list[Outlook]:
    asked = pieces_of(config, piece)
    return [outlook for outlook in outlooks if outlook.piece in asked]


def names_of(config: Config) -> Mapping[str, str]:
    """Return what sites and the coatings on their pieces are called, by key."""
    coatings = {key for piece in config.piece.values() for key in config.coatings_of(piece)}
    return {key: config.coating[key].label for key in coatings} | {key: site.name for key, site in config.site.items()}


def document_text(config: Config, outlooks: Sequence[Outlook]) -> str:
    """Return the JSON document as text."""
    from dryspell.answers.document import windows_document  # noqa: PLC0415

    names = {key: site.name for key, site in config.site.items()}
    return windows_document(outlooks, outlooks[0].made_at, names).text()


def text_of(config: Config, outlooks: Sequence[Outlook], *, colour: bool, details: bool) -> str:
    """Return what a terminal shows."""
    from dryspell.cli.paint import Paint  # noqa: PLC0415
    from dryspell.cli.show import outlooks_text  # noqa: PLC0415

    return outlooks_text(outlooks, names_of(config), Paint(colour), config.alerting.units, details=details)
