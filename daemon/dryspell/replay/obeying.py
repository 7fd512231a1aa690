"""A finisher who does what the alerts say, within the hours they name: when to coat, and when to cover a wet film."""

from datetime import datetime

from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice
from dryspell.outlook.model import Hazard, Window

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

    def hours_after(self, now: datetime) -> list[tuple[datetime, datetime]]:
        """Return the hours still to come in which it may: from when until when."""
        return [(max(first, now), last) for first, last in self._spans if last >= now]

    def _span(self, window: Window) -> tuple[datetime, datetime] | None:
        """Return the first start and the last one.

        Where there are odds, of a window with good hours in it those alone: before them its message says "tight now,
        better from ...", which is that fewer of the ways the weather may go are good. Without odds tight hours keep the
        limits too, and are taken.
        """
        if window.word == "coat" and (window.probability is not None or not self._takes_tight):
            return window.good_from or window.start, window.begin_by
        return (window.start, window.last_start) if self._takes_tight else None


class Warned:
    """What one finisher has been told of the film that is on, who has something to cover it with.

    Parameters
    ----------
    shade
        Whether a shade hangs against the sun; where there is none, the cover is one.
    """

    def __init__(self, *, shade: bool) -> None:
        self._shade = shade
        self._comes: dict[Hazard, datetime] = {}

    def hear(self, notice: Notice) -> None:
        """Take in a notice: a danger that comes, or comes no more."""
        if notice.hazard is None or notice.at is None or (notice.hazard == "sun" and self._shade):
            return
        if notice.kind is Kind.FILM_RISK:
            self._comes[notice.hazard] = notice.at
        elif notice.kind is Kind.RISK_OVER:
            self._comes.pop(notice.hazard, None)

    def forget(self) -> None:
        """Have nothing more to see to: it is covered, or another coat is on."""
        self._comes = {}

    @property
    def covers_by(self) -> datetime | None:
        """When the last of what was told of comes: until then it helps to cover the film; None for nothing."""
        return max(self._comes.values(), default=None)
