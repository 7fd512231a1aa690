"""What ticks keep of what they say of the weather ahead, and what came of it."""

import random
from datetime import timedelta

import pytest

from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.outlook.conditions import conditions_at
from dryspell.outlook.foretold import CAME, CAME_NOT, LEADS_H, OFF_DUTY, what_came
from dryspell.outlook.model import Limit
from dryspell.store import Store
from dryspell.tick.gather import Gatherer
from dryspell.tick.round import Round
from yard import START, FakeSource, Taken, config, weather

HOUR = timedelta(hours=1)
LONG_AGO = START - timedelta(days=30)


@pytest.fixture
def ticks(tmp_path):
    """Run a tick at an instant on a forecast; the store is its `store`."""
    store = Store(tmp_path / "state" / "dryspell.sqlite3")
    clock, settings = FixedClock(START), config(tmp_path, "weather = { members = 1 }")
    source = FakeSource(lambda: weather(clock.at))
    gatherer = Gatherer(settings, store, clock, {"harbour": source, "orchard": source}, random.Random(1))
    delivery = Delivery(store, Taken(), settings.alerts, clock, random.Random(1))
    of = Round(settings, store, clock, gatherer, delivery)

    def tick(at):
        clock.at = at
        seen = of.run(fetch_wait_s=30)
        delivery.wait(30)
        return seen

    tick.store, tick.config, tick.source = store, settings, source
    yield tick
    store.close()


def test_once_an_hour_is_kept_what_is_said_at_each_lead_time_in_working_hours(ticks):
    for minutes in (0, 1, 30, 60):
        ticks(START + timedelta(minutes=minutes))
    kept = ticks.store.foretold("rail", LONG_AGO, START + HOUR)
    # At noon the hours to come up to 18:00 are worked in, and so is noon on the days to come.
    leads = kept.rows["lead_h"].tolist()
    assert [lead for lead in leads if lead < 120] == [0, 1, 3, 24, 48, 72] * 2
    assert kept.starts.tolist()[:2] == [at.replace(tzinfo=None) for at in (START, START + HOUR)]
    assert set(leads) < set(LEADS_H)
    assert kept.rows["yes"].all()
    assert (kept.rows["share"] == 1.0).all()


def test_what_is_said_of_the_weather_does_not_hang_on_the_coat_below(ticks):
    from dryspell.outlook.model import Coat

    ticks.store.add_coat(Coat(piece="rail", number=4, finished_at=START - HOUR, recorded_at=START))
    seen = next(outlook for outlook in ticks(START).outlooks if outlook.piece == "rail")
    assert (seen.word, seen.reason.limit) == ("wait", Limit.COAT_BELOW)
    assert {(each.word, each.coat) for each in seen.foretold} == {("coat", 5)}


def test_with_the_weather_that_was_forecast_all_that_was_said_came(ticks):
    for hours in (0, 20, 24):
        ticks(START + hours * HOUR)
    piece = ticks.config.piece["rail"]
    kept = ticks.store.foretold("rail", LONG_AGO, START + timedelta(days=2))
    c = conditions_at(piece, ticks.config.site_of(piece), weather(START, hours=24 * 14))
    came = what_came(kept, c, piece, ticks.config.lays_of(piece))
    assert len(kept) > 10
    assert (came == CAME).all()


def test_with_other_weather_than_was_forecast_nothing_of_it_came(ticks):
    ticks(START)
    piece = ticks.config.piece["rail"]
    kept = ticks.store.foretold("rail", LONG_AGO, START)
    damp = weather(START, hours=24 * 14, relative_humidity=96.0)
    came = what_came(kept, conditions_at(piece, ticks.config.site_of(piece), damp), piece, ticks.config.lays_of(piece))
    assert (came == CAME_NOT).all()


def test_hours_off_work_are_no_weather():
    assert {Limit.HOURS, Limit.DAYLIGHT, Limit.COVER} == set(OFF_DUTY)
