"""`dryspell fleet`: many sites and pieces out of a table, judged on several processors or machines."""

import os
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import datetime
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, shared_options
from dryspell.config import Config, load
from dryspell.errors import FleetError

if TYPE_CHECKING:
    from distributed import Client

    from dryspell.fleet.cells import Weather
    from dryspell.fleet.run import Came
    from dryspell.fleet.table import Fleet

FAILED = 1
"""Exit code with --exit-code when a row could not be judged."""
SHOWN = 20
_PACKAGES = ("cryptography", "distributed", "pyarrow")

EPILOG = """\b
Example:
  dryspell fleet berths.csv --out results

\b
TABLE is CSV or Parquet, a row a piece. Its columns are
  site, piece      what you call them
  latitude, longitude, elevation, timezone, afloat, diffuse_sky
                   as under [site.KEY] of a configuration
  coating or system, coats, done, face, facing, shelter, colour, hours, ...
                   as under [piece.KEY]
  last_coat        the last stroke of the coat that is on, with its offset
  thinner          parts to a hundred in it
A heading may hold a unit: latitude [deg]. Empty cells are left out.

\b
Coatings, systems and weather are those of the configuration, which needs no
site and no piece. Sites in one forecast cell share its weather, and like
pieces there are worked out once. A run that was broken off goes on where it
was when it is started again. While it runs, OUT holds _running.json."""


@click.command(epilog=EPILOG)
@click.argument("table", type=click.Path(path_type=Path, dir_okay=False), metavar="TABLE")
@click.option(
    "--out", type=click.Path(path_type=Path, file_okay=False), required=True, metavar="FOLDER", help="For the results."
)
@click.option(
    "--weather",
    "weather_path",
    type=click.Path(path_type=Path),
    metavar="PATH",
    help="A weather table for all, or a folder with one for each cell, such as 54.3_10.2.csv. [default: the sources]",
)
@click.option(
    "--cell", "cell_deg", type=click.FloatRange(0.01, 5.0), default=0.1, show_default=True, metavar="DEG",
    help="Size of a forecast cell.",
)  # fmt: skip
@click.option(
    "--workers", type=click.IntRange(1, 1024), metavar="N", help="Processes on this machine. [default: its processors]"
)
@click.option("--cluster", metavar="ADDRESS", help="A Dask cluster instead, such as tcp://10.0.0.5:8786.")
@click.option("--exit-code", "with_exit_code", is_flag=True, help="Exit with 1 when a row could not be judged.")
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    table: Path,
    out: Path,
    weather_path: Path | None,
    cell_deg: float,
    workers: int | None,
    cluster: str | None,
    with_exit_code: bool,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Judge many sites and pieces out of a table, on several processors or machines.

    The results are Parquet files in a folder, a row for each of the table. A row that cannot be judged is named, and
    keeps no other back.
    """
    if missing := [name for name in _PACKAGES if find_spec(name) is None]:
        raise FleetError(f"fleet needs {', '.join(missing)}; install dryspell with its extra fleet: dryspell[fleet]")
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers is for this machine, and --cluster for another; give one of them", ctx)
    from dryspell.fleet.cells import Grid  # noqa: PLC0415  (with the rest below: what --help does without)
    from dryspell.fleet.cluster import Workers, client_at, local_client  # noqa: PLC0415
    from dryspell.fleet.parts import Parts  # noqa: PLC0415
    from dryspell.fleet.run import Setting, run  # noqa: PLC0415
    from dryspell.fleet.table import read_fleet  # noqa: PLC0415

    config, clock = load(config_path, secrets=False, pieces=False), clock_at(now)
    # Told the instant, a run is for that one, whatever was broken off before.
    resume_s = config.weather.refresh_s if now is None else 0.0
    with Parts(out, clock.now(), resume_s) as parts:
        fleet = read_fleet(table, config, Grid(cell_deg), parts.now)
        weather = _weather_of(config, fleet, weather_path)
        setting = Setting(parts.now, config.weather.stale_after_h, config.weather.members)
        joined: AbstractContextManager[Client] = (
            client_at(cluster) if cluster is not None else local_client(workers or _processors())
        )
        with _progress(fleet.rows) as progress, joined as client:
            came = run(fleet, weather, Workers(client), parts, setting, progress)
    if as_json:
        from dryspell.cli.fleet_document import fleet_document  # noqa: PLC0415

        click.echo(fleet_document(came, out, clock.now()).text())
    else:
        click.echo(_text(came, out))
    for line in _named(came, table):
        click.echo(line, err=True)
    if with_exit_code and came.failed:
        ctx.exit(FAILED)


def _weather_of(config: Config, fleet: "Fleet", path: Path | None) -> "Weather":
    from dryspell.fleet.cells import ConfiguredWeather, FileWeather  # noqa: PLC0415

    if path is not None:
        return FileWeather(path)
    return ConfiguredWeather(config, [cell.questions[0].site for cell in fleet.cells.values()])


def _processors() -> int:
    """Return how many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def _progress(rows: int) -> Iterator[Callable[[int], object]]:
    """Show on a terminal how far it has come."""
    with click.progressbar(length=rows, label="rows", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        yield bar.update


def _text(came: "Came", out: Path) -> str:
    verdicts = ", ".join(f"{came.verdicts[word]} {word}" for word in ("coat", "tight", "wait", "unknown"))
    kept = f", {came.kept} of them kept from before" if came.kept else ""
    return (
        f"{came.rows} rows in {came.cells} cells: {verdicts}\n"
        f"{came.failed} could not be judged; {came.judged} questions worked out\n"
        f"{came.parts} parts in {out}{kept}"
    )


def _named(came: "Came", table: Path) -> Iterator[str]:
    """Yield a line for each of the first rows that could not be judged."""
    for bad in came.named[:SHOWN]:
        name = ", ".join(part for part in (bad.site, bad.piece) if part)
        yield f"dryspell: {table}, row {bad.row}{f' ({name})' if name else ''}: {bad.problem}"
    if came.failed > SHOWN:
        yield f"dryspell: {came.failed - SHOWN} more rows could not be judged; column error of the results says why"
