"""The daemon dies at every write of its state, before or after it counts, and is started again.

Each notice that an undisturbed run sends must arrive, none more than twice, and no two processes may disagree.
"""

import random
from collections import Counter
from contextlib import contextmanager
from datetime import timedelta

import pytest

from alerts.fakes import at, outlook, unknown, window
from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.store import Store
from dryspell.tick import Gatherer, Round
from dryspell.tick import round as round_module
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
KINDS = ["tomorrow", "wait", "coat_now", "wait", "tomorrow", "weather_lost", "coat_now"]


class Killed(BaseException):
    """The process is gone: nothing after this runs."""


class Mortal(Store):
    """A store whose process is killed at its n-th write, before it is committed or just after."""

    deaths = ()

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


class Play:
    """Plays the timeline with deaths at given writes, in one state file."""

    def __init__(self, folder, monkeypatch):
        self.folder = folder
        self.seen = None
        monkeypatch.setattr(round_module, "look", self._look)
        # Jobs run where they are started, so that a kill in one is a kill of all.
        monkeypatch.setattr(Workers, "start", lambda _self, _name, job: job() or True)

    def _look(self, _config, _coats, _tables, now, _on_error):
        return [unknown(now) if self.seen is None else outlook(now, self.seen)]

    def __call__(self, name, deaths=()):
        """Return what arrived how often, and how many writes there were."""
        fragile = type("Fragile", (Mortal,), {"deaths": set(deaths), "writes": 0})
        sender, clock = Taken(), FixedClock(TIMELINE[0][0])
        store, daemon = self._start(fragile, name, sender, clock)
        for now, self.seen in TIMELINE:
            clock.at, done = now, 0
            while done < 3:
                try:
                    daemon.run()
                except Killed:
                    store._connection.close()
                    store, daemon = self._start(fragile, name, sender, clock)
                else:
                    done += 1
                    clock.at += timedelta(seconds=40)
        assert store._rows("PRAGMA integrity_check") == [("ok",)]
        store.close()
        return Counter(sender.took), fragile.writes

    def _start(self, store_class, name, sender, clock):
        settings = config(self.folder)
        store = store_class(self.folder / f"{name}.sqlite3")
        sources = {key: FakeSource(weather()) for key in settings.site}
        gatherer = Gatherer(settings, store, clock, sources, random.Random(1))
        delivery = Delivery(store, sender, settings.alerts, clock, random.Random(1))
        return store, Round(settings, store, clock, gatherer, delivery)


@pytest.fixture
def run(tmp_path, monkeypatch):
    return Play(tmp_path, monkeypatch)


def test_an_undisturbed_run_sends_each_notice_once_to_each_target(run):
    arrived, _ = run("whole")
    assert set(arrived.values()) == {1}
    assert Counter(target for target, _, _ in arrived) == {"phone": len(KINDS), "relay": len(KINDS)}


@pytest.mark.parametrize("when", ["before", "after"])
def test_a_death_at_any_write_loses_nothing_and_repeats_once_at_the_most(run, when):
    whole, writes = run("whole")
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
    whole, writes = run("whole")
    rng = random.Random(seed)
    # So far apart that no message meets two of them between sending and writing: a tick writes five times.
    deaths, n = [], rng.randint(1, 11)
    while n < 2 * writes:
        deaths.append((n, rng.choice(["before", "after"])))
        n += rng.randint(11, 17)
    arrived, _ = run("many", deaths)
    assert arrived.keys() == whole.keys()
    assert max(arrived.values()) <= 2
