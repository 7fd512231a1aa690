"""What a site's own readings have taught of its forecasts: how it differs from them, and how far off they are."""

import logging
import re
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from dryspell.errors import WeatherError
from dryspell.store import Store
from dryspell.weather.checks import as_instant
from dryspell.weather.error_model import ALONE_ERRORS, DEFAULT_ERRORS, ErrorModel
from dryspell.weather.noise import seed_of
from dryspell.weather.odds import members_of
from dryspell.weather.table import ALONE, WeatherTable

if TYPE_CHECKING:
    from dryspell.weather.correction import SiteCorrection

log = logging.getLogger(__name__)

LEADS_H = (0.0, 1.0, 3.0, 6.0, 12.0, 24.0, 48.0, 72.0, 120.0)
LEARN_EVERY = timedelta(hours=24)
LEARN_SOON = timedelta(hours=1)
LEAN_ON = timedelta(hours=2)
"""The hours to come lean on the last reading if it is no older than this."""

_FIGURES = re.compile(r"\d[\d.]*|nan")


@dataclass(frozen=True)
class Lessons:
    """What was learned of one site from readings up to an instant; no correction where nothing could be."""

    at: datetime
    source: str
    correction: "SiteCorrection | None"
    errors: ErrorModel

    def until(self) -> datetime:
        """Return when to learn again: soon, while nothing has been learned."""
        return self.at + (LEARN_EVERY if self.correction and self.correction.learned else LEARN_SOON)


def learn(store: Store, site: str, table: WeatherTable, now: datetime) -> Lessons:
    """Learn from what was forecast by the source of a table, and read then."""
    if not store.latest_good(site, now, back=LEARN_EVERY):
        return Lessons(now, table.source, None, ALONE_ERRORS if table.source == ALONE else DEFAULT_ERRORS)
    if table.source == ALONE:
        return Lessons(now, table.source, None, _errors_alone(store, site, now))
    # Most sites have no sensor, and then nothing of this is wanted.
    from dryspell.weather.correction import MOVED, MULTIPLIED, fit  # noqa: PLC0415
    from dryspell.weather.learn_errors import learn_errors, when_corrected  # noqa: PLC0415

    history = store.history(site, (*MOVED, *MULTIPLIED), now, LEADS_H, source=table.source)
    correction = fit(history, as_instant(now))
    used = {name: score for name, score in correction.scores.items() if name in correction.learned}
    return Lessons(now, table.source, correction, when_corrected(learn_errors(history), used))


def say(site: str, lessons: Lessons, before: Lessons | None) -> None:
    """Log of each variable whether it is corrected, when that is news; figures alone are none."""
    if (correction := lessons.correction) is None:
        return
    was = before.correction if before else None
    for name, score in correction.scores.items():
        why = correction.off.get(name, "")
        if was and name in was.scores and _plain(was.off.get(name, "")) == _plain(why):
            continue
        if why:
            log.info("%s of %s is not corrected: %s", name, site, why)
        else:
            log.info("%s of %s was off by %.2f, and by %.2f when corrected", name, site, score.raw, score.corrected)


def _plain(reason: str) -> str:
    return _FIGURES.sub("#", reason)


def _errors_alone(store: Store, site: str, now: datetime) -> ErrorModel:
    readings = store.read_weather(site, now - timedelta(days=90), now)
    if readings is None:
        return ALONE_ERRORS
    from dryspell.weather.alone import relived  # noqa: PLC0415  (as above)
    from dryspell.weather.learn_errors import learn_errors  # noqa: PLC0415

    try:
        return learn_errors(relived(readings, now), default=ALONE_ERRORS)
    except WeatherError:
        return ALONE_ERRORS


def as_here(
    table: WeatherTable, lessons: Lessons, store: Store, site: str, now: datetime, *, members: int
) -> WeatherTable:
    """Return a forecast as it is for the site: corrected, leaning on the last readings, and with its odds.

    Parameters
    ----------
    members
        How many ways of a single forecast to judge; 1 for the forecast alone. An ensemble keeps its own.
    """
    readings = reversed(store.latest_good(site, now, back=LEAN_ON))  # the first sensor of a variable stays
    latest = {each.variable: (as_instant(each.at), each.value) for each in readings}
    correction = lessons.correction
    if correction is None and latest:
        from dryspell.weather.correction import NOTHING  # noqa: PLC0415  (as above)

        correction = NOTHING
    if correction is not None and (correction.learned or correction.off or latest):
        table = correction.applied(table, as_instant(now), latest)
    if members > 1:
        table = members_of(table, now, lessons.errors, count=members, seed=seed_of(site))
    return table
