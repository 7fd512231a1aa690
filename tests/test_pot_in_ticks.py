"""A pot that is mixed and a plan that moves, through the whole daemon: said once, restarts or not."""

import random
from datetime import timedelta

import pytest

from dryspell.alerts.deliver import Delivery
from dryspell.alerts.kinds import Kind
from dryspell.clock import FixedClock
from dryspell.outlook.model import Coat, Mixed
from dryspell.outlook.plan_model import Plans
from dryspell.store import Store
from dryspell.tick.gather import Gatherer
from dryspell.tick.plans import plans
from dryspell.tick.round import Round
from yard import START, FakeSource, Taken, config, weather

MORE = """
coating.my_varnish = { family = "pu_clear_2k" }
[piece.seat]
name = "Seat"
site = "orchard"
shelter = "roof"
coating = "my_varnish"
coats = 6
done = 1
[weather]
members = 1
"""
KINDS = {Kind.POT_READY, Kind.POT_ENDING}


class Daemon:
    """Ticks, and the process can be another one each time."""

    def __init__(self, folder, planner=None):
        self.folder, self.clock, self.planner = folder, FixedClock(START), planner
        self.source = FakeSource(weather(hours=24 * 6))
        self.taken = Taken()
        self.start()

    def start(self):
        self.config = config(self.folder, MORE)
        self.store = Store(self.folder / "state" / "dryspell.sqlite3")
        sources = {"harbour": self.source, "orchard": self.source}
        gatherer = Gatherer(self.config, self.store, self.clock, sources, random.Random(1))
        self.delivery = Delivery(self.store, self.taken, self.config.alerts, self.clock, random.Random(1))
        self.round = Round(self.config, self.store, self.clock, gatherer, self.delivery, planner=self.planner)

    def restart(self):
        self.store.close()
        self.start()

    def at(self, minutes, kinds=KINDS):
        self.clock.at = START + timedelta(minutes=minutes)
        seen = self.round.run(fetch_wait_s=30)
        assert self.delivery.wait(30)
        return [notice.kind for notice in seen.notices if notice.kind in kinds]


@pytest.fixture
def daemon(tmp_path):
    daemon = Daemon(tmp_path)
    yield daemon
    daemon.store.close()


def test_a_pot_is_told_of_through_a_restart_each_word_once(daemon):
    daemon.store.add_pot(Mixed(piece="seat", coat=2, mixed_at=START), START)
    assert daemon.at(0) == []
    assert daemon.at(15) == [Kind.POT_READY]
    daemon.restart()
    assert daemon.at(16) == []
    # 18 degC: 2 h 40 min to brush it, told twenty minutes before.
    assert daemon.at(139) == []
    assert daemon.at(141) == [Kind.POT_ENDING]
    daemon.restart()
    assert daemon.at(150) == []
    titles = [title for target, title, _ in daemon.taken.took if target == "phone"]
    assert [title for title in titles if title.startswith("Mix")] == [
        "Mix ready, brush by 14:40: Seat",
        "Mix ends, brush by 14:40: Seat",
    ]


def test_a_coat_that_was_recorded_ends_it(daemon):
    daemon.store.add_pot(Mixed(piece="seat", coat=2, mixed_at=START), START)
    assert daemon.at(15) == [Kind.POT_READY]
    done = START + timedelta(minutes=60)
    daemon.store.add_coat(Coat(piece="seat", number=2, finished_at=done, recorded_at=done))
    assert daemon.at(141) == []


class Shelf:
    """A planner whose plan is whatever it is given."""

    latest = None

    def start(self, *_):
        return False


def test_a_plan_that_moved_the_next_coat_to_another_day_is_said_once_through_a_restart(tmp_path):
    daemon = Daemon(tmp_path, Shelf())
    on = {key: daemon.store.films(key) for key in daemon.config.piece}
    tables = dict.fromkeys(("harbour", "orchard"), daemon.source.answer)
    made = plans(daemon.config, on, tables, START, {})
    (rail,) = (plan for plan in made.plans if plan.piece == "rail")
    tomorrow, later = (
        [coat.model_copy(update={"start": START + timedelta(days=days)}) for coat in rail.planned[:1]]
        for days in (1, 3)
    )
    first, moved = (
        rail.model_copy(update={"planned": tuple(coats), "built_up_at": None}) for coats in (tomorrow, later)
    )
    said = []
    for minutes, plan in ((0, first), (30, moved), (120, moved), (210, moved), (240, moved)):
        daemon.planner.latest = Plans(plans=(plan,))
        said += [(minutes, kind) for kind in daemon.at(minutes, {Kind.PLAN_MOVED})]
        daemon.restart()
    daemon.store.close()
    assert said == [(210, Kind.PLAN_MOVED)]
