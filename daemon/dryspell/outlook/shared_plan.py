"""The plans of several pieces whose finishers cannot be at two of them at once, and how far from the best they may be.

First every piece is planned by itself, exactly: what comes out of that no plan can better. Where they get in each
other's way, a good plan is searched for piece by piece, and then the solver takes over from it: all pieces at once
where there are few enough starts to choose from, else a few at a time, beginning with those that are delayed most.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec

import numpy as np

from dryspell.outlook.below import stamp
from dryspell.outlook.chain import Chain, moved_by, only
from dryspell.outlook.columns import STEP_S
from dryspell.outlook.crew import crew_of
from dryspell.outlook.plan import chosen_alone, plan_of
from dryspell.outlook.plan_model import Plan, Plans, Share
from dryspell.outlook.prospect import Prospect
from dryspell.outlook.sequence import Chosen, CoatStarts, begun, pair
from dryspell.outlook.share import SMALL, Sharing, Turn, task_of
from dryspell.trade.person import Person
from dryspell.weather.table import FloatArray

EFFORT, OF_GROUPS = 3.0, 0.3
"""What the solver may take, in its own measure of work: about seconds; and what share of it where it can only look at
some pieces at a time, after a search that has found most of what there is."""
MOST_STARTS = 640
"""Of a coat with more starts every second one is looked at, or every third."""
STARTS_AT_ONCE = 3000
"""With more starts than this to choose from a plan would take the solver too long."""
STARTS_A_SECOND = 5000
"""What it takes to put them before the solver."""
MOST_A_GROUP = 1.5
"""What the solver may take for one group of pieces."""


def make_plans(prospects: Sequence[Prospect | Plan], people: Sequence[Person] = (), *, effort: float = EFFORT) -> Plans:
    """Plan all the coats to come of several pieces together.

    As many coats as can be; then the sum of the finish times is the least, each by the priority of its piece, with what
    it costs to move what was promised.

    Parameters
    ----------
    prospects
        From `dryspell.outlook.prospect.prospect_of`; those that came out as a plan are passed on.
    people
        Who does the work; of nobody told there is one, in the hours of each piece.
    effort
        What the solver may take; 0 leaves it out. It is left out too where it is not installed.
    """
    ahead = [each for each in prospects if isinstance(each, Prospect)]
    alone = [chosen_alone(each) for each in ahead]
    if not ahead or (len(ahead) == 1 and not people):
        share: Share | None = None
        found = [plan_of(each, chosen) for each, chosen in zip(ahead, alone, strict=True)]
    else:
        yard = _yard(ahead, alone, people)
        share = yard.settle(effort)
        found = [yard.plan(which) for which in range(len(ahead))]
    in_order = iter(found)
    return Plans(plans=tuple(each if isinstance(each, Plan) else next(in_order) for each in prospects), share=share)


def settle(sharing: Sharing, effort: float) -> tuple[Sharing, float]:
    """Plan some tasks, and return them planned, and what no plan can cost less than. [h]

    Parameters
    ----------
    effort
        As for `make_plans`.
    """
    has_solver = effort > 0 and find_spec("ortools") is not None
    sharing.begin()
    sharing = sharing.narrowed()
    if not (has_solver and sharing.starts <= STARTS_AT_ONCE):
        sharing.better()
        sharing = sharing.narrowed()
    bound_h = sharing.bound_h
    if has_solver and sharing.delayed:
        bound_h = max(bound_h, _solve(sharing, effort))
    sharing.tidy()
    return sharing, bound_h


@dataclass
class _Yard:
    """The pieces on one grid, `steps` later on it than on their own, and what each is planned to by itself."""

    prospects: Sequence[Prospect]
    alone: Sequence[Sequence[Chosen]]
    sharing: Sharing
    steps: Sequence[int]
    is_thinned: bool

    def settle(self, effort: float) -> Share:
        """Plan the pieces, and say how good that is."""
        self.sharing, bound_h = settle(self.sharing, effort)
        sharing = self.sharing
        coats = sum(len(turn.laid) for turn in sharing.turns.values())
        left_out_h = sharing.tasks[0].chain.left_out_h
        to_come = sum(len(task.chain.coats) for task in sharing.tasks)
        # So many coats have to be left out at least, if the bound is to be kept to: they cost more than all hours.
        at_most = to_come - int((bound_h + SMALL) // left_out_h)
        finish_h = sharing.cost_h - left_out_h * (to_come - coats)
        least_h = min(max(bound_h - left_out_h * (to_come - at_most), 0.0), finish_h) if coats == at_most else 0.0
        gap = (finish_h - least_h) / max(finish_h, 1.0) if coats == at_most else (at_most - coats) / at_most
        return Share(
            coats=coats,
            coats_at_most=at_most,
            finish_h=round(finish_h, 2),
            bound_h=round(least_h, 2),
            gap_pct=round(100.0 * gap, 2),
            is_best=sharing.cost_h <= bound_h + SMALL and not self.is_thinned,
            is_thinned=self.is_thinned,
        )

    def plan(self, which: int) -> Plan:
        """Return the plan of a piece as it came out."""
        prospect, turn, chain = self.prospects[which], self.sharing.turns[which], self.sharing.tasks[which].chain
        chosen: list[Chosen] = []
        below, under = prospect.below, begun(prospect.below)
        for k, laid in enumerate(turn.laid):
            starts = prospect.starts[k]
            index = int(np.searchsorted(starts.at, chain.coats[k].at[laid.index] - self.steps[which]))
            found = pair(below, under, starts, index)
            under, below = replace(found, share=round(found.share, 4)), starts
            chosen.append(under)
        who = [self.sharing.crew.keys[person] for person in turn.people]
        return plan_of(prospect, chosen, who, alone=self.alone[which])


def _yard(ahead: Sequence[Prospect], alone: Sequence[Sequence[Chosen]], people: Sequence[Person]) -> _Yard:
    """Return the pieces on one grid."""
    step = np.timedelta64(STEP_S, "s")
    begin, end = min(each.conditions.times[0] for each in ahead), max(each.conditions.times[-1] for each in ahead)
    grid = np.arange(begin, end + step, step)
    sites = {each.site.key: each.site for each in ahead}
    crew = crew_of(people, list(sites.values()), grid, STEP_S)
    steps = [int((each.conditions.times[0] - begin) / step) for each in ahead]
    thinned = [_thinned(each, chosen) for each, chosen in zip(ahead, alone, strict=True)]
    left_out_h = float(np.ceil(1.0 + sum(_longest_h(*each, grid.size) for each in zip(ahead, thinned, strict=True))))
    tasks = []
    for each, coats, later in zip(ahead, thinned, steps, strict=True):
        chain = Chain(
            moved_by(each.below, later),
            [moved_by(coat, later) for coat in coats],
            odds=each.odds,
            brush_steps=each.candidates.brush_steps,
            weight=float(each.piece.priority),
            step_h=STEP_S / 3600.0,
            origin=each.first + later,
            left_out_h=left_out_h,
        )
        who = [n for n, person in enumerate(people) if person.does(each.piece.key)] if people else [0]
        tasks.append(task_of(chain, list(sites).index(each.site.key), who, crew))
    is_thinned = any(
        coat.at.size < whole.at.size
        for each, coats in zip(ahead, thinned, strict=True)
        for coat, whole in zip(coats, each.starts, strict=True)
    )
    return _Yard(ahead, alone, Sharing(tasks, crew, grid.size), steps, is_thinned)


def _longest_h(prospect: Prospect, coats: Sequence[CoatStarts], size: int) -> float:
    """Return more than any plan of a piece can cost with all its coats."""
    moving_h = sum(float(np.abs(coat.cost_h).max(initial=0.0)) for coat in coats)
    return prospect.piece.priority * (size * STEP_S / 3600.0 + moving_h)


def _thinned(prospect: Prospect, alone: Sequence[Chosen]) -> list[CoatStarts]:
    """Return a piece's coats, of those with very many starts only some."""
    coats = []
    for k, (coat, lay) in enumerate(zip(prospect.starts, prospect.lays, strict=True)):
        keep = coat.at % max(-(-coat.at.size // MOST_STARTS), 1) == 0
        if k < len(alone):
            keep[alone[k].index] = True
        if lay.number in prospect.promised:
            keep |= coat.at == np.searchsorted(prospect.conditions.times, stamp(prospect.promised[lay.number]))
        coats.append(only(coat, keep))
    return coats


def _solve(sharing: Sharing, effort: float) -> float:
    """Let the solver better a plan, and return what it proved no plan to cost less than. [h]"""
    from dryspell.outlook.share_solver import solve_together  # noqa: PLC0415  (a third of a second, and seldom needed)

    if sharing.starts <= STARTS_AT_ONCE:
        solved = solve_together(sharing, range(len(sharing.tasks)), effort=effort)
        _take_over(sharing, solved.turns)
        return solved.bound_h
    through = [task.chain.through(np.asarray(task.can.any(axis=0))) for task in sharing.tasks]
    effort *= OF_GROUPS
    tried: set[tuple[int, ...]] = set()
    while effort > 0:
        groups = (_group(sharing, through, late) for late in sharing.delayed)
        group = next((each for each in groups if each not in tried), None)
        if group is None:
            break
        tried.add(group)
        solved = solve_together(sharing, group, effort=min(effort, MOST_A_GROUP))
        effort -= solved.effort + _starts_that_matter(sharing, through, group) / STARTS_A_SECOND
        if _take_over(sharing, solved.turns):
            tried.clear()
    return sharing.bound_h


def _take_over(sharing: Sharing, turns: dict[int, Turn]) -> bool:
    """Take over what the solver found where that is better, and say so."""
    cost_h = sum(turn.cost_h for turn in turns.values())
    if cost_h >= sum(sharing.turns[which].cost_h for which in turns) - SMALL:
        return False
    sharing.restore(turns)
    return True


def _starts_that_matter(sharing: Sharing, through: Sequence[Sequence[FloatArray]], group: Sequence[int]) -> int:
    """Return how many starts of some tasks could be part of a better plan for them."""
    slack_h = sum(sharing.turns[which].cost_h - sharing.alone[which][1] for which in group)
    count = 0
    for which in group:
        most_h = sharing.alone[which][1] + slack_h + SMALL
        count += sum(int(np.count_nonzero((each <= most_h).any(axis=0))) for each in through[which])
    return count


def _group(sharing: Sharing, through: Sequence[Sequence[FloatArray]], late: int) -> tuple[int, ...]:
    """Return a task and those that are in its way, as many as can be solved together."""
    group = [late]
    for other in sharing.in_the_way_of(late):
        if _starts_that_matter(sharing, through, [*group, other]) <= STARTS_AT_ONCE:
            group.append(other)
    return tuple(group)
