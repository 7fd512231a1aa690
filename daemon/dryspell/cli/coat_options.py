"""The options of `dryspell coat` that tell of a coat."""

from collections.abc import Callable
from typing import Any

import click


def coat_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add the options that tell of a coat; they arrive under the names in `DETAILS`."""
    for option in reversed(_OPTIONS):
        function = option(function)
    return function


_OPTIONS = (
    click.option("--at", "at", metavar="WHEN", help="The last stroke: 09:40, or a date and time. [default: now]"),
    click.option("--began", "began", metavar="WHEN", help="The first stroke."),
    click.option("--who", metavar="NAME", help="Who put it on."),
    click.option("--coating", metavar="KEY", help="With what. [default: as the build-up has it]"),
    click.option("--batch", metavar="TEXT", help="Batch numbers off the cans."),
    click.option("--thinner", metavar="AMOUNT", help='Such as "10 parts" (to 100 of coating) or "neat".'),
    click.option("--wet-film", "wet_film", metavar="DEPTH", help='By the comb, such as "80 um".'),
    click.option("--used", metavar="VOLUME", help='Of the mix, such as "0.4 L": its mean wet film.'),
    click.option("--abrasive", metavar="GRIT", help='Sanded with before it, such as "P400" or "none".'),
    click.option("--photo", metavar="FILE", help="A picture of it; its path is kept, not the picture."),
    click.option("--note", metavar="TEXT", help="Anything to keep with it."),
    click.option("--air", metavar="TEMP", help='Measured at the piece, such as "18 degC".'),
    click.option("--surface", metavar="TEMP", help="Measured on the piece."),
    click.option("--humidity", metavar="SHARE", help='Measured at the piece, such as "60 %".'),
    click.option("--wind", metavar="SPEED", help='Measured at the piece, such as "2 m/s".'),
)
DETAILS = (
    "at", "began", "who", "coating", "batch", "thinner", "wet_film", "used", "abrasive", "photo", "note", "air",
    "surface", "humidity", "wind",
)  # fmt: skip
