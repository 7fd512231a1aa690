"""The daemon keeps the plan current: made beside the ticks, when something it hangs on has changed."""

import random
from datetime import timedelta
from itertools import pairwise

import numpy as np
import pytest

from dryspell.alerts.deliver import Delivery
from dryspell.clock import FixedClock
from dryspell.outlook.model import Coat
from dryspell.store import Store
from dryspell.tick import plans as ticking
from dryspell.tick.gather import Gatherer
from dryspell.tick.lessons import as_here, learn
from dryspell.tick.look import look
from dryspell.tick.plans import Planner, kept, plans
from dryspell.tick.round import Round
from yard import START, FakeSource, Taken, config, weather


@pytest.fixture
def store(tmp_path):
    store = Store(tmp_path / "state" / "dryspell.sqlite3")
    yield store
    store.close()


@pytest.fixture
def clock():
    return FixedClock(START)


class Yard:
    """Ticks with a planner beside them."""

    def __init__(self, store, clock, folder):
        self.config, self.store, self.clock = config(folder), store, clock
        self.source = FakeSource(weather(hours=24 * 16))
        self.gatherer = Gatherer(
            self.config, store, clock, {"harbour": self.source, "orchard": self.source}, random.Random(1)
        )
        delivery = Delivery(store, Taken(), self.config.alerts, clock, random.Random(1))
        self.planner = Planner(store)
        self.round = Round(self.config, store, clock, self.gatherer, delivery, planner=self.planner)

    def tick(self):
        self.round.run(fetch_wait_s=30)
        assert self.planner.wait(60)
        return self.planner.latest


@pytest.fixture
def yard(store, clock, tmp_path):
    return Yard(store, clock, tmp_path)


def test_the_first_tick_makes_a_plan_of_every_piece_and_keeps_it(yard):
    made = yard.tick()
    assert [plan.piece for plan in made.plans] == ["rail", "bench"]
    assert all(plan.planned for plan in made.plans)
    assert yard.store.plans() == {plan.piece: plan for plan in made.plans}


def test_another_minute_makes_no_other_plan_and_a_coat_does(yard):
    made = yard.tick()
    yard.clock.at += timedelta(minutes=1)
    assert yard.tick() is made
    next_coat = made.plans[0].planned[0]
    yard.clock.at = next_coat.last_stroke + timedelta(minutes=1)
    yard.store.add_coat(
        Coat(piece="rail", number=4, finished_at=next_coat.last_stroke, recorded_at=next_coat.last_stroke)
    )
    again = yard.tick()
    assert again is not made
    assert again.plans[0].planned[0].number == 5


def test_a_new_forecast_makes_a_new_plan_that_stays_with_the_old_one(yard):
    made = yard.tick()
    yard.clock.at += timedelta(minutes=10)
    yard.source.answer = weather(yard.clock.at, first=START - timedelta(days=2), hours=24 * 16, air_temperature=18.3)
    yard.gatherer.refetch()
    again = yard.tick()
    assert again is not made
    moved = [coat.moved for plan in again.plans for coat in plan.planned]
    assert len(moved) >= sum(len(plan.planned) for plan in made.plans)
    assert not any(moved), "what was promised is kept, as little has changed"


def test_issues_an_hour_apart_that_foretell_the_same_move_neither_windows_nor_the_plan(store, tmp_path):
    """The odds of an hour belong to the hour, and not to the issue: nothing is drawn anew."""
    folder = config(tmp_path)
    hours = np.arange(24 * 16)
    day = np.sin((hours + 1) / 24 * 2 * np.pi)
    foretold = {
        "air_temperature": 16.0 + 6.0 * day,
        "relative_humidity": 70.0 - 20.0 * day,
        "wind_speed": 2.0 + 1.5 * np.sin(hours / 24 * 2 * np.pi),
        "cloud_area_fraction": 40.0 + 30.0 * np.sin(hours / 37),
    }
    promised, windows = {}, []
    for later in range(4):
        now = START + timedelta(hours=8 + later)  # from the evening on, when nothing is to be coated before the morning
        table = weather(now, first=START - timedelta(days=2), hours=hours.size, **foretold)
        here = {
            site: as_here(table, learn(store, site, table, now), store, site, now, members=20) for site in folder.site
        }
        assert all(each.members == 20 for each in here.values())
        outlooks = look(folder, {}, here, now)
        made = plans(folder, {}, here, now, promised)
        promised = {plan.piece: plan for plan in made.plans}
        assert all(plan.planned for plan in made.plans)
        assert not any(coat.moved for plan in made.plans for coat in plan.planned)
        windows.append([[(window.start, window.last_start) for window in each.windows] for each in outlooks])
    step = timedelta(minutes=15)
    for before, after in pairwise(windows):
        for was, found in zip(before, after, strict=True):
            near = [any(max(abs(a - b), abs(c - d)) <= step for b, d in found) for a, c in was]
            assert all(near[:3]), "in the next days not one edge moves by more than a quarter of an hour"
            assert np.mean(near) >= 0.7


