"""Weather for a tick: fetched when it is due, joined to what was met before, and the last good one when it fails.

Fetches run in threads of their own. A tick waits a little for them; one that takes longer is used by the next tick.
"""

import logging
import random
import re
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from dryspell.clock import Clock
from dryspell.config import Config
from dryspell.errors import StoreError, WeatherError
from dryspell.store import Store
from dryspell.tick.lessons import Lessons, as_here, learn, say
from dryspell.tick.sources import SPREAD
from dryspell.weather.join import join
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable
from dryspell.workers import Workers

if TYPE_CHECKING:
    from dryspell.alerts.sources import SourceHealth

log = logging.getLogger(__name__)

RETRY_S = 300.0
READ_EVERY = timedelta(minutes=10)
"""Where there are sensors, their readings change what is ahead so often."""
LOOK_BACK = timedelta(days=2)
"""How far back weather is wanted where no coat asks for more: dew lies and wood stays wet for a while."""
LONGEST_LOOK_BACK = timedelta(days=60)
"""A film that old is past every stage that a next coat depends on."""


_NUMBERS = re.compile(r"\d+(?: (?:days?|h|min|s)\b(?: \d+ (?:h|min)\b)?)?")
"""Numbers, and lengths of time in any form: "1 h", "1 h 5 min", "2 days 1 h"."""


@dataclass
class _Met:
    """What is known of one site's weather."""

    known: WeatherTable | None = None
    next_fetch_at: datetime | None = None
    said: str = ""
    joined: WeatherTable | None = None
    joined_of: WeatherTable | None = None
    joined_for: tuple[datetime, datetime] | None = None
    lessons: Lessons | None = None
    failing: dict[str, tuple[datetime, str]] = field(default_factory=dict)


