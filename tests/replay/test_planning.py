"""What the plans of a replay moved and promised, on plans written by hand."""

from datetime import timedelta

import pytest

from dryspell.outlook.model import Stages
from dryspell.outlook.plan_model import Moved, Plan, PlannedCoat, Plans
from dryspell.replay.account import Promised
from dryspell.replay.planning import Planning, each_by_its_own
from dryspell.replay.truth import BuildUp
from dryspell.replay.yardsticks import by_the_gauge
from dryspell.trade.person import Person
from replay.conftest import JUNE, config_of

DAY = timedelta(days=1)


class PlannerByHand:
    """Stands for the daemon's planner, which makes its plans in a thread of its own."""

    latest = None

    def wait(self, timeout_s):
        return timeout_s > 0


def planned(number, start, moved=None):
    return PlannedCoat(
        number=number,
        coating="urethane_alkyd_1k",
        prepare_at=start,
        start=start,
        last_stroke=start + timedelta(hours=1),
        probability=None,
        thinner_parts=0.0,
        wet_film_um=60.0,
        abrasive="P400",
        hot=False,
        sand_first=False,
        stages=Stages(),
        moved=moved and Moved(planned_at=start - DAY, why=moved),
    )


def plan(made_at, *coats, finish=None, left=7):
    return Plan(
        piece="door",
        piece_name="Door",
        site="airport",
        timezone="America/New_York",
        made_at=made_at,
        coats=7,
        left=left,
        planned=coats,
        odds_pct=None,
        built_up_at=finish,
        in_service_at=None,
    )


@pytest.fixture
def follow(june):
    """A planning for the door, and what hands it a plan as it was made; its build-up is not begun."""
    planning = Planning(None, {"door": BuildUp(june["door"])})
    planning.planner = PlannerByHand()

    def hand(made, *, brushing=()):
        planning.planner.latest = made and Plans(plans=(made,))
        planning.follow(1.0, brushing)
        return planning.account("door")

    return hand


def test_before_a_plan_is_made_nothing_is_told_of_it(follow):
    assert follow(None).made == 0


def test_each_coat_that_a_plan_moved_counts_once_by_its_reason(follow):
    follow(plan(JUNE, planned(1, JUNE), planned(2, JUNE + DAY)))
    follow(plan(JUNE + DAY, planned(1, JUNE + DAY, "weather"), planned(2, JUNE + 2 * DAY, "coat_below")))
    account = follow(plan(JUNE + 2 * DAY, planned(1, JUNE + 3 * DAY, "weather"), planned(2, JUNE + 4 * DAY)))
    assert account.made == 3
    assert account.moved == {"weather": 2, "coat_below": 1}


def test_plans_that_stand_are_not_counted_anew(june):
    planning = Planning(None, {"door": BuildUp(june["door"])})
    planning.planner = PlannerByHand()
    planning.planner.latest = Plans(plans=(plan(JUNE, planned(1, JUNE, "sooner")),))
    for _ in range(3):
        planning.follow(1.0, ())
    assert (planning.account("door").made, planning.account("door").moved) == (1, {"sooner": 1})


def test_the_first_finish_that_is_promised_counts_and_no_later_one(follow):
    follow(plan(JUNE))
    follow(plan(JUNE + DAY, finish=JUNE + 4 * DAY))
    account = follow(plan(JUNE + 2 * DAY, finish=JUNE + 5 * DAY))
    assert account.finishes == (Promised(JUNE + DAY, JUNE + 4 * DAY, None),)


def test_what_is_built_up_promises_nothing_nor_does_a_plan_that_knows_nothing_of_the_coat_under_the_brush(follow):
    follow(plan(JUNE, finish=JUNE, left=0))
    assert follow(plan(JUNE + DAY, finish=JUNE + DAY), brushing=["door"]).finishes == ()


def test_a_promise_is_held_against_the_day_it_was_reached(june):
    build_up = by_the_gauge(june["door"])
    done_at = june["door"].instant(build_up.built_up[0])
    begun = BuildUp(june["door"])
    planning = Planning(None, {"door": begun})
    planning.planner = PlannerByHand()
    planning.planner.latest = Plans(plans=(plan(JUNE, finish=JUNE + 9 * DAY),))
    planning.follow(1.0, ())
    for coat in build_up.coats:
        begun.lay(coat.start)
    planning.planner.latest = Plans(plans=(plan(done_at, finish=done_at + 9 * DAY),))
    planning.follow(1.0, ())
    first, second = planning.account("door").finishes
    assert first == Promised(JUNE, JUNE + 9 * DAY, done_at)
    assert second.made_at == done_at


def test_without_people_each_piece_has_somebody_of_its_own(tmp_path):
    config = config_of(tmp_path)
    people = each_by_its_own(config)
    assert [[key for key in config.piece if person.does(key)] for person in people] == [["rail"], ["door"]]
    named = Person(key="kim")
    config.person["kim"] = named
    assert each_by_its_own(config) == [named]
