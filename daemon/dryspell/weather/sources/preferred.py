"""Several sources in order of preference: the next steps in where one fails, and fills in what one does not know."""

import logging
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta

from dryspell.errors import WeatherError
from dryspell.weather.checks import as_instant, known_at
from dryspell.weather.fill import filled_in, lacking
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable
from dryspell.weather.waits import instant_text

log = logging.getLogger(__name__)

_AHEAD = timedelta(minutes=10)
"""Weather that is about to be too old is so already: the next question may be minutes away, and must come in time."""
_CLOCKS_APART = timedelta(hours=1)
"""Weather made further ahead of the present than this shows a wrong clock, and is not used."""


@dataclass
class _Tried:
    """What came of asking, until one source is found that can be gone by."""

    reasons: list[str] = field(default_factory=list)
    waits_s: list[float | None] = field(default_factory=list)
    late: list[WeatherTable] = field(default_factory=list)
    failing: dict[str, str] = field(default_factory=dict)

    def fails(self, source: Source, reason: str, wait_s: float | None = None) -> None:
        """Note why a source cannot be gone by, and how long it asks to be left alone."""
        self.failing[source.name] = reason
        self.reasons.append(f"{source.name}: {reason}")
        self.waits_s.append(wait_s)


class Preferred:
    """A source made of several.

    The weather is that of the first source, in order, that has a temperature for the time ahead and is not too old.
    What it does not know is filled in from those after it, and said so (see `dryspell.weather.fill`). A source further
    down is asked only where one before it failed, or left something open that a judgement would want.

    Parameters
    ----------
    sources
        In order of preference, one at the least.
    stale_after_h
        Weather older than this is not acted on, and does not stand in the way of younger weather [h].
    """

    def __init__(self, sources: Sequence[Source], *, stale_after_h: float) -> None:
        if not sources:
            raise ValueError("an order of preference needs a source")
        self._sources = tuple(sources)
        self._stale_after = timedelta(hours=stale_after_h)
        self.failing: dict[str, str] = {}
        """What the sources that were asked last and gave no weather to go by said, by name."""

    @property
    def name(self) -> str:
        """The names of the sources, in order."""
        return " then ".join(source.name for source in self._sources)

    @property
    def attribution(self) -> str:
        """The credits of all the sources; a table carries those of the ones it is from."""
        return "; ".join(dict.fromkeys(source.attribution for source in self._sources if source.attribution))

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the weather of the first source that can be gone by, with the rest filled in.

        Why sources before it could not be used stands in the notes. Where all that there is is too old, the youngest is
        returned as it is.

        Raises
        ------
        WeatherError
            No source gave weather; the message has the reason of each, and `retry_after_s` is the shortest of theirs.
        """
        tried = _Tried()
        self.failing = tried.failing
        for place, source in enumerate(self._sources):
            table = self._usable(source, now, tried)
            if table is not None:
                done = self._completed(table, self._sources[place + 1 :], now)
                instead = (f"{table.source} is used instead",) if tried.reasons else ()
                return replace(done, notes=(*tried.reasons, *instead, *done.notes))
        if tried.late:
            youngest = max(tried.late, key=lambda table: table.issued_at)
            return replace(youngest, notes=(*tried.reasons, *youngest.notes))
        waits_s = [wait_s for wait_s in tried.waits_s if wait_s is not None]
        # One that names no time may be asked again whenever the caller likes.
        nearest_s = min(waits_s) if len(waits_s) == len(tried.waits_s) else None
        raise WeatherError("; ".join(tried.reasons), retry_after_s=nearest_s)

    def _usable(self, source: Source, now: datetime, tried: _Tried) -> WeatherTable | None:
        """Return a source's weather if it can be gone by; else note why not."""
        try:
            table = _fetch(source, now)
        except WeatherError as error:
            tried.fails(source, str(error), error.retry_after_s)
            return None
        ahead = table.times > as_instant(now)
        if not (known_at(table.columns, ("air_temperature",)) & ahead).any():
            tried.fails(source, "it knows no temperature from now on")
            return None
        if not self._young(table, now):
            tried.fails(source, self._too_old(table))
            tried.late.append(table)
            return None
        return table

    def _completed(self, table: WeatherTable, others: Sequence[Source], now: datetime) -> WeatherTable:
        for source in others:
            wanted = lacking(table, now)
            if not wanted:
                break
            left_open = f"{' and '.join(wanted)} not filled in from {source.name}"
            try:
                other = _fetch(source, now)
            except WeatherError as error:
                table = replace(table, notes=(*table.notes, f"{left_open}: {error}"))
                continue
            if self._young(other, now):
                table = filled_in(table, other, now)
            else:
                table = replace(table, notes=(*table.notes, f"{left_open}: {self._too_old(other)}"))
        return table

    def _young(self, table: WeatherTable, now: datetime) -> bool:
        return -_CLOCKS_APART <= now - table.issued_at <= self._oldest(table) - _AHEAD

    def _oldest(self, table: WeatherTable) -> timedelta:
        return self._stale_after + timedelta(hours=table.cycle_h)

    def _too_old(self, table: WeatherTable) -> str:
        hours = self._oldest(table) / timedelta(hours=1)
        return f"its weather of {instant_text(table.issued_at)} is not within the {hours:g} h that are acted on"


def _fetch(source: Source, now: datetime) -> WeatherTable:
    try:
        return source.fetch(now)
    except WeatherError:
        raise
    except Exception as error:
        # A fault in the reader of one service must not keep the others from being asked.
        log.exception("%s failed", source.name)
        raise WeatherError(f"it failed in a way that nobody foresaw ({type(error).__name__})") from None