class Gatherer:
    """Keeps the weather of every site at hand.

    Parameters
    ----------
    sources
        By site.
    rng
        Spreads the fetches.
    """

    def __init__(
        self, config: Config, store: Store, clock: Clock, sources: Mapping[str, Source], rng: random.Random
    ) -> None:
        self._refresh_s = config.weather.refresh_s
        self._members = config.weather.members
        self._read = {sensor.site for sensor in config.sensor.values()}
        self._store = store
        self._clock = clock
        self._sources = sources
        self._rng = rng
        self._workers = Workers()
        self._lock = threading.Lock()
        self._met = {site: _Met() for site in {piece.site for piece in config.piece.values()}}
        for site, met in self._met.items():
            try:
                met.known = store.last_forecast(site)
            except StoreError as error:
                log.warning("%s; it is fetched anew", error)

    def refetch(self) -> None:
        """Have every site's weather fetched at the next tick, whenever it would be due."""
        for met in self._met.values():
            met.next_fetch_at = None

    def tables(
        self, since: Mapping[str, datetime], *, wait_s: float, fetch: bool = True
    ) -> dict[str, WeatherTable | None]:
        """Return the weather of every site as it is known now, None where there is none.

        Parameters
        ----------
        since
            By site, from when on weather is wanted: the last coats.
        wait_s
            How long to wait for fetches that are due.
        fetch
            Without it nobody is asked, and what was kept has to serve.
        """
        now = self._clock.now()
        for site, met in self._met.items():
            if fetch and (met.next_fetch_at is None or met.next_fetch_at <= now):
                self._workers.start(f"weather for {site}", _Fetch(self, site))
        self._workers.wait(wait_s)
        return {site: self._joined(site, met, since.get(site)) for site, met in self._met.items()}

    def wait(self, timeout_s: float) -> bool:
        """Wait until no fetch is under way, or for `timeout_s`; say which."""
        return self._workers.wait(timeout_s)

    def fetch(self, site: str) -> None:
        """Fetch one site's weather and keep it."""
        met, now = self._met[site], self._clock.now()
        # Whatever goes wrong here, it is not tried again at every tick.
        met.next_fetch_at = now + timedelta(seconds=RETRY_S)
        source = self._sources[site]
        try:
            table = source.fetch(now)
        except WeatherError as error:
            self._note_failing(met, getattr(source, "failing", None) or {source.name: str(error)}, now)
            wait_s = RETRY_S if error.retry_after_s is None else error.retry_after_s
            met.next_fetch_at = now + timedelta(seconds=min(max(wait_s, 1.0), self._refresh_s))
            self._note(met, site, f"{error}; {_going_on(met.known)}", logging.WARNING)
            return
        self._note_failing(met, getattr(source, "failing", {}), now)
        # An answer older than an interval is the last good one: the service is asked again before long.
        is_late = now - table.issued_at > timedelta(hours=table.cycle_h, seconds=self._refresh_s * (1 + SPREAD))
        wait_s = RETRY_S if is_late else self._refresh_s * self._rng.uniform(1 - SPREAD, 1 + SPREAD)
        met.next_fetch_at = now + timedelta(seconds=min(wait_s, self._refresh_s))
        self._note(met, site, "; ".join(table.notes), logging.INFO)
        known = met.known
        # One that was kept under a clock that ran ahead must not stand in the way of true ones.
        older = known is not None and known.source == table.source and table.issued_at < known.issued_at <= now
        if older or (known is not None and _same(known, table)):
            return
        if known is not None:
            # After a pause, hours it foretold have become past that the new one may not reach back to.
            self._store.keep_weather(site, known, now)
        self._store.keep_forecast(site, table, now)
        with self._lock:
            met.known = table
        self._store.keep_issue(site, table, now)

    def health(self) -> "list[SourceHealth]":
        """Return how every source does that was asked, by what came of it last."""
        return [each for site, met in self._met.items() for each in self._health(site, met)]

    def _health(self, site: str, met: _Met) -> "list[SourceHealth]":
        from dryspell.alerts.sources import SourceHealth  # noqa: PLC0415  (commands that alert nobody can do without)

        with self._lock:
            failing, known = dict(met.failing), met.known
        names = [name for name in self._sources[site].name.split(" then ") if name]
        instead = known.source if known is not None and failing and known.source not in failing else ""
        instead = instead if len(names) > len(failing) else ""
        return [
            SourceHealth(
                site=site,
                source=name,
                failing_since=failing[name][0] if name in failing else None,
                error=failing[name][1] if name in failing else "",
                instead=instead,
                issued_at=known.issued_at if known else None,
            )
            for name in names
        ]

    def _note_failing(self, met: _Met, failing: Mapping[str, str], now: datetime) -> None:
        """Keep since when each source gives nothing."""
        with self._lock:
            before = met.failing
            met.failing = {name: (before[name][0] if name in before else now, text) for name, text in failing.items()}

    def _note(self, met: _Met, site: str, text: str, level: int) -> None:
        """Log what there is to say of a site's weather, once per change; ages and instants are no change."""
        plain = _NUMBERS.sub("#", text)
        if plain != met.said:
            log.log(level, "weather for %s: %s", site, text or "in order again")
            met.said = plain

    def _joined(self, site: str, met: _Met, since: datetime | None) -> WeatherTable | None:
        with self._lock:
            known = met.known
        if known is None:
            return None
        now = self._clock.now()
        since = max(min(since or now, now - LOOK_BACK), now - LONGEST_LOOK_BACK)
        # A tick a minute need not read the past again before something has been added to it.
        added_to = _cut(now, READ_EVERY if site in self._read else timedelta(hours=1))
        span = (_cut(since, timedelta(hours=1)), added_to)
        if met.joined_of is not known or met.joined_for != span:
            self._store.keep_weather(site, known, now)
            here = as_here(known, self._lessons(site, met, known, now), self._store, site, now, members=self._members)
            past = self._store.past_weather(site, span[0], until=now)
            met.joined = join(past, self._store.with_readings(site, here, now))
            met.joined_of, met.joined_for = known, span
        return met.joined

    def _lessons(self, site: str, met: _Met, known: WeatherTable, now: datetime) -> Lessons:
        """Return what is known of how the site differs from its forecasts, learned anew once a day, or sooner."""
        old = met.lessons
        if old is not None and old.source == known.source and old.at <= now < old.until():
            return old
        met.lessons = learn(self._store, site, known, now)
        say(site, met.lessons, old)
        return met.lessons


def _cut(instant: datetime, step: timedelta) -> datetime:
    """Return the last whole step at or before an instant."""
    return instant - (instant - datetime.min.replace(tzinfo=instant.tzinfo)) % step


class _Fetch:
    def __init__(self, gatherer: Gatherer, site: str) -> None:
        self._gatherer = gatherer
        self._site = site

    def __call__(self) -> None:
        self._gatherer.fetch(self._site)


def _going_on(known: WeatherTable | None) -> str:
    if known is None:
        return "there is none from before either"
    return f"going on with that of {known.issued_at:%Y-%m-%dT%H:%MZ}"


def _same(one: WeatherTable, other: WeatherTable) -> bool:
    """Say whether two tables hold the same weather and the same credit."""
    if (one.issued_at, one.source, one.notes) != (other.issued_at, other.source, other.notes):
        return False
    if one.columns.keys() != other.columns.keys() or not np.array_equal(one.times, other.times):
        return False
    return all(np.array_equal(column, other.columns[name], equal_nan=True) for name, column in one.columns.items())
