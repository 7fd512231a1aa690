"""`dryspell plan`: every coat to come with its day and its hours, and when each piece is done."""

import logging
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.pieces import pieces_of
from dryspell.clock import Clock
from dryspell.config import Config, load
from dryspell.errors import DryspellError

if TYPE_CHECKING:
    from dryspell.outlook.plan_model import Plans

FETCH_WAIT_S = 60.0
NOT_ALL = 1
"""Exit code with --exit-code when a coat to come finds no hours within the forecast."""

EPILOG = """\b
Example:
  dryspell plan toe_rail

\b
All pieces are planned together, since they share people ([person.KEY] in the
configuration; without any, one finisher does all of them). The plan is kept:
the next one stays with it unless moving a coat gains enough."""


@click.command(epilog=EPILOG)
@click.argument("piece", required=False, metavar="[PIECE]")
@click.option(
    "--exit-code",
    "with_exit_code",
    is_flag=True,
    help="Exit with 1 when a coat to come finds no hours in the forecast.",
)
@colour_option
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece: str | None,
    with_exit_code: bool,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Plan every coat to come: the day, the hours, who, and when each piece is done."""
    config = load(config_path, secrets=False)
    asked = pieces_of(config, piece)
    clock = clock_at(now)
    made = plans_now(config, clock)
    shown = [plan for plan in made.plans if plan.piece in asked]
    if not shown:
        raise DryspellError(f"{piece} has no plan: there are more pieces than can be planned, and others go before it")
    people = {key: person.name for key, person in config.person.items()}
    if as_json:
        from dryspell.answers.plan_document import plan_document  # noqa: PLC0415  (what --help does without)

        sites = {key: site.name for key, site in config.site.items()}
        document = plan_document(made, shown, shown[0].made_at, sites, people)
        click.echo(document.text())
    else:
        from dryspell.cli.paint import Paint  # noqa: PLC0415
        from dryspell.cli.plan_text import plans_text  # noqa: PLC0415
        from dryspell.cli.windows import names_of  # noqa: PLC0415

        painted = in_colour(colour)
        text = plans_text(made, shown, names_of(config), people, Paint(painted), config.alerting.units)
        click.echo(text, color=painted)
    if with_exit_code and any(plan.unplanned for plan in shown):
        ctx.exit(NOT_ALL)


def plans_now(config: Config, clock: Clock) -> "Plans":
    """Return the plan of every piece from what the state holds and the weather as it is now, and keep it."""
    import random  # noqa: PLC0415  (with the rest below: what --help does without)

    from dryspell.store.store import open_store  # noqa: PLC0415
    from dryspell.tick.gather import Gatherer  # noqa: PLC0415
    from dryspell.tick.learned import learned  # noqa: PLC0415
    from dryspell.tick.past_years import PastYears  # noqa: PLC0415
    from dryspell.tick.plans import kept, left_unplanned, plans, say_unplanned  # noqa: PLC0415
    from dryspell.tick.since import since_of  # noqa: PLC0415
    from dryspell.tick.sources import sources_of  # noqa: PLC0415

    logging.basicConfig(format="dryspell: %(message)s", level=logging.WARNING)
    store = open_store(config.state_dir)
    try:
        coats = {key: store.films(key, bare=True) for key in config.piece}
        gatherer = Gatherer(config, store, clock, sources_of(config, store), random.Random())  # noqa: S311  (nothing secret)
        tables = gatherer.tables(since_of(config, coats), wait_s=FETCH_WAIT_S)
        taught, now = learned(config, store.progress_seen()), clock.now()
        say_unplanned(left_unplanned(config))
        made = plans(taught, coats, tables, now, store.plans())
        made = PastYears(config, store).added_to(made, taught, coats, tables, now)
        kept(store, made)
        return made
    finally:
        store.close()
