"""The days ahead of each piece, worked out once a tick for everybody who looks at them."""

import weakref
from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import date, datetime, timedelta
from threading import Lock
from typing import Any

import numpy as np

from dryspell.alerts.picture_data import Ahead, ahead_of
from dryspell.outlook.cloud import every_way
from dryspell.outlook.conditions import Conditions, face_weather
from dryspell.outlook.model import Outlook
from dryspell.outlook.sight import met_by
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray
from dryspell.web.board import Known
from dryspell.web.charts.days import Days, days_of, span_of

ALL_DAYS, FEW_DAYS = 16, 4
NARROW_DAYS = 3
SHOWN_BEFORE = timedelta(days=1)
"""No chart begins further back, but those of a day that is past and was asked for."""


@dataclass(frozen=True)
class _Met:
    """The weather as it reaches a piece, from `since` on."""

    since: datetime
    conditions: Conditions
    sun_w_m2: FloatArray
    piece: Piece
    site: Site
    coating: Coating


class Sight:
    """Works out what comes to pieces.

    What has been worked out is kept as the few numbers that are shown. Of the weather behind them, which is megabytes
    where it may go many ways, only that at the piece that was looked at last is, and not of the weeks since its last
    coat. All of it goes with its tick, whether anybody looks again or not.
    """

    def __init__(self) -> None:
        self._lock = Lock()
        self._of: weakref.ref[Known] | None = None
        self._last: tuple[str, _Met | None] = ("", None)
        self._days: dict[tuple[str, date | None, bool], Days | None] = {}

    def days(self, known: Known, outlook: Outlook, day: date | None, *, wide: bool) -> Days | None:
        """Return the days ahead of a piece, None where its weather is not known.

        Parameters
        ----------
        day
            The first day, a few from which are shown; None for all there are, or on a telephone the first few.
        """
        key = (outlook.piece, day, wide)
        with self._lock:
            self._begin(known)
            if key not in self._days:
                between = _between(known, outlook, day, wide=wide)
                met = self._met_at(known, outlook, between[0])
                self._days[key] = None if met is None else _days(known, outlook, met, between)
            return self._days[key]

    def ahead(self, known: Known, outlook: Outlook) -> Ahead | None:
        """Return the next 36 hours as the chart beside a message shows them."""
        with self._lock:
            self._begin(known)
            met = self._met_at(known, outlook, known.at)
        return None if met is None else ahead_of(met.conditions, met.piece, met.site, met.coating, known.at)

    def _begin(self, known: Known) -> None:
        """Drop what is of another tick."""
        if self._of is None or self._of() is not known:
            self._of, self._last, self._days = weakref.ref(known, self._drop), ("", None), {}

    def _drop(self, of: "weakref.ref[Known]") -> None:
        """Drop what is of a tick that nobody knows any more; without a lock, since this may come at any moment."""
        if self._of is of:
            self._last, self._days = ("", None), {}

    def _met_at(self, known: Known, outlook: Outlook, since: datetime) -> _Met | None:
        piece, met = self._last
        if piece != outlook.piece or (met is not None and since < met.since):
            met = _met(known, outlook, min(since, known.at - SHOWN_BEFORE))
            self._last = (outlook.piece, met)
        return met


def _between(known: Known, outlook: Outlook, day: date | None, *, wide: bool) -> tuple[datetime, datetime]:
    many = ALL_DAYS if day is None else FEW_DAYS
    return span_of(known.at, known.config.site[outlook.site], day, many if wide else NARROW_DAYS)


def _days(known: Known, outlook: Outlook, met: _Met, between: tuple[datetime, datetime]) -> Days | None:
    odds = outlook.weather is not None and outlook.weather.members > 1
    return days_of(met.conditions, met.sun_w_m2, met.piece, met.coating, met.site, known.at, between, odds=odds)


def _met(known: Known, outlook: Outlook, since: datetime) -> _Met | None:
    piece = known.config.piece[outlook.piece]
    site, table = known.config.site_of(piece), known.tables.get(piece.site)
    if table is None or outlook.missing:
        return None
    coating = known.config.lay_of(piece, min(outlook.next_coat, outlook.coats)).coating
    try:
        conditions = met_by(piece, site, every_way(table, site))[1]
        sun_w_m2 = face_weather(piece, site, every_way(table, site)).plane_w_m2
    except ValueError:  # less than half an hour of weather
        return None
    begin, last = np.datetime64(int(since.timestamp()), "s"), conditions.times.size - 2
    first = max(min(int(np.searchsorted(conditions.times, begin)) - 1, last), 0)
    return _Met(since, _cut(conditions, first), _cut(sun_w_m2, first), piece, site, coating)


def _cut(of: Any, first: int) -> Any:
    """Return copies of arrays from an index of the grid on: those before are then let go of."""
    if isinstance(of, Conditions):
        return Conditions(**{each.name: _cut(getattr(of, each.name), first) for each in fields(of)})
    if isinstance(of, Mapping):
        return {name: _cut(each, first) for name, each in of.items()}
    return of if of is None else of[..., first:].copy()
