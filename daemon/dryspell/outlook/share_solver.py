"""Some pieces planned together, exactly: a model for the CP-SAT solver of OR-Tools, begun from a plan there is.

Every start that could be part of a cheaper plan is in it, and no other, so that nothing is lost. For every start one
variable says that it is taken, and one that an earlier one is. What a start allows of the next coat is then a few
clauses: one for each run of starts that it does not allow, one or two for each run of the same state.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import combinations, pairwise

import numpy as np
from ortools.sat.python import cp_model

from dryspell.outlook.chain import Chain, Laid, StateArray
from dryspell.outlook.share import SMALL, Sharing, Task, Turn
from dryspell.outlook.spans import BoolArray, IndexArray

PER_H = 60
"""Costs are whole minutes in the model."""


@dataclass(frozen=True)
class Solved:
    """The turns found, the least that any can cost [h], and what it took."""

    turns: dict[int, Turn]
    bound_h: float
    effort: float


@dataclass
class _Coat:
    """One coat in the model: the starts that are in it, which of them is taken, in which state, and by whom."""

    number: int
    which: IndexArray
    allowed: BoolArray
    taken: list[cp_model.IntVar]
    before: list[cp_model.IntVar]
    quick: cp_model.IntVar | None
    soft: cp_model.IntVar | None
    rows: list[cp_model.IntVar]
    by: dict[int, cp_model.IntVar]
    start: cp_model.LinearExpr
    first: cp_model.LinearExpr
    end: cp_model.LinearExpr

    @property
    def present(self) -> cp_model.IntVar:
        """It is put on at all."""
        return self.before[-1]

    def not_in(self, begin: int, end: int) -> list[cp_model.BoolVarT]:
        """Return what a clause needs to keep its start out of a run of them."""
        return [self.before[begin], self.before[end].negated()]

    def state(self, state: int, paces: int) -> list[cp_model.BoolVarT]:
        """Return the literals that make up a state."""
        found = []
        if self.quick is not None:
            found.append(self.quick if state % paces else self.quick.negated())
        if self.soft is not None:
            found.append(self.rows[state // paces - 1] if state >= paces else self.soft.negated())
        return found


def solve_together(sharing: Sharing, group: Sequence[int], *, effort: float) -> Solved:
    """Plan some tasks anew together in the hours that the others leave; the sharing stays as it is.

    Parameters
    ----------
    effort
        When to give up, in the solver's own measure of work: about seconds, and the same on every machine.
    """
    given = {which: sharing.take_out(which) for which in group}
    try:
        return _Together(sharing, given).solve(effort)
    finally:
        for which, turn in given.items():
            sharing.put(which, turn)


@dataclass
class _Together:
    """The model of some tasks, which have plans to begin from."""

    sharing: Sharing
    given: dict[int, Turn]
    model: cp_model.CpModel = field(default_factory=cp_model.CpModel)
    coats: dict[int, list[_Coat]] = field(default_factory=dict)
    costs: list[cp_model.LinearExpr] = field(default_factory=list)

    def solve(self, effort: float) -> Solved:
        open_to = {which: self.sharing.open_to(which) for which in self.given}
        for_all = {which: np.asarray(of_task.any(axis=0)) for which, of_task in open_to.items()}
        alone = {which: self._task(which).chain.best(for_all[which])[1] for which in self.given}
        cost_h, bound_h = sum(turn.cost_h for turn in self.given.values()), sum(alone.values())
        if cost_h <= bound_h + SMALL:
            return Solved(dict(self.given), bound_h, effort=0.0)
        for which in self.given:
            most_h = alone[which] + cost_h - bound_h + SMALL
            chain = self._task(which).chain
            through = chain.through(for_all[which])
            keep = [(each <= most_h) & chain.of_coat(k, for_all[which]) for k, each in enumerate(through)]
            self._add(which, keep, [chain.of_coat(k, open_to[which]) for k in range(len(keep))])
        self._nobody_at_two_places()
        self.model.minimize(sum(self.costs))
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = 1
        solver.parameters.max_deterministic_time = effort
        # The daemon minds its signals itself.
        solver.parameters.catch_sigint_signal = False
        status = solver.solve(self.model)
        least_h = min(max(solver.best_objective_bound / PER_H, bound_h), cost_h)
        took = solver.response_proto.deterministic_time
        if status not in (cp_model.OPTIMAL, cp_model.FEASIBLE):
            return Solved(dict(self.given), least_h, took)
        return Solved({which: self._turn(which, solver) for which in self.given}, least_h, took)

    def _task(self, which: int) -> Task:
        return self.sharing.tasks[which]

    def _bool(self, hint: bool) -> cp_model.IntVar:
        variable = self.model.new_bool_var("")
        self.model.add_hint(variable, hint)
        return variable

    def _int(self, hint: int) -> cp_model.IntVar:
        variable = self.model.new_int_var(0, self.sharing.size, "")
        self.model.add_hint(variable, hint)
        return variable

    def _add(self, which: int, keep: Sequence[BoolArray], open_to: Sequence[BoolArray]) -> None:
        """Add the coats of a task."""
        task, turn, model = self._task(which), self.given[which], self.model
        chain = task.chain
        coats = self.coats[which] = []
        done = model.new_int_var(0, max((_minutes(h).max(initial=0) for h in chain.done_h), default=0), "")
        model.add_hint(done, int(_minutes(chain.done_h[len(turn.laid) - 1])[turn.laid[-1].index]) if turn.laid else 0)
        for k in range(len(keep)):
            coat = self._coat(task, k, keep[k], turn)
            self._follows(chain, k, coats[-1] if coats else None, coat)
            self._people(task, coat, open_to[k])
            taken, at = coat.taken, coat.which
            model.add(done >= cp_model.LinearExpr.weighted_sum(taken, _minutes(chain.done_h[k])[at].tolist()))
            self.costs.append(cp_model.LinearExpr.weighted_sum(taken, _minutes(chain.cost_h[k])[at].tolist()))
            self.costs.append(round(chain.left_out_h * PER_H) * (1 - coat.present))
            coats.append(coat)
        self.costs.append(done)

    def _coat(self, task: Task, k: int, keep: BoolArray, turn: Turn) -> _Coat:
        """Add one coat with its starts."""
        chain, model = task.chain, self.model
        which = np.flatnonzero(keep.any(axis=0))
        one = turn.laid[k] if k < len(turn.laid) else None
        rank = which.size if one is None else int(np.searchsorted(which, one.index))
        taken = [self._bool(r == rank) for r in range(which.size)]
        before = [self._bool(rank < r) for r in range(which.size + 1)]
        model.add(before[0] == 0)
        for r in range(which.size):
            model.add_implication(before[r], before[r + 1])
            model.add_implication(taken[r], before[r + 1])
            model.add_implication(taken[r], before[r].negated())
            model.add_bool_or(before[r], before[r + 1].negated(), taken[r])
        model.add_exactly_one([*taken, before[-1].negated()])
        paces = chain.coats[k].paces
        quick = self._bool(one is not None and one.state % paces > 0) if paces > 1 else None
        soft = self._bool(one is not None and one.state >= paces) if chain.states[k] > paces else None
        rows = [] if soft is None else [soft]
        if chain.states[k] > 2 * paces:
            in_row = range(1, chain.states[k] // paces)
            rows = [self._bool(one is not None and one.state // paces == row) for row in in_row]
            model.add(cp_model.LinearExpr.sum(rows) == soft)
        by = {person: self._bool(one is not None and turn.people[k] == person) for person in task.people}
        model.add(sum(by.values()) == before[-1])
        at, prepare = chain.coats[k].at, chain.coats[k].prepare_steps
        start = self._int(0 if one is None else int(at[one.index]))
        model.add(start == cp_model.LinearExpr.weighted_sum(taken, at[which].tolist()))
        first = start - prepare
        if soft is not None:
            prepared_at = 0 if one is None else int(chain.span(k, one.state)[0][one.index])
            first = self._int(max(prepared_at, 0))
            model.add(first == start - prepare + prepare * soft).only_enforce_if(before[-1])
        end = start + chain.brush_steps
        return _Coat(k, which, keep[:, which], taken, before, quick, soft, rows, by, start, first, end)

    def _follows(self, chain: Chain, k: int, below: _Coat | None, coat: _Coat) -> None:
        """Let a coat follow the one below only as it may, and be in the state that follows from it."""
        if below is not None:
            self.model.add_implication(coat.present, below.present)
        paces = chain.coats[k].paces
        paces_below = 1 if below is None else chain.coats[k - 1].paces
        for state_below, link in enumerate(chain.links[k]):
            if below is None and state_below != chain.first_state:
                continue
            rows = np.zeros(1, dtype=np.int64) if below is None else below.which
            table = link[np.ix_(rows, coat.which)]
            allowed = np.take_along_axis(np.vstack([coat.allowed, np.zeros_like(coat.allowed[:1])]), table, axis=0)
            for row, states in enumerate(np.where(allowed, table, np.int8(-1))):
                unless = [] if below is None else _unless(below, row, state_below, paces_below)
                for begin, end, state in _runs(states):
                    out = [*unless, *coat.not_in(begin, end)]
                    if state < 0:
                        self.model.add_bool_or(out)
                    else:
                        for literal in coat.state(state, paces):
                            self.model.add_bool_or([*out, literal])

    def _people(self, task: Task, coat: _Coat, open_to: BoolArray) -> None:
        """Let people do only the starts that they are free for."""
        paces = task.chain.coats[coat.number].paces
        for free, person in zip(open_to, task.people, strict=True):
            for is_soft in (False,) if coat.soft is None else (False, True):
                rows = free[paces:] if is_soft else free[:paces]
                unless = [coat.by[person].negated()]
                if coat.soft is not None:
                    unless.append(coat.soft.negated() if is_soft else coat.soft)
                for begin, end, can in _runs(rows.any(axis=0)[coat.which].astype(np.int8)):
                    if not can:
                        self.model.add_bool_or([*unless, *coat.not_in(begin, end)])

    def _nobody_at_two_places(self) -> None:
        """Keep everybody at one piece at a time, with time for the way between sites."""
        model, way = self.model, self.sharing.crew.way_steps
        every = [(which, coat) for which, coats in self.coats.items() for coat in coats]
        for person in range(len(self.sharing.crew.keys)):
            theirs = [coat for _, coat in every if person in coat.by]
            model.add_no_overlap([self._interval(coat, person) for coat in theirs])
        self._no_more_than_there_are(every)
        for (one, here), (other, there) in combinations(every, 2):
            sites = self._task(one).site, self._task(other).site
            shared = [person for person in here.by if person in there.by]
            if one == other or sites[0] == sites[1] or not shared or not (here.taken and there.taken):
                continue
            go, back = int(way[sites]), int(way[sites[::-1]])
            earlier = self._bool(self._comes_first(one, here, other, there))
            for person in shared:
                both = [here.by[person], there.by[person]]
                model.add(there.first >= here.end + go).only_enforce_if([*both, earlier])
                model.add(here.first >= there.end + back).only_enforce_if([*both, earlier.negated()])

    def _interval(self, coat: _Coat, person: int) -> cp_model.IntervalVar:
        length = coat.end - coat.first  # a number, but where it may go on the soft film
        if coat.soft is not None:
            length = self._int(0)
            self.model.add(length == coat.end - coat.first).only_enforce_if(coat.by[person])
        return self.model.new_optional_interval_var(coat.first, length, coat.end, coat.by[person], "")

    def _comes_first(self, one: int, here: _Coat, other: int, there: _Coat) -> bool:
        at = []
        for which, coat in ((one, here), (other, there)):
            k, laid = coat.number, self.given[which].laid
            at.append(int(self._task(which).chain.coats[k].at[laid[k].index]) if k < len(laid) else 0)
        return at[0] < at[1]

    def _no_more_than_there_are(self, every: Sequence[tuple[int, _Coat]]) -> None:
        """Say of every step that no more pieces are brushed than there are people: it follows, and it helps."""
        at_step: dict[int, list[cp_model.IntVar]] = {}
        for which, coat in every:
            chain = self._task(which).chain
            k = coat.number
            firsts, ends = chain.span(k, 0 if coat.soft is None else chain.coats[k].paces)
            for variable, first, end in zip(coat.taken, firsts[coat.which], ends[coat.which], strict=True):
                for step in range(int(first), int(end)):
                    at_step.setdefault(step, []).append(variable)
        for variables in at_step.values():
            if len(variables) > len(self.sharing.crew.keys):
                self.model.add(cp_model.LinearExpr.sum(variables) <= len(self.sharing.crew.keys))

    def _turn(self, which: int, solver: cp_model.CpSolver) -> Turn:
        """Return what the solver found for a task, with its cost by the chain's own figures."""
        chain, laid, people = self._task(which).chain, [], []
        cost_h, state, index = 0.0, chain.first_state, 0
        for k, coat in enumerate(self.coats[which]):
            if not solver.boolean_value(coat.present):
                cost_h += chain.left_out_h
                continue
            rank = next(r for r, variable in enumerate(coat.taken) if solver.boolean_value(variable))
            state = int(chain.links[k][state, index, coat.which[rank]])
            index = int(coat.which[rank])
            laid.append(Laid(index, state))
            people.append(next(person for person, variable in coat.by.items() if solver.boolean_value(variable)))
            cost_h += float(chain.cost_h[k][index])
        if laid:
            cost_h += float(chain.done_h[len(laid) - 1][index])
        return Turn(tuple(laid), tuple(people), cost_h)


def _minutes(hours: np.ndarray) -> IndexArray:
    return np.round(hours * PER_H).astype(np.int64)


def _unless(coat: _Coat, rank: int, state: int, paces: int) -> list[cp_model.BoolVarT]:
    """Return what a clause needs to hold only where a start is taken in a state."""
    return [coat.taken[rank].negated(), *(literal.negated() for literal in coat.state(state, paces))]


def _runs(values: StateArray) -> Iterator[tuple[int, int, int]]:
    """Yield first and end of each run of equal values, and the value."""
    edges = [0, *(np.flatnonzero(np.diff(values)) + 1).tolist(), values.size]
    for begin, end in pairwise(edges):
        if begin < end:
            yield begin, end, int(values[begin])
