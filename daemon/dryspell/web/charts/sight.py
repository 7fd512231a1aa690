"""The days ahead of each piece, worked out once a tick for everybody who looks at them."""

import weakref
from dataclasses import dataclass
from datetime import date
from threading import Lock

from dryspell.alerts.picture_data import Ahead, ahead_of
from dryspell.outlook.cloud import every_way
from dryspell.outlook.conditions import Conditions, face_weather
from dryspell.outlook.model import Outlook
from dryspell.outlook.sight import met_by
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import FloatArray, WeatherTable
from dryspell.web.board import Known
from dryspell.web.charts.days import Days, days_of, span_of

ALL_DAYS, FEW_DAYS = 16, 4
NARROW_DAYS = 3


@dataclass(frozen=True)
class _Met:
    """The weather as it reaches a piece."""

    conditions: Conditions
    sun_w_m2: FloatArray
    piece: Piece
    site: Site
    coating: Coating


class Sight:
    """Works out what comes to pieces.

    What has been worked out is kept as the few numbers that are shown. Of the weather behind them, which is megabytes
    where it may go many ways, only that at the piece that was looked at last is. All of it goes with its tick, whether
    anybody looks again or not.
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
                met = self._met_at(known, outlook)
                self._days[key] = None if met is None else _days(known, outlook, met, day, wide=wide)
            return self._days[key]

    def ahead(self, known: Known, outlook: Outlook) -> Ahead | None:
        """Return the next 36 hours as the chart beside a message shows them."""
        with self._lock:
            self._begin(known)
            met = self._met_at(known, outlook)
        return None if met is None else ahead_of(met.conditions, met.piece, met.site, met.coating, known.at)

    def _begin(self, known: Known) -> None:
        """Drop what is of another tick."""
        if self._of is None or self._of() is not known:
            self._of, self._last, self._days = weakref.ref(known, self._drop), ("", None), {}

    def _drop(self, of: "weakref.ref[Known]") -> None:
        """Drop what is of a tick that nobody knows any more; without a lock, since this may come at any moment."""
        if self._of is of:
            self._last, self._days = ("", None), {}

    def _met_at(self, known: Known, outlook: Outlook) -> _Met | None:
        if self._last[0] != outlook.piece:
            self._last = (outlook.piece, _met(known, outlook))
        return self._last[1]


def _days(known: Known, outlook: Outlook, met: _Met, day: date | None, *, wide: bool) -> Days | None:
    many = ALL_DAYS if day is None else FEW_DAYS
    between = span_of(known.at, met.site, day, many if wide else NARROW_DAYS)
    odds = outlook.weather is not None and outlook.weather.members > 1
    return days_of(met.conditions, met.sun_w_m2, met.piece, met.coating, met.site, known.at, between, odds=odds)


def _met(known: Known, outlook: Outlook) -> _Met | None:
    piece = known.config.piece[outlook.piece]
    site, table = known.config.site_of(piece), known.tables.get(piece.site)
    if table is None or outlook.missing:
        return None
    coating = known.config.lay_of(piece, min(outlook.next_coat, outlook.coats)).coating
    try:
        return _worked_out(piece, site, every_way(table, site), coating)
    except ValueError:  # less than half an hour of weather
        return None


def _worked_out(piece: Piece, site: Site, table: WeatherTable, coating: Coating) -> _Met:
    _, conditions = met_by(piece, site, table)
    return _Met(conditions, face_weather(piece, site, table).plane_w_m2, piece, site, coating)
