"""Several pieces for people who cannot be at two of them at once: a good plan, piece by piece.

Each piece is planned exactly in the hours that the others leave, in several orders. Then some pieces at a time are
taken out and put back in another order, and what gains something is kept. The dice are the same every time and there
is no clock in it, so that the same plan comes out again.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dryspell.outlook.chain import Chain, Laid
from dryspell.outlook.crew import Crew, Diary
from dryspell.outlook.spans import BoolArray

SMALL = 1e-6
"""Costs that differ by less are the same. [h]"""
SHUFFLED_ORDERS = 1
MOST_ROUNDS = 4
MOST_OTHERS = 3
TRIES = 1500
WORSE_BY_H, LIKING_H = 0.5, 0.05
"""Found by trial: twelve pieces and two people come out 2 to 4 % over the bound, where they are 6 to 13 % over it to
begin with."""


@dataclass(frozen=True)
class Task:
    """A piece that is to be planned among others.

    Attributes
    ----------
    site
        Which of the crew's sites it stands at.
    people
        Which of the crew do it.
    can
        Whether each of them can do each start in each state, the other pieces left aside, as the chain lists them:
        shape (people, starts of all coats).
    """

    chain: Chain
    site: int
    people: tuple[int, ...]
    can: BoolArray


@dataclass(frozen=True)
class Turn:
    """The starts of one piece, who does each, and what that costs. [h]"""

    laid: tuple[Laid, ...]
    people: tuple[int, ...]
    cost_h: float


def task_of(chain: Chain, site: int, people: Sequence[int], crew: Crew) -> Task:
    """Return a piece with who could do each of its starts."""
    free = [np.concatenate([[0], np.cumsum(~crew.free[person, site])]) for person in people]
    first, end = np.maximum(chain.firsts, 0), chain.ends + 1  # to the end of it, as a piece's own hours are looked at
    can = np.array([off[end] == off[first] for off in free], dtype=np.bool_).reshape(len(people), first.size)
    return Task(chain, site, tuple(people), can)


def _anybody(by_person: BoolArray) -> BoolArray:
    return np.asarray(by_person.any(axis=0))


class Sharing:
    """Tasks, and what is planned for them.

    Parameters
    ----------
    size
        Steps of the grid.
    """

    def __init__(self, tasks: Sequence[Task], crew: Crew, size: int) -> None:
        self.tasks = tasks
        self.crew = crew
        self.size = size
        self.alone = [task.chain.best(_anybody(task.can)) for task in tasks]
        self.turns: dict[int, Turn] = {}
        self._diary = Diary(crew, size)

    @property
    def cost_h(self) -> float:
        """What the plan costs."""
        return sum(turn.cost_h for turn in self.turns.values())

    @property
    def bound_h(self) -> float:
        """What no plan can cost less than: every piece for itself."""
        return sum(cost for _, cost in self.alone)

    @property
    def starts(self) -> int:
        """How many starts there are to choose from."""
        return sum(coat.at.size for task in self.tasks for coat in task.chain.coats)

    def open_to(self, which: int) -> BoolArray:
        """Return who could do each start of a task beside what else is planned, shape (people, starts of all coats)."""
        task = self.tasks[which]
        diaries = [self._diary.of(person, task.site) for person in task.people]
        rows = [diary.open_to(task.chain.firsts, task.chain.ends) for diary in diaries]
        return task.can & np.array(rows, dtype=np.bool_).reshape(task.can.shape)

    def plan(self, which: int, chance: np.random.Generator | None = None) -> None:
        """Plan a task in the hours that are left; of those as good take the first, or one by chance."""
        task, open_to = self.tasks[which], self.open_to(which)
        liking_h = None if chance is None else np.asarray(LIKING_H * chance.random(open_to.shape[1]))
        laid, cost_h = task.chain.best(_anybody(open_to), liking_h)
        people = [
            task.people[int(np.argmax(task.chain.of_coat(k, open_to)[:, one.state, one.index]))]
            for k, one in enumerate(laid)
        ]
        self.put(which, Turn(tuple(laid), tuple(people), cost_h))

    def put(self, which: int, turn: Turn) -> None:
        """Take over a plan for a task that has none."""
        self.turns[which] = turn
        self._note(which, turn, off=False)

    def take_out(self, which: int) -> Turn:
        """Drop the plan of a task, and return it."""
        turn = self.turns.pop(which)
        self._note(which, turn, off=True)
        return turn

    def _note(self, which: int, turn: Turn, *, off: bool) -> None:
        task = self.tasks[which]
        for k, (one, person) in enumerate(zip(turn.laid, turn.people, strict=True)):
            first, end = (int(edge[one.index]) for edge in task.chain.span(k, one.state))
            self._diary.note(person, task.site, first, end, off=off)

    def replan(
        self, group: Sequence[int], *, worse_by_h: float = -SMALL, chance: np.random.Generator | None = None
    ) -> bool:
        """Plan some tasks anew, one after the other, and keep that unless it is worse by more than that; say so."""
        before = {which: self.take_out(which) for which in group}
        most_h = sum(turn.cost_h for turn in before.values()) + worse_by_h
        least_h = sum(self.alone[which][1] for which in group)
        planned = []
        for which in group:
            planned.append(which)
            self.plan(which, chance)
            least_h += self.turns[which].cost_h - self.alone[which][1]
            if least_h > most_h:
                break
        else:
            return True
        for which in planned:
            self.take_out(which)
        for which, turn in before.items():
            self.put(which, turn)
        return False

    def restore(self, turns: dict[int, Turn]) -> None:
        """Put plans of tasks back in the place of what they have now."""
        for which in turns:
            self.take_out(which)
        for which, turn in turns.items():
            self.put(which, turn)

    def tidy(self) -> None:
        """Move every coat to the first hours that cost no more."""
        for which in self.order_by_delay():
            before = self.take_out(which)
            self.plan(which)
            if self.turns[which].cost_h > before.cost_h + SMALL:
                self.restore({which: before})

    def order_by_delay(self) -> list[int]:
        """Return the tasks, the one that the others delay most first."""
        return sorted(self.turns, key=lambda which: (self.alone[which][1] - self.turns[which].cost_h, which))

    @property
    def delayed(self) -> list[int]:
        """The tasks that are later than they would be by themselves, the latest first."""
        return [w for w in self.order_by_delay() if self.turns[w].cost_h > self.alone[w][1] + SMALL]

    def begin(self) -> None:
        """Find a fair plan for all tasks: the best of several orders to plan them in."""
        best: tuple[float, dict[int, Turn]] | None = None
        for order in self._orders():
            self._all_anew(order)
            if best is None or self.cost_h < best[0] - SMALL:
                best = self.cost_h, dict(self.turns)
            if self.cost_h <= self.bound_h + SMALL:
                return
        if best is not None:
            self.restore(best[1])

    def better(self, tries: int = TRIES) -> None:
        """Take a delayed task out with some others and put them back in another order, again and again.

        What comes out a little worse is gone on from too; the best is kept.
        """
        chance = np.random.default_rng(1)
        best = self.cost_h, dict(self.turns)
        for _ in range(tries):
            if not (delayed := self.delayed):
                return
            late = delayed[int(chance.integers(len(delayed)))]
            others = chance.permutation([which for which in self.turns if which != late])
            group = [late, *others[: int(chance.integers(1, MOST_OTHERS + 1))].tolist()]
            self.replan(chance.permutation(group).tolist(), worse_by_h=WORSE_BY_H, chance=chance)
            if self.cost_h < best[0] - SMALL:
                best = self.cost_h, dict(self.turns)
        self.restore(best[1])

    def in_the_way_of(self, late: int) -> list[int]:
        """Return the other tasks, first those at work in most of the hours that a task would have by itself."""
        wanted = self._at_work(late, self.alone[late][0])
        taken = {w: np.count_nonzero(wanted & self._at_work(w, turn.laid)) for w, turn in self.turns.items()}
        return sorted((which for which in taken if which != late), key=lambda which: (-taken[which], which))

    def _at_work(self, which: int, laid: Sequence[Laid]) -> BoolArray:
        """Return in which steps somebody is at a piece."""
        steps = np.zeros(self.size, dtype=np.bool_)
        for k, one in enumerate(laid):
            first, end = (int(edge[one.index]) for edge in self.tasks[which].chain.span(k, one.state))
            steps[max(first, 0) : end] = True
        return steps

    def narrowed(self) -> "Sharing":
        """Return the same plan over only those starts that a better one could have."""
        slack_h = self.cost_h - self.bound_h + SMALL
        tasks, indices = [], []
        for task, (_, alone_h) in zip(self.tasks, self.alone, strict=True):
            through = task.chain.through(_anybody(task.can))
            keep = [np.asarray((each <= alone_h + slack_h).any(axis=0)) for each in through]
            kept = [np.tile(each, task.chain.states[k]) for k, each in enumerate(keep)]
            can = task.can[:, np.concatenate(kept)]
            tasks.append(Task(task.chain.narrowed(keep), task.site, task.people, can))
            indices.append([np.cumsum(kept) - 1 for kept in keep])
        sharing = Sharing(tasks, self.crew, self.size)
        for which, turn in self.turns.items():
            laid = [Laid(int(at[one.index]), one.state) for one, at in zip(turn.laid, indices[which], strict=False)]
            sharing.put(which, Turn(tuple(laid), turn.people, turn.cost_h))
        return sharing

    def _all_anew(self, order: Sequence[int]) -> None:
        for which in list(self.turns):
            self.take_out(which)
        for which in order:
            self.plan(which)
        for _ in range(MOST_ROUNDS):
            if not sum(self.replan([which]) for which in self.delayed):
                return

    def _orders(self) -> list[list[int]]:
        """Return orders to plan the tasks in: as given, soonest and latest finish first, fewest starts first, mixed."""
        given = list(range(len(self.tasks)))
        by_finish = sorted(given, key=lambda which: self.alone[which][1])
        starts = [np.count_nonzero(task.can.any(axis=0)) for task in self.tasks]
        by_room = sorted(given, key=lambda which: starts[which])
        mixed = [[(step * k) % len(given) for k in given] for step in _coprime(len(given))]
        return [given, by_finish, by_finish[::-1], by_room, *mixed]


def _coprime(count: int) -> list[int]:
    return [step for step in range(2, count) if np.gcd(step, count) == 1][:SHUFFLED_ORDERS]
