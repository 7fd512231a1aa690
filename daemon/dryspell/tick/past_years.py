"""Past years at a site, for what lies beyond the forecast: out of the archive, else out of the record kept here."""

import logging
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from dryspell.config import Config
from dryspell.errors import WeatherError
from dryspell.outlook.beyond import LOOKS_D, beyond_of, is_beyond
from dryspell.outlook.laid import as_laid
from dryspell.outlook.model import Coat
from dryspell.outlook.plan_model import Beyond, Plan, Plans
from dryspell.outlook.spans import BoolArray
from dryspell.store import Store
from dryspell.tick.apart import Apart
from dryspell.tick.sources import archive_of
from dryspell.weather.checks import as_instant
from dryspell.weather.sources.open_meteo_archive import OpenMeteoArchive, years_before
from dryspell.weather.table import WeatherTable

log = logging.getLogger(__name__)

DAYS = 16 + LOOKS_D[-1]
"""The longest forecast, and what is looked at behind it."""
_SPAN = timedelta(days=DAYS)
ASK_AGAIN = timedelta(hours=6)
"""An archive that gave nothing is not asked sooner."""


@dataclass(frozen=True)
class _Known:
    """Past years of a site, laid on the time from an instant on; `why` there are none."""

    at: datetime
    years: tuple[WeatherTable, ...]
    why: str
    until: datetime

    def holds(self, now: datetime) -> bool:
        return self.at <= now < self.until


class PastYears:
    """Tells of plans by when past years would have been built up; asks and reckons no more than once a day.

    Parameters
    ----------
    ask
        Whether the archive may be asked, where the configuration wants that; without it the record kept here serves.
    apart
        Where dates are reckoned, in place of the thread itself.
    """

    def __init__(self, config: Config, store: Store, *, ask: bool = True, apart: Apart | None = None) -> None:
        self._store = store
        self._apart = apart
        asked = {key: config.weather.years_asked(config.sources_of(site)) for key, site in config.site.items()}
        self._archives: Mapping[str, tuple[OpenMeteoArchive, int]] = {
            key: (archive_of(config, config.site[key]), years) for key, years in asked.items() if ask and years
        }
        self._known: dict[str, _Known] = {}
        self._found: dict[str, tuple[Hashable, Beyond]] = {}

    def at_hand(self, made: Plans, now: datetime) -> bool:
        """Say whether the past years of all plans that lack coats have been fetched already."""
        sites = {plan.site for plan in made.plans if is_beyond(plan)}
        return all(site in self._known and self._known[site].holds(now) for site in sites)

    def added_to(
        self,
        made: Plans,
        config: Config,
        coats: Mapping[str, Sequence[Coat]],
        tables: Mapping[str, WeatherTable | None],
        now: datetime,
    ) -> Plans:
        """Return plans with finish dates beyond the forecast where coats find no hours within it.

        What was found for the same plan on the same day stays.

        Parameters
        ----------
        config, coats, tables, now
            What the plans were made of.
        """
        return made.model_copy(
            update={"plans": tuple(self._with_beyond(plan, config, coats, tables, now) for plan in made.plans)}
        )

    def _with_beyond(
        self,
        plan: Plan,
        config: Config,
        coats: Mapping[str, Sequence[Coat]],
        tables: Mapping[str, WeatherTable | None],
        now: datetime,
    ) -> Plan:
        table = tables.get(plan.site)
        if table is None or not is_beyond(plan):
            return plan
        known = self._of_site(plan.site, now)
        key = _key(plan, known)
        if self._found.get(plan.piece, ((), None))[0] != key:
            piece = config.piece[plan.piece]
            on = coats.get(plan.piece, ())
            lays = as_laid(config.lays_of(piece), on, config.coating)
            found = Beyond(unknown=known.why)
            try:
                if known.years:
                    told = piece, config.site_of(piece), lays, on, table, plan, known.years
                    found = beyond_of(*told) if self._apart is None else self._apart(beyond_of, *told)
            except Exception:  # the plan itself stands, and so do the others
                log.exception("%s could not be planned beyond the forecast", plan.piece)
                found = Beyond(unknown="it could not be worked out; the log says why")
            self._found[plan.piece] = key, found
        return plan.model_copy(update={"beyond": self._found[plan.piece][1]})

    def _of_site(self, site: str, now: datetime) -> _Known:
        if site not in self._known or not self._known[site].holds(now):
            self._known[site] = self._looked_up(site, now)
        return self._known[site]

    def _looked_up(self, site: str, now: datetime) -> _Known:
        tomorrow = now + timedelta(days=1)
        why = "no archive of past weather is asked, and the record kept here goes back less than a year"
        if site in self._archives:
            archive, years = self._archives[site]
            try:
                tables = archive.same_days(now, DAYS, years)
                return _Known(now, tuple(_laid_on(each, now) for each in tables), "", tomorrow)
            except WeatherError as error:
                log.warning("past years at %s: %s", site, error)
                wait = max(timedelta(seconds=error.retry_after_s or 0.0), ASK_AGAIN)
                tomorrow, why = now + wait, str(error)
        return _Known(now, tuple(self._recorded(site, now)), why, tomorrow)

    def _recorded(self, site: str, now: datetime) -> Sequence[WeatherTable]:
        """Return the same days of past years as they were recorded here, last year first."""
        since = self._store.weather_since(site)
        begins: list[datetime] = []
        while since is not None and years_before(now, len(begins) + 1) >= since:
            begins.append(years_before(now, len(begins) + 1))
        kept = self._store.past_weather(site, begins[-1], until=now) if begins else None
        if kept is None:
            return []
        spans = [(kept.times >= as_instant(at)) & (kept.times <= as_instant(at + _SPAN)) for at in begins]
        return [
            _laid_on(_rows(kept, rows), now, begin)
            for begin, rows in zip(begins, spans, strict=True)
            if np.count_nonzero(rows) > 1
        ]


def _laid_on(table: WeatherTable, now: datetime, begin: datetime | None = None) -> WeatherTable:
    """Return a past year's weather with the times that are ahead; left out, it begins with the hour of `now`."""
    hour = as_instant(now.replace(minute=0, second=0, microsecond=0))
    later = hour - table.times[0] if begin is None else as_instant(now) - as_instant(begin)
    return replace(table, times=table.times + later)


def _rows(table: WeatherTable, rows: BoolArray) -> WeatherTable:
    columns = {name: column[:, rows] for name, column in table.columns.items()}
    coarse = None if table.coarse is None else table.coarse[rows]
    return replace(table, times=table.times[rows], columns=columns, coarse=coarse, spread={})


def _key(plan: Plan, known: _Known) -> Hashable:
    """Return what the finish dates of a plan hang on, by the day: what moves by hours changes no odds of days."""
    reaches = plan.weather.reaches if plan.weather else None
    last = plan.planned[-1] if plan.planned else None
    return (
        known.at,
        reaches and reaches.date(),
        plan.coats,
        plan.left,
        last and (last.number, last.start, last.coating),
        plan.by_people,
    )
