"""The daemon dies at every write of its state, before or after it counts, and is started again.

Each notice that an undisturbed run sends must arrive, none more than twice, and no two processes may disagree.
"""

import random
from collections import Counter
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import timedelta

import pytest

from alerts.fakes import at, outlook, unknown, window
from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.store import Store
from dryspell.tick import round as round_module
from dryspell.tick.gather import Gatherer
from dryspell.tick.round import Round
from dryspell.workers import Workers
from yard import FakeSource, Taken, config, weather

W = [window(3, "09:45", "14:00")]
MOVED = [window(3, "11:30", "15:00")]
# What is seen at each instant; the notices are a heads-up, a correction, coat now, a withdrawal, lost weather.
TIMELINE = [
    (at(2, "17:00"), W),
    (at(2, "18:00"), W),
    (at(2, "20:00"), MOVED),
    (at(3, "11:30"), MOVED),
    (at(3, "12:00"), ()),
    (at(3, "18:00"), [window(4, "09:00", "12:00")]),
    (at(3, "20:00"), None),
    (at(4, "09:00"), [window(4, "09:00", "12:00")]),
    (at(4, "09:01"), [window(4, "09:00", "12:00")]),
]
# Each twice, as a daemon looks again and again.
STEPS = [(now + timedelta(seconds=later), seen) for now, seen in TIMELINE for later in (0, 40)]
KINDS = ["tomorrow", "wait", "coat_now", "wait", "tomorrow", "weather_lost", "coat_now"]


class Killed(BaseException):
    """The process is gone: nothing after this runs."""


class Mortal(Store):
    """A store whose process is killed at its n-th write, before it is committed or just after."""

    deaths = ()

    def _prepare(self, migrations):
        super()._prepare(migrations)
        # The process dies here, not the machine: what was committed stays without waiting for a disk.
        self._connection.execute("PRAGMA synchronous = OFF")

    @contextmanager
    def _transaction(self):
        with super()._transaction() as connection:
            yield connection
            if self._dies("before"):
                raise Killed
        if self._dies("after"):
            raise Killed

    def _dies(self, when):
        cls = type(self)
        cls.writes += when == "before"
        return (cls.writes, when) in cls.deaths


@dataclass(frozen=True)
class Mark:
    """Where an undisturbed run was before one of its steps."""

    step: int
    state: bytes
    took: list
    writes: int


class Play:
    """Plays the timeline with deaths at given writes, in one state file."""

    def __init__(self, folder, monkeypatch):
        self.folder = folder
        self.seen = None
        self.marks = []
        monkeypatch.setattr(round_module, "look", self._look)
        # Jobs run where they are started, so that a kill in one is a kill of all.
        monkeypatch.setattr(Workers, "start", lambda _self, _name, job: job() or True)

    def _look(self, _config, _coats, _tables, now, *_):
        return [unknown(now) if self.seen is None else outlook(now, self.seen)]

    def whole(self):
        """Return what arrives how often when nobody dies, and how many writes there are; note the way there."""
        self.marks = []
        return self("whole", note=True)

    def __call__(self, name, deaths=(), *, note=False):
        """Return what arrived how often, and how many writes there were.

        What comes before the first death is as in the whole run, and is not played again.
        """
        first = min((n for n, _ in deaths), default=1)
        mark = max((m for m in self.marks if m.writes < first), key=lambda m: m.writes, default=None)
        path = self.folder / f"{name}.sqlite3"
        if mark is not None:
            path.write_bytes(mark.state)
        fragile = type("Fragile", (Mortal,), {"deaths": set(deaths), "writes": mark.writes if mark else 0})
        sender, clock, step = Taken(), FixedClock(TIMELINE[0][0]), mark.step if mark else 0
        sender.took += mark.took if mark else []
        store, daemon = self._start(fragile, path, sender, clock)
        while step < len(STEPS):
            clock.at, self.seen = STEPS[step]
            if note:
                self.marks.append(Mark(step, store._connection.serialize(), list(sender.took), fragile.writes))
            try:
                daemon.run()
            except Killed:
                store._connection.close()
                store, daemon = self._start(fragile, path, sender, clock)
            else:
                step += 1
        assert store._rows("PRAGMA integrity_check") == [("ok",)]
        store.close()
        return Counter(sender.took), fragile.writes

    def _start(self, store_class, path, sender, clock):
        settings = config(self.folder, "weather.members = 1")
        store = store_class(path)
        sources = {key: FakeSource(weather()) for key in settings.site}
        gatherer = Gatherer(settings, store, clock, sources, random.Random(1))
        delivery = Delivery(store, sender, settings.alerts, clock, random.Random(1))
        return store, Round(settings, store, clock, gatherer, delivery)


@pytest.fixture
def run(tmp_path, monkeypatch):
    return Play(tmp_path, monkeypatch)


def test_an_undisturbed_run_sends_each_notice_once_to_each_target(run):
    arrived, _ = run.whole()
    assert set(arrived.values()) == {1}
    assert Counter(target for target, _, _ in arrived) == {"phone": len(KINDS), "relay": len(KINDS)}


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_death_at_any_write_loses_nothing_and_repeats_once_at_the_most(run, when):
    whole, writes = run.whole()
    repeated = 0
    for n in range(1, writes + 1):
        arrived, _ = run(f"{when}-{n}", [(n, when)])
        assert arrived.keys() == whole.keys(), n
        assert max(arrived.values()) <= 2, n
        repeated += sum(count - 1 for count in arrived.values())
    # A death between sending and writing it down is the one case that repeats; a death after never does.
    assert (repeated > 0) == (when == "before")


@pytest.mark.parametrize("seed", range(8))
def test_many_deaths_lose_nothing(run, seed):
    whole, writes = run.whole()
    rng = random.Random(seed)
    # So far apart that no message meets two of them between sending and writing: a tick writes five times.
    deaths, n = [], rng.randint(1, 11)
    while n < 2 * writes:
        deaths.append((n, rng.choice(["before", "after"])))
        n += rng.randint(11, 17)
    arrived, _ = run("many", deaths)
    assert arrived.keys() == whole.keys()
    assert max(arrived.values()) <= 2
