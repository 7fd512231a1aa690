"""The plans of all pieces, kept up to date beside the ticks: made anew when something they hang on has changed."""

import logging
import traceback
from collections.abc import Callable, Hashable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any

from dryspell.config import Config
from dryspell.config.page import PageSettings
from dryspell.config.services import ArchiveSettings, EnsembleSettings, OpenMeteoSettings
from dryspell.errors import DryspellError
from dryspell.faults import kind_of, told
from dryspell.heap import give_back
from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Coat
from dryspell.outlook.plan_model import Plan, Plans
from dryspell.outlook.prospect import Prospect, prospect_of
from dryspell.outlook.shared_plan import EFFORT, make_plans
from dryspell.store import Store
from dryspell.tick.apart import Apart, ApartError
from dryspell.tick.look import OnError
from dryspell.tick.past_years import PastYears
from dryspell.weather.table import WeatherTable
from dryspell.workers import Workers

log = logging.getLogger(__name__)

MOST_PIECES = 60
"""Every start of every coat to come of all pieces is at hand while plans are made: 12 MB a piece, and twice that at the
most, so this many take 1.3 GB for some seconds. Outlooks and alerts know no such bound."""
LATE = timedelta(hours=1)
"""A coat that is not recorded so long after its planned last stroke has been missed: there is to be another plan."""


def left_unplanned(config: Config) -> list[str]:
    """Return the pieces that no plan is made of where there are too many: those of the least priority."""
    by_priority = sorted(config.piece.values(), key=lambda piece: -piece.priority)
    return [piece.key for piece in by_priority[MOST_PIECES:]]


def say_unplanned(left: Sequence[str]) -> None:
    """Log that some pieces are left out."""
    if left:
        log.warning(
            "plans are made of %d pieces at the most, by priority; %d have none, such as %s. Their outlooks and alerts "
            "are not touched by that; for plans of all of them keep them in several configurations",
            MOST_PIECES, len(left), left[0],
        )  # fmt: skip


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
    """Return the plan of every piece but those that are `left_unplanned`, in the order of the configuration.

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
    left = set(left_unplanned(config))
    for key, piece in config.piece.items():
        if key in left:
            continue
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


def _made(
    config: Config,
    coats: Mapping[str, Sequence[Coat]],
    tables: Mapping[str, WeatherTable | None],
    now: datetime,
    promised: Mapping[str, Plan],
) -> tuple[Plans, Mapping[str, tuple[str, str]]]:
    """Return the plans, and by piece what kept one from being made: its kind, and what to log of it.

    Both are texts, for an exception may not cross to another process.
    """
    failed: dict[str, tuple[str, str]] = {}

    def note(piece: str, error: Exception) -> None:
        plain = isinstance(error, DryspellError | MemoryError)
        failed[piece] = kind_of(error), told(error) if plain else "".join(traceback.format_exception(error))

    return plans(config, coats, tables, now, promised, on_error=note), failed


def _to_reckon_with(config: Config) -> Config:
    """Return a configuration without what no plan hangs on: passwords and tokens stay in the daemon."""
    services = {
        "open_meteo": OpenMeteoSettings(),
        "open_meteo_ensemble": EnsembleSettings(),
        "open_meteo_archive": ArchiveSettings(),
    }
    weather = config.weather.model_copy(update=services)
    kept_back: dict[str, Any] = {"alerts": {}, "sensor": {}, "broker": {}, "push": None, "mqtt_out": None}
    return replace(config, weather=weather, page=PageSettings(), **kept_back)


def kept(store: Store, made: Plans) -> None:
    """Keep plans as the next ones' promise; one that could not be made for want of weather takes back no promise."""
    store.keep_plans(plan for plan in made.plans if plan.planned or not plan.left or plan.weather is not None)


class Planner:
    """Makes plans in a thread of its own, since that takes a while, and only when they may come out otherwise.

    Parameters
    ----------
    on_made
        Is called with each of them.
    past_years
        What tells by when the coats are on that find no hours within the forecast; None where nobody asks.
    apart
        Where plans are reckoned, in place of the thread itself.
    """

    def __init__(
        self,
        store: Store,
        on_made: Callable[[Plans], object] | None = None,
        past_years: PastYears | None = None,
        apart: Apart | None = None,
    ) -> None:
        self._store = store
        self._apart = apart
        self._past_years = past_years
        self._on_made = on_made
        self._workers = Workers()
        self._made_of: Hashable = None
        self._latest: Plans | None = None
        self._left = False
        self._unplanned: list[str] = []
        self._failing: Mapping[str, str] = {}

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
            try:
                made = self._planned(config, coats, tables, now)
            except ApartError:
                if self._left:
                    return
                self._made_of = None  # the next tick asks anew
                raise
            past_years = self._past_years
            if past_years is None or not past_years.at_hand(made, now):
                self._publish(made)  # what an archive has to say may take a while
            if past_years is not None and not self._left:
                self._publish(past_years.added_to(made, config, coats, tables, now))

        def make_and_give_back() -> None:
            # What goes to the other process is megabytes, and the next tick may be long in coming.
            try:
                make()
            finally:
                give_back()

        asked_before, self._made_of = self._made_of, made_of  # before it can fail
        if not self._workers.start("the plan", make if self._apart is None else make_and_give_back):
            self._made_of = asked_before
            return False
        before, self._unplanned = self._unplanned, left_unplanned(config)
        if self._unplanned != before:
            say_unplanned(self._unplanned)
        return True

    def _planned(
        self,
        config: Config,
        coats: Mapping[str, Sequence[Coat]],
        tables: Mapping[str, WeatherTable | None],
        now: datetime,
    ) -> Plans:
        promised = self._store.plans()
        if self._apart is None:
            made, failed = _made(config, coats, tables, now, promised)
        else:
            made, failed = self._apart(_made, _to_reckon_with(config), coats, tables, now, promised)
        before, self._failing = self._failing, {piece: kind for piece, (kind, _) in failed.items()}
        for piece, (kind, text) in failed.items():
            if before.get(piece) != kind:
                log.error("%s could not be planned: %s", piece, text)
        return made

    def _publish(self, made: Plans) -> None:
        if not self._left:
            kept(self._store, made)
            self._latest = made
            if self._on_made is not None:
                self._on_made(made)

    def wait(self, timeout_s: float) -> bool:
        """Wait until no plan is under way, or for `timeout_s`; say which."""
        return self._workers.wait(timeout_s)

    def leave(self) -> None:
        """Let what is under way come to nothing: the state is about to be closed."""
        self._left = True
        if self._apart is not None:
            self._apart.stop()

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
    on = tuple((piece, _mark(of_piece)) for piece, of_piece in coats.items())
    paces = tuple((key, coating.factors.pace) for key, coating in config.coating.items())
    return weather, on, paces


def _mark(coats: Sequence[Coat]) -> bytes:
    """Return a mark that other coats have another of; they themselves are kilobytes each."""
    mark = sha256()
    for coat in coats:
        mark.update(coat.model_dump_json().encode() + b"\n")
    return mark.digest()
