"""`dryspell fit`: how a piece stands in the weather, from a probe on it or a sensor in its tent or shed."""

from contextlib import closing
from datetime import datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING

import click

from dryspell.cli.options import clock_at, shared_options
from dryspell.cli.pieces import piece_of
from dryspell.config import Config, load
from dryspell.errors import WeatherError
from dryspell.trade.piece import Piece

if TYPE_CHECKING:
    from collections.abc import Callable

    from dryspell.store import Store
    from dryspell.weather.table import WeatherTable

REFUSED = 1
"""Exit code where the readings do not say how the piece stands."""
LOOK_BACK = timedelta(days=30)
"""How far back the readings that were kept are gone by: what stands round a piece changes (no source)."""

EPILOG = """\b
Examples:
  dryspell fit toe_rail probe.csv
  dryspell fit bench
  dryspell fit bench shed.csv --weather outdoors.csv

\b
LOG is a table file: CSV with units in its header, or JSON Lines. Without it,
what was kept of the piece's own sensors in the last 30 days is used.

\b
surface_temperature is that of a probe on the face: under the film, or taped
down in its colour; one in the open reads itself. Columns of the weather at
the piece (air_temperature, dew_point_temperature or relative_humidity,
wind_speed, sun or cloud) are used where the log has them. A reading an hour
will do, over two days and nights at the least, one of them clear; a week is
better.

\b
Of a piece in a tent or shed, air_temperature and relative_humidity (or
dew_point_temperature) are those of the air inside. They tell how far it lags
the air outdoors and how often it is changed; three days at the least.

\b
The weather meanwhile, where the log has none, is that of --weather, else what
was kept of the site's forecasts and sensors.

\b
Printed are lines to paste into the configuration, and how far computed and
measured temperatures are apart, before and after. Where the readings do not
tell, it says why, with exit code 1."""


@click.command(epilog=EPILOG)
@click.argument("piece_key", metavar="PIECE")
@click.argument("log_path", metavar="[LOG]", required=False, type=click.Path(path_type=Path, dir_okay=False))
@click.option(
    "--weather",
    "weather_path",
    metavar="FILE",
    type=click.Path(path_type=Path, dir_okay=False),
    help="A table file of the weather at the site meanwhile. [default: what was kept]",
)
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece_key: str,
    log_path: Path | None,
    weather_path: Path | None,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Find how PIECE stands in the weather from the LOG of a probe on it or of a sensor in its tent or shed."""
    from dryspell.cli.fit_report import FaceReport, ShelterReport  # noqa: PLC0415  (what --help does without)
    from dryspell.outlook import probe, probe_inside  # noqa: PLC0415
    from dryspell.science.fit import Refused  # noqa: PLC0415
    from dryspell.weather.sources.table_file import TableFile  # noqa: PLC0415

    config, at = load(config_path, secrets=False), clock_at(now).now()
    piece = piece_of(config, piece_key)
    site = config.site_of(piece)
    log = _kept_readings(config, piece, at) if log_path is None else TableFile(log_path).fetch(at)
    named = log.source if log_path is None else str(log_path)
    inside = _is_of_the_air_inside(piece, log, named)
    weather = TableFile(weather_path).fetch(at) if weather_path else _weather(config, piece, log, named, inside=inside)
    report: FaceReport | ShelterReport
    try:
        if inside:
            report = ShelterReport(piece, probe_inside.fit_shelter(piece, site, log, weather))
        else:
            report = FaceReport(piece, probe.fit_piece(piece, site, log, weather))
    except ValueError as error:
        add = "name another with --weather FILE" if inside or weather is not log else f"add it to {named}"
        raise WeatherError(f"{weather.source} {error}; {add}") from None
    click.echo(report.document() if as_json else report.text())
    if isinstance(report.found, Refused):
        ctx.exit(REFUSED)


def _kept_readings(config: Config, piece: Piece, now: datetime) -> "WeatherTable":
    """Return what the sensors of a piece have read lately."""
    from dryspell.outlook.columns import STEP_S  # noqa: PLC0415  (as above)

    def read_of(store: "Store") -> "WeatherTable | None":
        return store.read_weather(piece.site, now - LOOK_BACK, now, step_s=STEP_S, piece=piece.key)

    read = _kept(config, read_of)
    if read is None:
        raise WeatherError(
            f"no sensor of {piece.key} has been read in the last {LOOK_BACK.days} days; name a LOG, or give the "
            f'sensor that is on or in it piece = "{piece.key}"'
        )
    return read


def _is_of_the_air_inside(piece: Piece, log: "WeatherTable", named: str) -> bool:
    """Say whether the readings are of the air in a piece's shelter, or else of its face."""
    from dryspell.outlook.exposure import enclosure_of  # noqa: PLC0415  (as above)
    from dryspell.outlook.probe import READING  # noqa: PLC0415

    walls = enclosure_of(piece) is not None
    if walls and log.knows("air_temperature"):
        return True
    if not log.knows(READING):
        of_the_air = f", or air_temperature in the {piece.shelter}" if walls else ""
        raise WeatherError(f"{named} has no reading; wanted a column {READING} [degC]{of_the_air}")
    return False


def _weather(config: Config, piece: Piece, log: "WeatherTable", named: str, *, inside: bool) -> "WeatherTable":
    """Return the weather while the readings were made."""
    import numpy as np  # noqa: PLC0415  (as above)

    from dryspell.weather.checks import as_datetime  # noqa: PLC0415

    if not inside and log.knows("air_temperature"):
        return log
    read = np.isfinite(np.concatenate(list(log.columns.values()))).any(axis=0)
    first, last = (as_datetime(edge) for edge in log.times[read][[0, -1]])
    kept = _kept(config, lambda store: store.past_weather(piece.site, first, until=last))
    if kept is None:
        without = "" if inside else f"{named} has no air_temperature, and "
        raise WeatherError(
            f"{without}no weather of {piece.site} is kept from {log.times[read][0]}Z on; name a table file of it with "
            "--weather FILE"
        )
    return kept


def _kept(config: Config, read: "Callable[[Store], WeatherTable | None]") -> "WeatherTable | None":
    """Return what is read from the state; None where nobody has made one yet."""
    from dryspell.store.store import FILE_NAME, open_store  # noqa: PLC0415  (as above)

    if not (config.state_dir / FILE_NAME).exists():
        return None
    with closing(open_store(config.state_dir)) as store:
        return read(store)
