"""`dryspell replay`: a past period run through the whole daemon at speed."""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import takewhile
from pathlib import Path

import click

from dryspell.cli.options import clock_at, colour_option, in_colour, shared_options
from dryspell.cli.pieces import pieces_of
from dryspell.cli.replay_options import Bound, length_option, read_bound
from dryspell.config import Config, load
from dryspell.errors import ConfigError, WeatherError
from dryspell.replay.account import Finisher
from dryspell.replay.issues import BEHIND
from dryspell.weather.checks import as_datetime
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable
from dryspell.weather.waits import length_text

SPOILED = 1
"""Exit code with --exit-code when a coat of the finisher who obeys was spoiled."""
PERFECT = "perfect"

EPILOG = """\b
Example:
  dryspell replay --weather 2025.csv --from 2025-04-01 --to 2025-11-01

The weather is that of the year as it was read at the site.

\b
FORECAST is what was forecast when:
  perfect    what came (the default)
  a folder   of weather tables, each with its line "# issued ..."
  a file     a weather table of a place nearby; with --fades "72 h" it counts
             for less and less the further ahead, and the day before for more

\b
A season of hourly forecasts takes minutes, by odds up to an hour. Nothing is
sent, and the record of your own coats is neither read nor changed: every
piece begins bare."""


@click.command(epilog=EPILOG)
@click.argument("piece", required=False, metavar="[PIECE]")
@click.option(
    "--weather",
    "weather_path",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    required=True,
    help="The weather as it was: a weather table, CSV or JSON Lines.",
)
@click.option("--forecast", default=PERFECT, metavar="FORECAST", show_default=True, help="What was forecast when.")
@length_option("--fades", None, "How far ahead a forecast out of a file counts for nothing any more.")
@length_option("--ahead", "96 h", "How far forecasts reach.")
@length_option("--every", "1 h", "How often a forecast is issued.")
@click.option("--from", "begin", callback=read_bound, metavar="WHEN", help="First day or instant. [default: all]")
@click.option("--to", "end", callback=read_bound, metavar="WHEN", help="The day or instant to stop before.")
@click.option("--tight/--no-tight", default=True, help="Coats are begun in hours called tight as well.  [default: yes]")
@click.option(
    "--readings", "read_here", is_flag=True, help="A sensor at the site reads the weather, from a month before on."
)
@click.option("--plan", "plans", is_flag=True, help="Make the plans as well, and follow up what they promised: slower.")
@click.option("--alerts", "with_alerts", is_flag=True, help="List every alert, how many a week, and each coat begun.")
@click.option("--exit-code", "with_exit_code", is_flag=True, help="Exit with 1 when a coat begun as told was spoiled.")
@colour_option
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece: str | None,
    weather_path: Path,
    forecast: str,
    fades: timedelta | None,
    ahead: timedelta,
    every: timedelta,
    begin: Bound | None,
    end: Bound | None,
    tight: bool,
    read_here: bool,
    plans: bool,
    with_alerts: bool,
    with_exit_code: bool,
    colour: bool | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Run a past period through the daemon and tell what would have come of it.

    A finisher does what the alerts say, within their hours; the weather that came decides what becomes of each coat.
    Beside it: one who goes by whether air and humidity are within the can's limits right now, and one who knew the
    weather to come.
    """
    from dryspell.cli.paint import Paint  # noqa: PLC0415
    from dryspell.cli.replay_document import replay_document  # noqa: PLC0415
    from dryspell.cli.replay_show import Setting, by_odds, covers, replay_text  # noqa: PLC0415
    from dryspell.replay.replay import replay  # noqa: PLC0415  (what --help does without)
    from dryspell.weather.sources.table_file import TableFile  # noqa: PLC0415

    config, clock = only(load(config_path, secrets=False), piece), clock_at(now)
    site = config.site_of(next(iter(config.piece.values())))
    if every % timedelta(minutes=15):
        raise click.BadParameter("has to be a multiple of 15 min", ctx, param_hint="--every")
    truth = TableFile(weather_path).fetch(clock.now())
    first, last = (as_datetime(truth.times[edge]) for edge in (0, -1))
    starts = begin(site.zone) if begin else first + BEHIND
    ends = end(site.zone) if end else last
    if not first <= starts < ends <= last:
        held = f"{weather_path} holds weather from {first:%Y-%m-%dT%H:%MZ} to {last:%Y-%m-%dT%H:%MZ}"
        raise WeatherError(f"{held}; a period within it is wanted, --from before --to")
    source = source_of(forecast, truth, ahead, fades)
    judged = by_odds(config) if forecast != PERFECT and config.weather.members > 1 else ""
    setting = Setting(source.name, every, tight, read_here, remarks(weather_path), judged, covers(config))
    with _progress(starts, ends) as progress:
        came = replay(
            config,
            truth,
            {site.key: source},
            starts,
            ends,
            every=every,
            takes_tight=tight,
            read_here=read_here,
            plans=plans,
            progress=progress,
        )
    if as_json:
        document = replay_document(config, came, setting, clock.now())
        click.echo(json.dumps(document, ensure_ascii=False, indent=2))
    else:
        painted = in_colour(colour)
        text = replay_text(config, came, setting, Paint(painted), with_alerts=with_alerts)
        click.echo(text, color=painted)
    if with_exit_code and came.of_all(Finisher.OBEYS).spoiled:
        ctx.exit(SPOILED)


def only(config: Config, piece: str | None) -> Config:
    """Return the configuration with the one piece that is named, or with all, which have to be at one site.

    Raises
    ------
    ConfigError
        There is no such piece, or the pieces are at several sites.
    """
    pieces = pieces_of(config, piece)
    if len({each.site for each in pieces.values()}) > 1:
        raise ConfigError([f"{config.file} has pieces at several sites, and the weather is of one; name a PIECE"])
    return replace(config, piece=dict(pieces))


def source_of(forecast: str, truth: WeatherTable, ahead: timedelta, fades: timedelta | None) -> Source:
    """Return what was forecast when.

    Raises
    ------
    WeatherError
        It cannot be read, or a length of time does not go with it.
    """
    from dryspell.replay.issues import Fading, Perfect, issues_in  # noqa: PLC0415
    from dryspell.weather.sources.table_file import TableFile  # noqa: PLC0415

    path = Path(forecast)
    if forecast == PERFECT or path.is_dir():
        if fades is not None:
            raise WeatherError("--fades is for a FORECAST that is one file")
        return Perfect(truth, ahead) if forecast == PERFECT else issues_in(path)
    if fades is None:
        raise WeatherError(
            f"{forecast} is taken for one weather table, which does not say what was known when; name with --fades how "
            'far ahead it counts, such as --fades "72 h", or give a folder of forecasts'
        )
    table = TableFile(path).fetch(datetime.now(UTC))
    return Fading(
        table, fades, ahead, name=f"{path.name}, fading to the day before at {length_text(fades.total_seconds())} ahead"
    )


def remarks(path: Path) -> list[str]:
    """Return what a table file says of itself in the comments at its head."""
    lines = path.read_text("utf-8-sig").splitlines() if path.suffix.lower() == ".csv" else []
    head = list(takewhile(lambda line: line.startswith("#"), lines))
    said = " ".join(line.lstrip("# ").strip() for line in head if not line.lstrip("# ").startswith("issued "))
    return [said] if said else []


@contextmanager
def _progress(begin: datetime, end: datetime) -> Iterator[Callable[[datetime], None]]:
    """Show on a terminal how far it has come."""
    days = max(1, (end - begin).days)
    with click.progressbar(length=days, label="days", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield lambda at: bar.update((at - begin).days - bar.pos)
