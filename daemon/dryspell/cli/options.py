"""Options that commands share, and what is read from them."""

import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import click

from dryspell.clock import Clock, FixedClock, SystemClock

FIRST_YEAR, LAST_YEAR = 1940, 2200
"""Of what may be taken for the present time; no weather is known from before."""


def read_instant(ctx: click.Context, param: click.Parameter, value: str | None) -> datetime | None:
    """Read an ISO 8601 instant with its offset into an aware datetime in UTC; the callback of options that take one."""
    if value is None:
        return None
    try:
        instant = datetime.fromisoformat(value)
    except ValueError:
        wanted = "wanted such as 2026-09-03T08:00+02:00 or 2026-09-03T06:00Z"
        raise click.BadParameter(f"{value!r} is not an instant; {wanted}", ctx, param) from None
    if not FIRST_YEAR <= instant.year < LAST_YEAR:
        wanted = f"wanted a year from {FIRST_YEAR} to {LAST_YEAR - 1}"
        raise click.BadParameter(f"{value!r} is not of our time; {wanted}", ctx, param)
    if instant.tzinfo is None:
        here = instant.astimezone()
        ways = f"{here.isoformat(timespec='minutes')}, or {here.astimezone(UTC):%Y-%m-%dT%H:%MZ}"
        raise click.BadParameter(f"{value!r} has no offset from UTC; by this computer's clock it is {ways}", ctx, param)
    return instant.astimezone(UTC)


config_option = click.option(
    "--config",
    "config_path",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="The configuration. [default: the usual places]",
)
now_option = click.option("--now", callback=read_instant, metavar="INSTANT", help="Take this for the present time.")
json_option = click.option("--json", "as_json", is_flag=True, help="Write a JSON document.")
exit_code_option = click.option(
    "--exit-code", "with_exit_code", is_flag=True, help="Exit with 1 when nothing asked about can be coated now."
)
colour_option = click.option(
    "--colour/--no-colour",
    "colour",
    default=None,
    help="Colour the text. [default: on a terminal, unless NO_COLOR is set]",
)


def shared_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add --config, --json and --now to a command; they arrive as config_path, as_json and now."""
    for option in (now_option, json_option, config_option):
        function = option(function)
    return function


def clock_at(now: datetime | None) -> Clock:
    """Return the clock a command goes by: standing still at --now, or the computer's own."""
    return SystemClock() if now is None else FixedClock(now)


def in_colour(wanted: bool | None) -> bool:
    """Say whether to colour, by the option, else by NO_COLOR and by whether a terminal reads."""
    if wanted is not None:
        return wanted
    return not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb" and sys.stdout.isatty()