def test_a_coat_that_was_to_be_on_by_now_and_is_not_makes_another_plan(yard):
    made = yard.tick()
    first = min(plan.planned[0].last_stroke for plan in made.plans)
    yard.clock.at = first + timedelta(minutes=30)
    assert yard.tick() is made, "it may be recorded yet"
    yard.clock.at = first + timedelta(hours=2)
    again = yard.tick()
    assert again is not made
    assert "missed" in {coat.moved.why for plan in again.plans for coat in plan.planned if coat.moved}


def test_one_piece_that_cannot_be_looked_at_leaves_the_others_their_plan(yard, monkeypatch, caplog):
    look = ticking.prospect_of

    def failing(piece, *rest, **more):
        if piece.key == "rail":
            raise ValueError("no such day")
        return look(piece, *rest, **more)

    monkeypatch.setattr(ticking, "prospect_of", failing)
    made = yard.tick()
    assert [plan.piece for plan in made.plans] == ["bench"]
    assert "rail could not be planned" in caplog.text


def test_a_piece_that_cannot_be_planned_is_said_once_for_each_kind_of_fault(yard, monkeypatch, caplog):
    look, faults = ticking.prospect_of, []

    def failing(piece, *rest, **more):
        if piece.key == "rail" and faults:
            raise faults[0](f"at {len(caplog.records)}")  # never the same text twice
        return look(piece, *rest, **more)

    monkeypatch.setattr(ticking, "prospect_of", failing)

    def said_in_plans(number, *fault):
        faults[:] = fault
        caplog.clear()
        for _ in range(number):
            yard.clock.at += timedelta(minutes=10)
            yard.source.answer = weather(yard.clock.at, first=START - timedelta(days=2), hours=24 * 16)
            yard.gatherer.refetch()
            yard.tick()
        return [record.getMessage() for record in caplog.records if "could not be planned" in record.getMessage()]

    (said,) = said_in_plans(3, ValueError)
    assert "Traceback" in said
    assert said_in_plans(2, MemoryError) == ["rail could not be planned: there was not enough memory"]
    assert said_in_plans(1) == []
    assert len(said_in_plans(2, MemoryError)) == 1, "again, once it has gone well"


def test_a_fault_of_the_planning_is_logged_and_the_tick_goes_on(yard, monkeypatch, caplog):
    def failing(*_, **__):
        raise RuntimeError("out of paper")

    monkeypatch.setattr(ticking, "make_plans", failing)
    assert yard.tick() is None
    assert "out of paper" in caplog.text


def test_without_weather_what_was_promised_is_not_taken_back(yard):
    made = yard.tick()
    nothing = plans(yard.config, {}, {}, yard.clock.at, yard.store.plans())
    assert not any(plan.planned for plan in nothing.plans)
    kept(yard.store, nothing)
    assert yard.store.plans() == {plan.piece: plan for plan in made.plans}


def test_a_plan_that_is_under_way_when_the_daemon_leaves_comes_to_nothing(yard):
    yard.planner.leave()
    assert yard.tick() is None
    assert yard.store.plans() == {}


def test_of_more_pieces_than_a_machine_can_plan_those_of_most_priority_are_planned_and_it_is_said_once(
    yard, monkeypatch, caplog
):
    monkeypatch.setattr(ticking, "MOST_PIECES", 1)
    bench = yard.config.piece["bench"]
    yard.config.piece["bench"] = bench.model_copy(update={"priority": 5})
    assert [plan.piece for plan in yard.tick().plans] == ["bench"]
    yard.clock.at += timedelta(minutes=10)
    yard.source.answer = weather(yard.clock.at, first=START - timedelta(days=2), hours=24 * 16, air_temperature=18.3)
    yard.gatherer.refetch()
    yard.tick()
    said = [record.getMessage() for record in caplog.records if "plans are made of" in record.getMessage()]
    assert len(said) == 1
    assert "1 pieces at the most, by priority; 1 have none, such as rail" in said[0]
