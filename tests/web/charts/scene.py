"""The demo's invented weeks at one of its pieces, as one forecast and as many ways in which it may turn out."""

from dataclasses import replace
from datetime import datetime
from functools import cache

import numpy as np

from dryspell.bundled import bundled
from dryspell.cli.demo import Scenario
from dryspell.config import load
from dryspell.tick.look import look
from dryspell.web.board import Known
from dryspell.web.charts.sight import Sight

NOW = datetime.fromisoformat("2026-09-03T11:15+02:00")
WAYS = 20
_SCENARIO = Scenario(load(bundled("demo.toml")), NOW)


@cache
def known(*, ways=1, now=NOW):
    """Return what a daemon would know of the demo."""
    tables = {key: _spread(source.fetch(NOW), ways) for key, source in _SCENARIO.sources.items()}
    outlooks = look(_SCENARIO.config, _SCENARIO.coats(), tables, now)
    return Known(now, _SCENARIO.config, outlooks, tables, None, (), ())


def seen(piece="toe_rail", *, ways=1, wide=True, day=None):
    """Return the outlook of a piece, and its days ahead."""
    all_known = known(ways=ways)
    outlook = all_known.outlook(piece)
    return outlook, Sight().days(all_known, outlook, day, wide=wide)


def gap(days, first, last):
    """Return days of which nothing is known for some points."""

    def without(values):
        return tuple(None if first <= n < last else value for n, value in enumerate(values))

    series = [name for name, value in vars(days).items() if isinstance(value, tuple) and len(value) == len(days.hours)]
    return replace(days, **{name: without(getattr(days, name)) for name in series if name != "hours"})


def _spread(table, ways):
    """Return a table in many ways: what is warmer by a degree in one is colder in another, the more the later."""
    if ways == 1:
        return table
    off = np.linspace(-2.0, 2.0, ways)[:, None] * np.linspace(0.0, 1.0, table.times.size)
    columns = {name: np.repeat(values, ways, axis=0) for name, values in table.columns.items()}
    del columns["relative_humidity"]
    columns["dew_point_temperature"] = np.minimum(
        columns["dew_point_temperature"] + 0.7 * off, columns["air_temperature"]
    )
    return replace(table, columns=columns)
