"""Several pieces and the people they share, against every plan there could be, tried in plain loops."""

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest

from dryspell.outlook import shared_plan
from dryspell.outlook.chain import Chain
from dryspell.outlook.crew import Crew, crew_of
from dryspell.outlook.judge import NEVER
from dryspell.outlook.prospect import prospect_of
from dryspell.outlook.sequence import best_sequence
from dryspell.outlook.share import Sharing, task_of
from dryspell.outlook.shared_plan import make_plans, settle
from dryspell.trade.person import Person
from outlook.build import MONDAY, built, piece, site, weather
from outlook.test_plan import FINE
from outlook.test_sequence import allowed, random_below, random_coat

STEP_H, LEFT_OUT_H, SIZE = 0.25, 1000.0, 40
NORTH = {"face": "vertical", "facing": "N", "prepare_time": "1 h"}
"""No sun keeps the brush off it at any hour."""


def later(coat, steps):
    """Return a coat whose film comes to everything later by the steps of its brushing."""
    soft = coat.soft and tuple(edge + steps for edge in coat.soft)
    return replace(coat, ready=np.where(coat.ready < NEVER, coat.ready + steps, NEVER), soft=soft)


class Piece:
    """One piece with its random coats, and every way to lay them, in plain loops."""

    def __init__(self, rng, people, sites):
        self.members = int(rng.integers(1, 4))
        self.odds = float(rng.choice([0.6, 1.0]))
        self.brush = int(rng.integers(1, 4))
        self.weight = float(rng.integers(1, 4))
        self.site = int(rng.integers(0, sites))
        self.people = sorted(rng.choice(people, size=int(rng.integers(1, people + 1)), replace=False).tolist())
        self.below = random_below(rng, self.members)
        count = int(rng.integers(1, 5))
        self.coats = [
            later(random_coat(rng, self.members, int(rng.integers(2, 6)), 24), self.brush - 1) for _ in range(count)
        ]

    def chain(self):
        return Chain(
            self.below,
            self.coats,
            odds=self.odds,
            brush_steps=self.brush,
            weight=self.weight,
            step_h=STEP_H,
            origin=0,
            left_out_h=LEFT_OUT_H,
        )

    def ways(self):
        """Return every way to lay its first coats: what it costs, and from when to before when somebody is at it."""
        found = [(LEFT_OUT_H * len(self.coats), [])]

        def go_on(k, below, i, pace_below, row_below, cost, spans):
            if k == len(self.coats):
                return
            coat = self.coats[k]
            for j in range(coat.at.size):
                pace, row, share = allowed(below, i, pace_below, row_below, coat, j)
                if share < self.odds - 1e-9:
                    continue
                at = int(coat.at[j])
                span = (at - (0 if row > 1 else coat.prepare_steps), at + self.brush)
                so_far = cost + self.weight * float(coat.cost_h[j])
                left = LEFT_OUT_H * (len(self.coats) - k - 1)
                found.append((so_far + self.weight * at * STEP_H + left, [*spans, span]))
                go_on(k + 1, coat, j, pace, row, so_far, [*spans, span])

        go_on(0, self.below, 0, 0, self.below.row, 0.0, [])
        return sorted(found, key=lambda way: way[0])


def can_be_done(jobs, crew, taken=()):
    """Say whether people can be found for jobs: (site, from, to, whose)."""
    if not jobs:
        return True
    (where, first, end, people), *rest = jobs
    for person in people:
        hours = crew.free[person, where, max(first, 0) : end + 1]
        apart = all(
            first >= until + crew.way_steps[there, where] or begin >= end + crew.way_steps[where, there]
            for there, begin, until, other in taken
            if other == person
        )
        if hours.all() and apart and can_be_done(rest, crew, (*taken, (where, first, end, person))):
            return True
    return False


def cheapest_of_all(pieces, crew):
    """Try every way to lay every piece, beginning with the cheap ones; return what the cheapest that can be costs."""
    ways = [each.ways() for each in pieces]
    best = [float("inf")]

    def go_on(which, cost, jobs):
        if which == len(pieces):
            best[0] = min(best[0], cost)
            return
        rest = sum(of_piece[0][0] for of_piece in ways[which + 1 :])
        for way_cost, spans in ways[which]:
            if cost + way_cost + rest >= best[0] - 1e-9:
                return
            more = [(pieces[which].site, *span, pieces[which].people) for span in spans]
            if can_be_done([*jobs, *more], crew):
                go_on(which + 1, cost + way_cost, [*jobs, *more])

    go_on(0, 0.0, [])
    return best[0]


