"""Runs decisions one after the other, through JSON in between as the daemon does."""

from alerts.fakes import at, outlook
from dryspell.alerts.decide import decide
from dryspell.alerts.memory import PieceMemory
from dryspell.alerts.model import Habits


class Timeline:
    """One or more pieces; what is said is returned, and a second look at the same instant says nothing."""

    def __init__(self, habits=None):
        self.memory = {}
        self.habits = habits or Habits()

    def tick(self, *seen, plan=None):
        plans = {plan.piece: plan} if plan else None
        notices, memory = decide(self.memory, seen, seen[0].made_at, self.habits, plans)
        self.memory = {p: PieceMemory.model_validate_json(m.model_dump_json()) for p, m in memory.items()}
        again, same = decide(self.memory, seen, seen[0].made_at, self.habits, plans)
        assert again == []
        assert same == self.memory
        return notices

    def play(self, *steps):
        """Play (day, clock, windows, ...changes); return (clock, kind, why) of what was said."""
        said = []
        for day, clock, windows, *changes in steps:
            seen = outlook(at(day, clock), windows, **(changes[0] if changes else {}))
            said += [(clock, n.kind, n.why) for n in self.tick(seen)]
        return said
