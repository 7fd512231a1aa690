"""`dryspell material`: what the coats to come take, and what to buy for them."""

from collections.abc import Sequence
from contextlib import closing
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.pieces import pieces_of
from dryspell.config import Config, load

if TYPE_CHECKING:
    from dryspell.answers.material_found import Found

TO_BUY = 1
"""Exit code with --exit-code when coating has to be bought."""

EPILOG = """\b
Examples:
  dryspell material
  dryspell material toe_rail --at "25 degC"

\b
Without PIECE it is for all pieces together, with one list. What a coat takes
goes by area, wet film and loss. Sizes, prices and what is at hand are keys
of the configuration (cans, [stock.KEY]). Nobody is asked over the network."""


def _read_temperature(ctx: click.Context, param: click.Parameter, value: str | None) -> float | None:
    from dryspell.units import read_quantity  # noqa: PLC0415  (what --help does without)

    if value is None:
        return None
    try:
        at_c = read_quantity(value, "degC")
    except ValueError as error:
        raise click.BadParameter(f"{value!r} {error}", ctx, param) from None
    if not 0.0 <= at_c <= 50.0:
        raise click.BadParameter(f"{value!r} is no temperature to mix at; wanted 0 to 50 degC", ctx, param)
    return at_c


@click.command(epilog=EPILOG)
@click.argument("piece_key", required=False, metavar="[PIECE]")
@click.option(
    "--at",
    "mix_c",
    callback=_read_temperature,
    metavar="TEMPERATURE",
    help='Of two-part mixes, such as "25 degC". [default: the warmest of the next three days]',
)
@click.option("--details/--no-details", default=None, help="How each coat is poured. [default: only with PIECE]")
@click.option("--exit-code", "with_exit_code", is_flag=True, help="Exit with 1 when coating has to be bought.")
@colour_option
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece_key: str | None,
    mix_c: float | None,
    details: bool | None,
    with_exit_code: bool,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Show what the coats to come take, and what to buy for them."""
    config = load(config_path, secrets=False)
    keys = list(pieces_of(config, piece_key))
    present = clock_at(now).now()
    found = _found(config, keys, present, mix_c)
    if as_json:
        from dryspell.answers.material_document import material_document  # noqa: PLC0415  (what --help does without)

        click.echo(material_document(found).text())
    else:
        from dryspell.cli.material_text import material_text  # noqa: PLC0415
        from dryspell.cli.paint import Paint  # noqa: PLC0415

        painted = in_colour(colour)
        full = piece_key is not None if details is None else details
        click.echo(material_text(found, Paint(painted), details=full), color=painted)
    if with_exit_code and found.shopping.buys_coating:
        ctx.exit(TO_BUY)


def _found(config: Config, keys: Sequence[str], now: datetime, mix_c: float | None) -> "Found":
    from dryspell.answers.material_found import find  # noqa: PLC0415  (what --help does without)
    from dryspell.errors import StoreError  # noqa: PLC0415
    from dryspell.store.store import open_store  # noqa: PLC0415

    with closing(open_store(config.state_dir)) as store:
        laid = {key: store.laid(key, bare=True) for key in config.piece}
        tables = {}
        for site in {config.piece[key].site for key in keys}:
            try:
                tables[site] = store.last_forecast(site)
            except StoreError:
                tables[site] = None  # only the warmth of a mix goes by it, and that is then said to be unknown
        return find(config, keys, laid, tables, now, mix_c, store.plans())