def random_case(seed):
    rng = np.random.default_rng(seed)
    people, sites = int(rng.integers(1, 3)), int(rng.integers(1, 3))
    free = rng.random((people, 1, SIZE)) < (0.97 if rng.random() < 0.5 else 1.0)
    way = np.zeros((sites, sites), dtype=np.int64)
    way[~np.eye(sites, dtype=bool)] = int(rng.integers(0, 4))
    crew = Crew(tuple(f"p{n}" for n in range(people)), np.repeat(free, sites, axis=1), way)
    return [Piece(rng, people, sites) for _ in range(int(rng.integers(1, 4)))], crew


def sharing_of(pieces, crew):
    tasks = [task_of(each.chain(), each.site, each.people, crew) for each in pieces]
    return Sharing(tasks, crew, SIZE)


def check(sharing, pieces, crew):
    """Check by plain rules that what was planned can be done, and costs what is said."""
    total, jobs = 0.0, []
    for which, each in enumerate(pieces):
        turn, chain = sharing.turns[which], sharing.tasks[which].chain
        spans = [tuple(int(edge[laid.index]) for edge in chain.span(k, laid.state)) for k, laid in enumerate(turn.laid)]
        ways = {tuple(way_spans): cost for cost, way_spans in reversed(each.ways())}
        assert ways[tuple(spans)] <= turn.cost_h + 1e-6
        total += turn.cost_h
        jobs += [(each.site, *span, [person]) for span, person in zip(spans, turn.people, strict=True)]
        assert all(person in each.people for person in turn.people)
    assert can_be_done(jobs, crew)
    return total


@pytest.mark.parametrize("seed", range(120))
def test_the_shared_plan_is_as_good_as_the_best_of_all(seed):
    pieces, crew = random_case(seed)
    sharing, bound = settle(sharing_of(pieces, crew), 5.0)
    assert check(sharing, pieces, crew) == pytest.approx(sharing.cost_h)
    best = cheapest_of_all(pieces, crew)
    assert sharing.cost_h == pytest.approx(best)
    assert bound == pytest.approx(best, abs=0.02)


@pytest.mark.parametrize("seed", range(40))
def test_without_the_solver_a_plan_can_be_done_and_is_no_better_than_its_bound(seed):
    pieces, crew = random_case(seed)
    sharing, bound = settle(sharing_of(pieces, crew), 0.0)
    check(sharing, pieces, crew)
    assert bound <= cheapest_of_all(pieces, crew) + 1e-6


