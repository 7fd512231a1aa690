"""The record as ticks make it: forecasts as issued, the past as read, and old days packed."""

import random
from datetime import timedelta

import numpy as np
import pytest

from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.store import Store
from dryspell.store.readings import Checked
from dryspell.tick.gather import Gatherer
from dryspell.tick.round import TIDY_STEPS, Round
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from yard import START, FakeSource, Taken, config, weather

HOUR = timedelta(hours=1)


class Bench:
    def __init__(self, folder, more=""):
        self.clock = FixedClock(START)
        self.store = Store(folder / "state" / "dryspell.sqlite3")
        self.config = config(folder, more)
        self.source = FakeSource(lambda: weather(self.clock.at))
        sources = {"harbour": self.source, "orchard": self.source}
        self.gatherer = Gatherer(self.config, self.store, self.clock, sources, random.Random(1))
        self.delivery = Delivery(self.store, Taken(), self.config.alerts, self.clock, random.Random(1))
        self.round = Round(self.config, self.store, self.clock, self.gatherer, self.delivery)

    def tick(self):
        self.round.run(fetch_wait_s=30)
        assert self.delivery.wait(30)

    def read(self, at, value, name="air_temperature"):
        self.store.keep_readings([Checked("harbour", "", Reading("mast", name, at, value), Flag.GOOD)])


@pytest.fixture
def bench(tmp_path):
    bench = Bench(tmp_path)
    yield bench
    bench.store.close()


def test_every_forecast_that_is_fetched_is_kept_as_issued(bench):
    for _ in range(3):
        bench.tick()
        bench.clock.at += 2 * HOUR
    issues = list(bench.store.issues_between("harbour", START, bench.clock.at))
    assert [issue.issued_at for issue in issues] == [START, START + 2 * HOUR, START + 4 * HOUR]
    assert issues[0].columns["relative_humidity"][0, 0] == 55.0


def test_what_has_been_is_as_it_was_read(bench):
    bench.read(START - HOUR, 9.0)
    table = bench.gatherer.tables({}, wait_s=30)["harbour"]
    at = np.datetime64(int((START - HOUR).timestamp()), "s")
    air = dict(zip(table.times.tolist(), table.columns["air_temperature"][0].tolist(), strict=True))
    assert air[at.tolist()] == 9.0
    before = [value for when, value in air.items() if when < at.tolist()]
    assert before == [18.0] * 47
    # What is ahead leans on the last reading, and less and less.
    ahead = [value for when, value in air.items() if when > at.tolist()]
    assert ahead == sorted(ahead)
    assert 9.0 < ahead[0] < ahead[-1] == 18.0
    assert any("read at 1 by mast" in note for note in table.notes)


def test_old_days_are_packed_a_few_at_a_tick_and_go_when_the_configuration_says_so(tmp_path):
    bench = Bench(tmp_path, 'record = { readings = "30 d" }')
    for day in range(40):
        bench.read(START - timedelta(days=day), 15.0)

    def left(table):
        return bench.store._rows(f"SELECT count(*) FROM {table}")[0][0]

    before = left("readings")
    bench.tick()
    assert left("readings") == before - TIDY_STEPS
    for _ in range(12):
        bench.tick()
    assert (left("readings"), left("reading_days")) == (4, 27)
    bench.store.close()
