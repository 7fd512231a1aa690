"""The daemon in a past period: its own ticks on a clock that is set, with a finisher who does what it says."""

import logging
import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from dryspell.alerts.deliver import Delivery, Draw
from dryspell.clock import FixedClock
from dryspell.config import Config
from dryspell.config.target import AlertTarget
from dryspell.replay.account import Planned, Said
from dryspell.replay.bench import Bench
from dryspell.replay.planning import Planning, each_by_its_own
from dryspell.replay.station import BEFORE, Station, live_through
from dryspell.replay.truth import BuildUp, Laid, Truth
from dryspell.store import Store
from dryspell.store.store import open_store
from dryspell.tick.gather import Gatherer
from dryspell.tick.round import Round
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable

WAIT_S = 600.0


class _Here:
    """Takes what is sent; nothing leaves."""

    def send(self, target: str, title: str, body: str, draw: Draw | None = None) -> None:
        """Take a message."""


class Rerun:
    """The daemon from one instant to another.

    Parameters
    ----------
    truths
        By piece.
    sources
        By site, what was forecast when.
    every
        How often a forecast is issued; a multiple of a quarter of an hour.
    takes_tight
        Whether the finisher begins coats in hours that the alerts call tight, where they named no better ones.
    readings
        By site, the weather that a sensor there reads as it comes.
    plans
        Whether plans are made on the way, as the daemon makes them.
    theirs
        By piece, the coats that are recorded of somebody who does not go by what is said; None for who does.
    fresh
        Whether a fresh piece takes the place of one that is built up.
    """

    def __init__(
        self,
        config: Config,
        truths: Mapping[str, Truth],
        sources: Mapping[str, Source],
        *,
        every: timedelta,
        takes_tight: bool,
        readings: Mapping[str, WeatherTable],
        plans: bool,
        theirs: Mapping[str, Sequence[Laid]] | None = None,
        fresh: bool = True,
    ) -> None:
        self._config = config
        self._readings = readings
        self._truths = truths
        self._sources = sources
        self._every = every
        self._takes_tight = takes_tight
        self._plans = plans
        self._theirs = theirs
        self._fresh = fresh
        self.said: list[Said] = []
        self.ticks = 0
        self.planned: dict[str, Planned] = {}
        self.build_ups: dict[str, BuildUp] = {}

    def run(self, begin: datetime, end: datetime, progress: Callable[[datetime], None]) -> None:
        """Go from one instant to another; `progress` is told of each instant that is looked at."""
        with _quiet(), TemporaryDirectory(prefix="dryspell-replay-") as folder:
            alerts = {"finisher": AlertTarget.model_validate({"key": "finisher", "url": "nobody://here"})}
            people = {person.key: person for person in each_by_its_own(self._config)}
            config = replace(self._config, state_dir=Path(folder), alerts=alerts, sensor={}, person=people)
            with closing(open_store(config.state_dir)) as store:
                store.make_passing()
                self._through(config, store, begin, end, progress)

    def _through(
        self, config: Config, store: Store, begin: datetime, end: datetime, progress: Callable[[datetime], None]
    ) -> None:
        clock = FixedClock(begin)
        gatherer = Gatherer(config, store, clock, self._sources, random.Random(0))  # noqa: S311  (nothing secret)
        delivery = Delivery(store, _Here(), config.alerts, clock, random.Random(0))  # noqa: S311  (nothing secret)
        benches = {
            key: Bench(
                truth,
                store,
                takes_tight=self._takes_tight,
                theirs=None if self._theirs is None else self._theirs[key],
                fresh=self._fresh,
            )
            for key, truth in self._truths.items()
        }
        self.build_ups = {key: bench.build_up for key, bench in benches.items()}
        planning = Planning(store, self.build_ups) if self._plans else None
        ticks = Round(config, store, clock, gatherer, delivery, planner=planning.planner if planning else None)
        stations = [Station(store, site, table, begin - BEFORE) for site, table in self._readings.items()]
        for site in self._readings:
            live_through(store, site, self._sources[site], begin - BEFORE, begin, self._every)
        issue_at = begin
        while clock.at < end:
            now = clock.at
            progress(now)
            if now >= issue_at:
                gatherer.refetch()
                issue_at += self._every
            for station in stations:
                station.read(now)
            for bench in benches.values():
                bench.record(now)
            seen = ticks.run(fetch_wait_s=WAIT_S)
            delivery.wait(WAIT_S)
            if planning is not None:
                planning.follow(WAIT_S, (key for key, bench in benches.items() if bench.brushing))
            self.ticks += 1
            sent = (m for m in seen.messages if m.targets and m.piece in self._truths)
            parts = {notice.key: notice.each for notice in seen.notices}
            self.said += [Said(now, m.piece, m.kind, m.title, m.body, parts.get(m.key, ())) for m in sent]
            for notice in (part for whole in seen.notices for part in whole.each):
                benches[notice.piece].hear(notice)
            outlooks = {outlook.piece: outlook for outlook in seen.outlooks}
            for key, bench in benches.items():
                bench.work(now, outlooks[key])
            clock.at = min([issue_at, *(at for key, b in benches.items() for at in b.next_at(now, outlooks[key]))])
        if planning is not None:
            self.planned = {key: planning.account(key) for key in benches}


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep what the daemon logs at every change of a verdict to itself; what went wrong is said still."""
    ours = logging.getLogger("dryspell")
    before = ours.level
    ours.setLevel(logging.WARNING)
    try:
        yield
    finally:
        ours.setLevel(before)
