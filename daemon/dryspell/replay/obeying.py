"""A finisher who does what the alerts say, within the hours they name."""

from datetime import datetime

from dryspell.alerts.model import Kind, Notice
from dryspell.outlook.model import Window

_WINDOWS = (Kind.COAT_NOW, Kind.HOT_COAT, Kind.LAST_CALL, Kind.WAIT, Kind.WEATHER_LOST)
"""What a finisher begins or leaves a coat by; of tomorrow's window "coat now" follows when it is time."""


class Told:
    """What one finisher has been told of one piece and goes by."""

    def __init__(self, *, takes_tight: bool) -> None:
        self._takes_tight = takes_tight
        self._spans: list[tuple[datetime, datetime]] = []

    def hear(self, notice: Notice) -> None:
        """Take in a notice: the newest one replaces what was told before."""
        if notice.kind not in _WINDOWS:
            return
        self._spans = [span for window in notice.windows if (span := self._span(window))]

    def forget(self) -> None:
        """Have nothing more to go by: the coat is on."""
        self._spans = []

    def begins_by_now(self, now: datetime) -> bool:
        """Say whether a coat may be begun now by what was told."""
        return any(first <= now <= last for first, last in self._spans)

    def has_hours_after(self, now: datetime) -> bool:
        """Say whether there are hours still to come in which it may."""
        return any(last >= now for _, last in self._spans)

    def _span(self, window: Window) -> tuple[datetime, datetime] | None:
        """Return the first start and the last one.

        Where there are odds, of a window with good hours in it those alone: before them its message says "tight now,
        better from ...", which is that fewer of the ways the weather may go are good. Without odds tight hours keep the
        limits too, and are taken.
        """
        if window.word == "coat" and (window.probability is not None or not self._takes_tight):
            return window.good_from or window.start, window.begin_by
        return (window.start, window.last_start) if self._takes_tight else None
