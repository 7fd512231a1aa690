"""The daemon in a past period: its own ticks on a clock that is set, with a finisher who does what it says."""

import logging
import random
from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory

from dryspell.alerts.deliver import Delivery, Draw
from dryspell.alerts.topics.risk import LEAD, REMIND, SUN_LEAD
from dryspell.clock import FixedClock
from dryspell.config import AlertTarget, Config
from dryspell.outlook.fate import Fate
from dryspell.outlook.model import Coat, Spoiler
from dryspell.replay.account import Planned, Said
from dryspell.replay.obeying import Told
from dryspell.replay.planning import Planning, each_by_its_own
from dryspell.replay.station import BEFORE, Station, live_through
from dryspell.replay.truth import BuildUp, Laid, Truth
from dryspell.store import Store
from dryspell.store.store import open_store
from dryspell.tick import Gatherer, Round, Seen
from dryspell.weather.sources import Source
from dryspell.weather.table import WeatherTable

WAIT_S = 600.0
GRID = timedelta(minutes=15)


_SPOILT: Mapping[Fate, Spoiler] = {Fate.DEW: "dew", Fate.RAIN: "rain", Fate.COLD: "cold", Fate.HEAT: "heat"}


class _Here:
    """Takes what is sent; nothing leaves."""

    def send(self, target: str, title: str, body: str, draw: Draw | None = None) -> None:
        """Take a message."""


class _Bench:
    """One piece while the daemon runs: what is on it, what its finisher was told, and what is to be recorded.

    Parameters
    ----------
    theirs
        The coats that somebody lays who goes by something else; None for who goes by what is said.
    fresh
        Whether a fresh piece takes the place of one that is built up.
    """

    def __init__(
        self, truth: Truth, store: Store, *, takes_tight: bool, theirs: Sequence[Laid] | None, fresh: bool
    ) -> None:
        self.build_up = BuildUp(truth)
        self.told = Told(takes_tight=takes_tight)
        self.store = store
        self._theirs = None if theirs is None else deque(theirs)
        self._fresh = fresh
        self.brushing: Laid | None = None
        self.on: Laid | None = None

    @property
    def truth(self) -> Truth:
        """The weather that came at the piece."""
        return self.build_up.truth

    def record(self, now: datetime) -> None:
        """Enter what has been done by now: a coat that is on, one sanded off again, a piece taken away."""
        piece = self.truth.piece.key
        if self.brushing is not None and self.truth.instant(self.brushing.stroke) <= now:
            lay = self.truth.lays[self.brushing.number - 1]
            at = self.truth.instant(self.brushing.stroke)
            self.store.add_coat(
                Coat(
                    piece=piece,
                    number=lay.number,
                    finished_at=at,
                    thinner_parts=lay.thinner_parts,
                    wet_film_um=lay.wet_film_um,
                    recorded_at=at,
                )
            )
            self.on, self.brushing = self.brushing, None
        if self.on is None:
            return
        if self.on.fate.spoiled and self.truth.instant(self.on.spoiled_at) <= now:
            self.store.spoil_coat(self.store.films(piece)[-1], _SPOILT[self.on.fate], now)
            self.on = None
        elif self._fresh and self.on.number == len(self.truth.lays) and self.truth.index(now) >= self.on.ready:
            while self.store.films(piece):
                self.store.undo_coat(piece, now)
            self.on = None

    def work(self, now: datetime) -> None:
        """Begin a coat if it was told and the piece is ready and dry."""
        at = self.truth.index(now)
        if self._theirs is not None:
            if self._theirs and self._theirs[0].start <= at:
                self.brushing = self._theirs.popleft()
            return
        if self.build_up.built_up and not self._fresh:
            return
        due = self.brushing is None and self.told.begins_by_now(now) and at < self.truth.end
        if due and self.truth.dry[at] and self.build_up.may_begin(at):
            self.brushing = self.build_up.lay(at)
            self.told.forget()

    def next_at(self, now: datetime, seen: Seen) -> Iterator[datetime]:
        """Yield the instants after now at which something may have to be done before the next forecast."""
        if self.brushing is not None:
            yield self.truth.instant(self.brushing.stroke)
        elif self._theirs is not None:
            yield from (self.truth.instant(coat.start) for coat in islice(self._theirs, 1))
        elif self.told.has_hours_after(now):
            yield now + GRID
        for outlook in (outlook for outlook in seen.outlooks if outlook.piece == self.truth.piece.key):
            said_at = (risk.at - before for risk in outlook.film_risk or () for before in (LEAD, SUN_LEAD, REMIND))
            yield from (at for at in (*(window.start for window in outlook.windows[:1]), *said_at) if at > now)


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
            key: _Bench(
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
                benches[notice.piece].told.hear(notice)
            for bench in benches.values():
                bench.work(now)
            clock.at = min([issue_at, *(at for bench in benches.values() for at in bench.next_at(now, seen))])
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
