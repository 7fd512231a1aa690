"""What was told of a coat on the command line, read."""

from collections.abc import Mapping
from datetime import datetime

import click

from dryspell.answers import coat_told
from dryspell.answers.coat_told import Told, ToldError
from dryspell.config import Config
from dryspell.trade.piece import Piece


def told(
    given: Mapping[str, str | None],
    config: Config,
    piece: Piece,
    present: datetime,
    *,
    corrected: datetime | None = None,
) -> Told:
    """Read what was told of a coat as `dryspell.answers.coat_told.told` does, or raise click.BadParameter."""
    try:
        return coat_told.told(given, config, piece, present, corrected=corrected)
    except ToldError as error:
        name, problem = next(iter(error.problems.items()))
        raise click.BadParameter(problem, param_hint=f"--{name.replace('_', '-')}") from None
