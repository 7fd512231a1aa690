"""The plans that the daemon makes on its way through a past period: what they moved, and what they promised."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import replace

from dryspell.config import Config
from dryspell.outlook.plan_model import Plan, Plans
from dryspell.replay.account import Planned, Promised
from dryspell.replay.truth import BuildUp
from dryspell.store import Store
from dryspell.tick.plans import Planner
from dryspell.trade.person import Person


def each_by_its_own(config: Config) -> list[Person]:
    """Return who does the work: those of the configuration, else somebody at each piece, as a replay has it."""
    return list(config.person.values()) or [Person(key=key, pieces=(key,)) for key in config.piece]


class Planning:
    """Has the daemon's planner make its plans, and keeps what they say of the pieces.

    Parameters
    ----------
    build_ups
        By piece, what its finisher does; a plan is of the build-up that is under way.
    """

    def __init__(self, store: Store, build_ups: Mapping[str, BuildUp]) -> None:
        self.planner = Planner(store)
        self._build_ups = build_ups
        self._seen: Plans | None = None
        self._made = 0
        self._moved: dict[str, Counter[str]] = {key: Counter() for key in build_ups}
        self._promised: dict[str, dict[int, Promised]] = {key: {} for key in build_ups}

    def follow(self, wait_s: float, brushing: Iterable[str]) -> None:
        """Wait for the plans that were begun, and take in what is new in them.

        Parameters
        ----------
        brushing
            The pieces at which a coat is going on that is not recorded yet.
        """
        self.planner.wait(wait_s)
        made, busy = self.planner.latest, set(brushing)
        if made is None or made is self._seen:
            return
        self._seen = made
        self._made += 1
        for plan in made.plans:
            self._moved[plan.piece].update(coat.moved.why for coat in plan.planned if coat.moved)
            if plan.piece not in busy:
                self._promise(plan)

    def account(self, piece: str) -> Planned:
        """Return what came of the plans of a piece."""
        build_up = self._build_ups[piece]
        reached = dict(enumerate(build_up.truth.instant(at) for at in build_up.built_up))
        return Planned(
            made=self._made,
            moved=dict(self._moved[piece].most_common()),
            finishes=tuple(
                replace(promised, reached=reached.get(which)) for which, promised in self._promised[piece].items()
            ),
        )

    def _promise(self, plan: Plan) -> None:
        """Keep the first finish that is promised of each build-up."""
        if plan.left and plan.built_up_at is not None:
            which = len(self._build_ups[plan.piece].built_up)
            self._promised[plan.piece].setdefault(which, Promised(plan.made_at, plan.built_up_at, None))