@pytest.mark.parametrize("seed", range(40))
def test_a_chain_finds_the_same_as_the_sequence_of_one_piece(seed):
    """Two ways to the same: a table of all pairs, and spans of them. Each is held against every choice elsewhere."""
    (each, *_), _ = random_case(seed)
    laid, cost = each.chain().best()
    chosen = best_sequence(each.below, each.coats, odds=each.odds, step_h=STEP_H)
    assert [
        (one.index, one.state % coat.paces, one.state // coat.paces + 1)
        for one, coat in zip(laid, each.coats, strict=False)
    ] == [(choice.index, choice.pace, choice.row) for choice in chosen]
    assert cost == pytest.approx(each.ways()[0][0])


@pytest.mark.parametrize("seed", range(20))
def test_no_start_is_dropped_that_a_cheaper_plan_could_have(seed):
    (each, *_), _ = random_case(seed)
    chain = each.chain()
    by_start = [np.full((chain.states[k], coat.at.size), np.inf) for k, coat in enumerate(each.coats)]
    for cost, spans in each.ways():
        for k, (first, end) in enumerate(spans):
            j = int(np.searchsorted(each.coats[k].at, end - each.brush))
            for state in range(chain.states[k]):
                if int(chain.span(k, state)[0][j]) == first:
                    by_start[k][state, j] = min(by_start[k][state, j], cost)
    for found, wanted in zip(chain.through(), by_start, strict=True):
        assert np.all(found.min(axis=0) <= wanted.min(axis=0) + 1e-6)


def yard(count, table=None, coats=3, sites=1, **changes):
    changes = NORTH | changes
    table = table or weather(days=14, **FINE)
    places = [site(key=f"site{k}", travel="45 min") for k in range(sites)]
    pieces = [piece(key=f"piece{n}", site=places[n % sites].key, coats=coats, **changes) for n in range(count)]
    now = MONDAY + timedelta(hours=6)
    return [
        prospect_of(each, places[n % sites], built(coats=coats), [], table, now, stale_after_h=1000)
        for n, each in enumerate(pieces)
    ]


def spans_by_person(made):
    found = {}
    for plan in made.plans:
        for coat in plan.planned:
            found.setdefault(coat.who, []).append((coat.prepare_at, coat.last_stroke, plan.site))
    return {who: sorted(spans) for who, spans in found.items()}


def test_one_finisher_is_never_at_two_pieces_at_once():
    made = make_plans(yard(4, hours="07:00-12:00"))
    (spans,) = spans_by_person(made).values()
    assert len(spans) == 12
    assert all(end <= start for (_, end, _), (start, _, _) in pairwise(spans))


def test_the_way_from_one_site_to_another_is_kept_free():
    spans = spans_by_person(make_plans(yard(4, sites=2)))[""]
    moves = [(one, other) for one, other in pairwise(spans) if one[2] != other[2]]
    assert moves
    assert all(other[0] - one[1] >= timedelta(minutes=45) for one, other in moves)


def test_hours_and_days_off_of_people_hold_beside_those_of_the_piece():
    people = [
        Person(key="kim", hours="Mon-Fri 09:00-13:00", days_off=["2026-09-08", "2026-09-10 to 2026-09-11"]),
        Person(key="sasha", hours="Sat 07:00-19:00", pieces=["piece1"]),
    ]
    made = make_plans(yard(2), people)
    assert all(plan.planned for plan in made.plans)
    for plan in made.plans:
        for coat in plan.planned:
            day = coat.start.date()
            if coat.who == "kim":
                assert (coat.prepare_at.hour, coat.last_stroke.hour <= 13, day.weekday() < 5) >= (9, True, True)
                assert day not in (date(2026, 9, 8), date(2026, 9, 10), date(2026, 9, 11))
            else:
                assert (coat.who, plan.piece, day.weekday()) == ("sasha", "piece1", 5)


def test_a_piece_of_nobody_is_not_planned_and_says_that_people_are_the_reason():
    made = make_plans(yard(2), [Person(key="kim", pieces=["piece0"])])
    assert [(bool(plan.planned), plan.by_people) for plan in made.plans] == [(True, False), (False, True)]


def test_the_piece_that_counts_more_goes_first():
    late = yard(2, coats=1, hours="08:00-10:15")
    first_of = []
    for priority in (1, 5):
        pieces = [
            late[0],
            late[1].__class__(**{**vars(late[1]), "piece": late[1].piece.model_copy(update={"priority": priority})}),
        ]
        made = make_plans(pieces)
        first_of.append(min(made.plans, key=lambda plan: plan.built_up_at).piece)
    assert first_of[1] == "piece1"


def test_what_is_promised_is_moved_only_where_that_gains_enough():
    first = make_plans(yard(3))
    now = MONDAY + timedelta(hours=6, minutes=30)
    table = weather(days=14, **(FINE | {"air": (12.4, 20.4)}))
    promised = [
        prospect_of(
            piece(key=f"piece{n}", coats=3, **NORTH),
            site(key="site0", travel="45 min"),
            built(coats=3),
            [],
            table,
            now,
            stale_after_h=1000,
            promised=plan.starts,
        )
        for n, plan in enumerate(first.plans)
    ]
    again = make_plans(promised)
    assert [plan.starts for plan in again.plans] == [plan.starts for plan in first.plans]


def test_the_same_plan_comes_out_every_time():
    prospects = yard(5, sites=2, coats=4)
    assert make_plans(prospects) == make_plans(prospects)


def test_it_is_said_how_good_a_plan_is_and_when_starts_were_left_out(monkeypatch):
    prospects = yard(3, coats=2)
    share = make_plans(prospects).share
    assert (share.coats, share.coats_at_most, share.is_thinned) == (6, 6, False)
    assert share.is_best
    assert share.gap_pct == pytest.approx(0.0, abs=0.05)
    monkeypatch.setattr(shared_plan, "MOST_STARTS", 10)
    thinned = make_plans(prospects).share
    assert thinned.is_thinned
    assert thinned.finish_h >= share.finish_h - 0.02


def test_half_a_dozen_pieces_come_within_five_percent_of_their_bound():
    """Twelve pieces, with eight coats and members, are rows of tests/bench/bench_plan.py."""
    table = weather(days=12, **FINE)
    made = make_plans(yard(6, table, coats=4, sites=2), [Person(key="kim"), Person(key="sasha")])
    assert made.share.coats == made.share.coats_at_most == 24
    assert made.share.gap_pct <= 5.0


def test_people_on_a_grid_work_in_their_hours_but_not_on_their_days_off():
    grid = np.datetime64("2026-09-07T00:00:00") + np.arange(0, 3 * 96) * np.timedelta64(900, "s")
    person = Person(key="kim", hours="08:00-10:00", days_off=["2026-09-08"])
    crew = crew_of([person], [site(), site(key="far", travel="70 min"), site(key="near", travel="10 min")], grid, 900)
    days = grid[crew.free[0, 0]].astype("datetime64[D]").astype(str)
    assert [str(day) for day in np.unique(days)] == ["2026-09-07", "2026-09-09"]
    assert crew.way_steps.tolist() == [[0, 5, 2], [5, 0, 5], [2, 5, 0]]
    assert datetime(2026, 9, 7, tzinfo=UTC) == MONDAY
