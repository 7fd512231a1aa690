"""The weather of one piece before anything is judged: where it is from, what it lacks, whether it is to be trusted."""

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

import numpy as np

from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.below import stamp
from dryspell.outlook.cloud import every_way
from dryspell.outlook.columns import Columns
from dryspell.outlook.conditions import Conditions, conditions_at, needed_variables
from dryspell.outlook.latest import Latest
from dryspell.outlook.model import Limit, Provenance, Reason
from dryspell.trade.piece import Piece, Site
from dryspell.weather.checks import as_datetime
from dryspell.weather.table import WeatherTable

CLOCKS_APART_H = 1.0
"""A forecast made further ahead of the present than this shows a wrong clock, and is not trusted either."""


@dataclass(frozen=True)
class Sight:
    """What there is to judge by.

    Attributes
    ----------
    weather
        Where it is from.
    agreement
        How many members have to agree.
    table
        The weather at the site, unknown cloud taken every way.
    met
        The weather as it reaches the piece, and with the shade hung where there is one; None where something is missing
        or all of it is past.
    missing
        Variables that are needed and not known.
    first
        The first index of the grid that lies ahead.
    trusted_until
        Up to when it is not too old.
    stale
        Why the weather is not to be trusted; None where it is.
    latest
        What was worked out under it last.
    """

    weather: Provenance
    agreement: Agreement
    table: WeatherTable
    met: tuple[Conditions, Conditions] | None = None
    missing: tuple[str, ...] = ()
    first: int = 0
    trusted_until: datetime | None = None
    stale: Reason | None = None
    latest: Latest = field(default_factory=Latest, compare=False)


def sight_of(
    piece: Piece,
    site: Site,
    table: WeatherTable,
    now: datetime,
    *,
    stale_after_h: float,
    agreement: Agreement | None = None,
    columns: Columns | None = None,
) -> Sight:
    """Return what there is to judge a piece by.

    Parameters
    ----------
    agreement
        How many members have to agree; left out, as the odds of the piece ask.
    columns
        What `columns_of` the site and table gave, where more pieces than one ask for them.
    """
    if agreement is None:
        # A single forecast, or the few ways it may turn out where it leaves something open, has to do in all of them.
        agreement = ALL if table.members == 1 else Agreement.by_odds(piece.odds_pct / 100.0)
    table = columns.table if columns else every_way(table, site)
    age_h = age_h_of(table.issued_at, now)
    weather = Provenance(
        source=table.source,
        attribution=table.attribution,
        issued_at=table.issued_at,
        age_h=round(age_h, 2),
        reaches=None,
        members=table.members if agreement.is_odds else 1,
        filled=table.filled,
        notes=table.notes,
    )
    if missing := tuple(table.unknown_of(needed_variables(piece, table))):
        return Sight(weather, agreement, table, missing=missing)
    bare, hung = met_by(piece, site, table, columns)
    oldest_h = stale_after_h + table.cycle_h
    stale = None
    if not -CLOCKS_APART_H <= age_h <= oldest_h:
        stale = Reason(limit=Limit.KNOWN, value=round(age_h, 1), bound=oldest_h, unit="h")
    first = int(np.searchsorted(hung.times, stamp(now), side="left"))
    return Sight(
        weather=weather.model_copy(update={"reaches": reach(hung)}),
        agreement=agreement,
        table=table,
        met=(bare, hung) if first < hung.times.size else None,
        first=first,
        trusted_until=table.issued_at + timedelta(hours=oldest_h),
        stale=stale,
    )


def age_h_of(issued_at: datetime, now: datetime) -> float:
    """Return how old a forecast is. [h]"""
    return (now - issued_at).total_seconds() / 3600.0


def columns_of(site: Site, table: WeatherTable) -> Columns:
    """Return the weather of a site on the grid, unknown cloud taken every way; errors as of `conditions_at`."""
    return Columns(site, every_way(table, site))


def met_by(
    piece: Piece, site: Site, table: WeatherTable, columns: Columns | None = None
) -> tuple[Conditions, Conditions]:
    """Return the weather as it reaches the piece, and with the shade hung where there is one."""
    columns = columns or Columns(site, table)
    bare = conditions_at(piece, site, table, columns=columns)
    if not piece.shade:
        return bare, bare
    # The shade hangs over the wet film, not over the dew of the morning before it.
    return bare, replace(conditions_at(piece, site, table, shaded=True, columns=columns), water_mm=bare.water_mm)


def reach(c: Conditions) -> datetime | None:
    """Return the last instant up to which everything needed is known, from the first known one on."""
    known = c.known.all(axis=0)
    if not known.any():
        return None
    return as_datetime(c.times[np.flatnonzero(known)[-1]])
