"""The plans of all pieces, kept up to date beside the ticks: made anew when something they hang on has changed."""

import logging
from collections.abc import Hashable, Mapping, Sequence
from datetime import datetime, timedelta

from dryspell.config import Config
from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Coat
from dryspell.outlook.plan_model import Plan, Plans
from dryspell.outlook.prospect import Prospect, prospect_of
from dryspell.outlook.shared_plan import EFFORT, make_plans
from dryspell.store import Store
from dryspell.tick.look import OnError
from dryspell.weather.table import WeatherTable
from dryspell.workers import Workers

log = logging.getLogger(__name__)

LATE = timedelta(hours=1)
"""A coat that is not recorded so long after its planned last stroke has been missed: there is to be another plan."""


def plans(
    config: Config,
    coats: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    now: datetime,
    promised: Mapping[str, Plan],
    *,
    effort: float = EFFORT,
    on_error: OnError | None = None,
) -> Plans:
    """Return the plan of every piece, in the order of the configuration.

    Parameters
    ----------
    coats, tables, now, on_error
        As for `dryspell.tick.look.look`; a piece that could not be looked at is left out.
    promised
        The last plans, by piece.
    effort
        What the solver may take, as for `dryspell.outlook.shared_plan.make_plans`.
    """
    prospects: list[Prospect | Plan] = []
    for key, piece in config.piece.items():
        try:
            prospects.append(
                prospect_of(
                    piece,
                    config.site_of(piece),
                    as_laid(config.lays_of(piece), coats.get(key, ()), config.coating),
                    coats.get(key, ()),
                    tables.get(piece.site),
                    now,
                    stale_after_h=config.weather.stale_after_h,
                    promised=promised[key].starts if key in promised else None,
                )
            )
        except Exception as error:  # one bad piece must not silence the others
            if on_error is None:
                raise
            on_error(key, error)
    return make_plans(prospects, list(config.person.values()), effort=effort)


def kept(store: Store, made: Plans) -> None:
    """Keep plans as the next ones' promise; one that could not be made for want of weather takes back no promise."""
    store.keep_plans(plan for plan in made.plans if plan.planned or not plan.left or plan.weather is not None)


class Planner:
    """Makes plans in a thread of its own, since that takes a while, and only when they may come out otherwise."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._workers = Workers()
        self._made_of: Hashable = None
        self._latest: Plans | None = None
        self._left = False

    @property
    def latest(self) -> Plans | None:
        """The plans made last; None before the first."""
        return self._latest

    def start(
        self,
        config: Config,
        coats: Mapping[str, Sequence[Coat]],
        tables: Mapping[str, WeatherTable | None],
        now: datetime,
    ) -> bool:
        """Begin to make plans if there is reason to, and say so. Nothing is raised."""
        made_of = _fingerprint(config, coats, tables)
        if made_of == self._made_of and not self._is_missed(now):
            return False

        def make() -> None:
            made = plans(config, coats, tables, now, self._store.plans(), on_error=_say)
            if not self._left:
                kept(self._store, made)
                self._latest = made

        if not self._workers.start("the plan", make):
            return False
        self._made_of = made_of
        return True

    def wait(self, timeout_s: float) -> bool:
        """Wait until no plan is under way, or for `timeout_s`; say which."""
        return self._workers.wait(timeout_s)

    def leave(self) -> None:
        """Let what is under way come to nothing: the state is about to be closed."""
        self._left = True

    def _is_missed(self, now: datetime) -> bool:
        """Say whether a coat was to be on by now, and is not: the plan would have been made anew."""
        of_all = self._latest.plans if self._latest else ()
        return any(plan.planned and plan.planned[0].last_stroke + LATE < now for plan in of_all)


def _fingerprint(
    config: Config, coats: Mapping[str, Sequence[Coat]], tables: Mapping[str, WeatherTable | None]
) -> Hashable:
    """Return what plans hang on, as something to compare; the forecast by its issue and its source."""
    weather = tuple(
        (site, table and (table.source, table.issued_at, table.members, table.notes)) for site, table in tables.items()
    )
    on = tuple((piece, tuple(coat.model_dump_json() for coat in of_piece)) for piece, of_piece in coats.items())
    paces = tuple((key, coating.factors.pace) for key, coating in config.coating.items())
    return weather, on, paces


def _say(piece: str, error: Exception) -> None:
    log.error("%s could not be planned", piece, exc_info=error)
