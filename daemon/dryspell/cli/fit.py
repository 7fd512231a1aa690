"""`dryspell fit`: how a piece stands in the weather, from the log of a surface probe on it."""

import json
import math
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from dryspell.cli.options import clock_at, shared_options
from dryspell.config import Config, load
from dryspell.errors import ConfigError, WeatherError
from dryspell.trade.piece import Piece

if TYPE_CHECKING:
    from dryspell.outlook.probe import Key
    from dryspell.science.fit import Fit, Refused, Score
    from dryspell.weather.table import WeatherTable

REFUSED = 1
"""Exit code where the log does not say how the piece stands."""

EPILOG = """\b
Example:
  dryspell fit toe_rail probe.csv

\b
LOG is a table file with the column surface_temperature: CSV with units in its
header, or JSON Lines. Columns of the weather at the piece (air_temperature,
dew_point_temperature or relative_humidity, wind_speed, sun or cloud) are used
where it has them; else what was kept of the site's forecasts. A reading an
hour will do, over two days and nights at the least, one of them clear; a week
is better. The probe belongs on the face, under the film or taped down in its
colour: one in the open reads itself.

\b
Printed are lines to paste into the configuration, and how far computed and
measured temperatures are apart, before and after. Where the log does not
tell, it says why, with exit code 1."""


@click.command(epilog=EPILOG)
@click.argument("piece_key", metavar="PIECE")
@click.argument("log_path", metavar="LOG", type=click.Path(path_type=Path, dir_okay=False))
@shared_options
@click.pass_context
def command(
    ctx: click.Context,
    *,
    piece_key: str,
    log_path: Path,
    config_path: Path | None,
    as_json: bool,
    now: datetime | None,
) -> None:
    """Find how PIECE stands in the weather from a surface probe's LOG."""
    from dryspell.outlook.probe import fit_piece, keys_of  # noqa: PLC0415  (what --help does without)
    from dryspell.science.fit import Refused  # noqa: PLC0415
    from dryspell.weather.sources.table_file import TableFile  # noqa: PLC0415

    config = load(config_path, secrets=False)
    piece = _piece(config, piece_key)
    log = TableFile(log_path).fetch(clock_at(now).now())
    weather = _weather(config, piece, log, log_path)
    try:
        found = fit_piece(piece, config.site_of(piece), log, weather)
    except ValueError as error:
        raise WeatherError(f"{weather.source} {error}; add it to {log_path}") from None
    keys = [] if isinstance(found, Refused) else keys_of(found, piece)
    click.echo(_document(piece, found, keys) if as_json else _text(piece, found, keys))
    if isinstance(found, Refused):
        ctx.exit(REFUSED)


def _piece(config: Config, key: str) -> Piece:
    if key in config.piece:
        return config.piece[key]
    near = get_close_matches(key, config.piece, n=1)
    hint = f"did you mean {near[0]}?" if near else f"there are {', '.join(config.piece)}"
    raise ConfigError([f"{config.file} has no piece {key!r}; {hint}"])


def _weather(config: Config, piece: Piece, log: "WeatherTable", log_path: Path) -> "WeatherTable":
    """Return the weather while the log was kept."""
    from dryspell.outlook.probe import READING  # noqa: PLC0415
    from dryspell.store.store import open_store  # noqa: PLC0415
    from dryspell.weather.checks import as_datetime  # noqa: PLC0415

    if not log.knows(READING):
        raise WeatherError(f"{log_path} has no reading; wanted a column {READING} [degC]")
    if log.knows("air_temperature"):
        return log
    store = open_store(config.state_dir)
    try:
        kept = store.past_weather(piece.site, as_datetime(log.times[0]))
    finally:
        store.close()
    if kept is None:
        raise WeatherError(
            f"{log_path} has no air_temperature, and no weather of {piece.site} is kept from {log.times[0]}Z on; "
            "add columns of the weather to it"
        )
    return kept


def _text(piece: Piece, found: "Fit | Refused", keys: "list[Key]") -> str:
    from dryspell.science.fit import Refused  # noqa: PLC0415

    if isinstance(found, Refused):
        return f"{piece.name}: the log does not tell how it stands ({found.reason}): {found.detail}."
    lines = [f"[piece.{piece.key}]"]
    for key in keys:
        edge = math.isnan(key.error)
        error = "at the edge of what it can be" if edge else f"give or take {_figure(key.error)} {key.unit}"
        lines.append(f'{key.name} = "{_figure(key.value)} {key.unit}"  # {error}')
    lines.append("")
    for when, (before, after) in (("by night", found.night), ("by day", found.day)):
        lines.append(f"# {when}, {after.readings} readings: {_score(after)}; before {_score(before)}")
    return "\n".join(lines)


def _figure(value: float) -> str:
    return f"{value:.0f}" if value >= 10 else f"{value:.2g}"


def _score(score: "Score") -> str:
    return f"off by {score.rmse_k:.1f} K (RMSE), {score.bias_k:+.1f} K in the mean" if score.readings else "none"


def _document(piece: Piece, found: "Fit | Refused", keys: "list[Key]") -> str:
    from dryspell.science.fit import Refused  # noqa: PLC0415

    document: dict[str, Any] = {"schema": "dryspell.fit/1", "piece": piece.key}
    if isinstance(found, Refused):
        return json.dumps(document | {"refused": found.reason.value, "detail": found.detail}, indent=2)
    document["keys"] = [
        {"key": key.name, "value": round(key.value, 4), "error": _known(key.error), "unit": key.unit} for key in keys
    ]
    for when, scores in (("night", found.night), ("day", found.day)):
        document[when] = {
            name: {"rmse_k": _known(score.rmse_k), "bias_k": _known(score.bias_k), "readings": score.readings}
            for name, score in zip(("before", "after"), scores, strict=True)
        }
    return json.dumps(document, indent=2)


def _known(value: float) -> float | None:
    return None if math.isnan(value) else round(value, 4)
