"""What `dryspell replay` reads from its options."""

from collections.abc import Callable
from datetime import UTC, date, datetime, time, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import click

from dryspell.cli.options import read_instant
from dryspell.units import read_quantity

Bound = Callable[[ZoneInfo], datetime]
"""An instant once the zone of the site is known."""


def read_bound(ctx: click.Context, param: click.Parameter, value: str | None) -> Bound | None:
    """Read a day, which begins at the site's midnight, or an instant with its offset."""
    if value is None:
        return None
    try:
        day = date.fromisoformat(value)
    except ValueError:
        instant = read_instant(ctx, param, value)
        return None if instant is None else (lambda _: instant)
    return lambda zone: datetime.combine(day, time(), tzinfo=zone).astimezone(UTC)


def length_option(name: str, default: str | None, text: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return an option that is a length of time, such as "72 h"."""
    return click.option(name, default=default, callback=_read_length, metavar="TIME", show_default=True, help=text)


def _read_length(ctx: click.Context, param: click.Parameter, value: str | None) -> timedelta | None:
    if value is None:
        return None
    try:
        seconds = read_quantity(value, "second")
    except ValueError as error:
        raise click.BadParameter(f"{value!r} {error}", ctx, param) from None
    if seconds < 900.0:
        raise click.BadParameter(f"{value!r} is less than 15 min", ctx, param)
    return timedelta(seconds=round(seconds))
