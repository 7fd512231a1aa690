"""Finish dates beyond the forecast: what is left of a build-up, in the weather of the same days of past years.

Behind the forecast the days of each past year are put, and in each of these ways by itself the coats that find no hours
before the forecast ends are planned exactly. Such a plan is made with hindsight: it knows the weather of its year to
the end, as nobody will. In return every start has the reserve that those of a single forecast have, and passes every
limit with slower drying and one degree for the worse too. What a finisher loses who waits for surer days is not in it.

A forecast of several members has another of them before each year, so that what it leaves open is left open here. Each
piece is planned as if its finisher had nothing else to do: who shares people past the forecast, nobody knows.
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

import numpy as np

from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.below import stamp
from dryspell.outlook.chain import only
from dryspell.outlook.conditions import needed_variables
from dryspell.outlook.model import Coat, Limit
from dryspell.outlook.plan_model import Beyond, Plan
from dryspell.outlook.prospect import Prospect, prospect_of
from dryspell.outlook.sequence import CoatStarts, best_sequence
from dryspell.outlook.spans import IndexArray
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay
from dryspell.weather.checks import as_datetime
from dryspell.weather.resample import at_points, most_in_cells, over_cells
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, WeatherTable

LOOKS_D = (30, 90, 300)
"""How many days behind the forecast are looked at: more only where nine years of ten are not done within fewer."""
KNOWN_SHARE = 0.9
"""Of a year's hours so many have to be known: a gap is no hour to coat in, and too many of them would put dates off."""
_EACH = Agreement(least=1e-6, good=1e-6, worse=ALL.worse)
"""A start is kept that passes in one year: which, the plan of each year asks for itself."""
_HOUR = np.timedelta64(3600, "s")
_CHANCE = "probability_of_precipitation"
_IN_EITHER = {"dew_point_temperature", "relative_humidity", "wind_speed_of_gust", "surface_air_pressure"}
"""What may be known on one side of the forecast's end only: either stands in for the other, or can be done without."""


def is_beyond(plan: Plan) -> bool:
    """Say whether a plan has coats that find no hours in a forecast that can be planned with."""
    weather = plan.weather
    reaches = weather is not None and weather.reaches is not None and weather.reaches > plan.made_at
    stale = plan.reason is not None and plan.reason.limit is Limit.KNOWN and plan.reason.unit == "h"
    return reaches and plan.unplanned > 0 and not plan.missing and not stale


def beyond_of(
    piece: Piece,
    site: Site,
    lays: Sequence[Lay],
    coats: Sequence[Coat],
    table: WeatherTable,
    plan: Plan,
    years: Sequence[WeatherTable],
) -> Beyond:
    """Return by when a piece is built up in the weather of past years.

    Parameters
    ----------
    lays, coats, table
        What the plan was made of.
    plan
        One for which `is_beyond` holds; its coats are taken to go on as planned.
    years
        The weather of past years, each laid on the time from the plan on; those with too many gaps are left out.
    """
    if plan.weather is None or plan.weather.reaches is None:
        raise ValueError("a plan without weather has nothing that lies beyond it")
    reaches = plan.weather.reaches
    laid = [*coats, *(_as_coat(plan, n) for n in range(len(plan.planned)))]
    from_now = plan.planned[-1].last_stroke if plan.planned else plan.made_at
    # Within the forecast there would be hours, but nobody for them.
    begin = reaches if plan.by_people else from_now
    first_h = stamp(reaches).astype("datetime64[h]").astype("datetime64[s]") + _HOUR
    known = [year for year in years if _is_known(piece, year, first_h + np.arange(24 * LOOKS_D[0]) * _HOUR)]
    if not known:
        return Beyond(unknown="no past year is known for these days")
    built = np.zeros(0, dtype="datetime64[s]")
    until = reaches
    for days in LOOKS_D:
        axis = first_h + np.arange(24 * days) * _HOUR
        until = as_datetime(axis[-1])
        prospect = prospect_of(piece, site, lays, laid, _ways(table, known, axis, begin), begin, stale_after_h=1.0,
                               agreement=_EACH)  # fmt: skip
        built = np.full(len(known), np.datetime64("NaT", "s"))
        if isinstance(prospect, Prospect):
            built = np.sort([_built_up(prospect, year, len(known)) for year in range(len(known))])
        if not np.isnat(_in_share(built, 0.9)):
            break
    half, most = _in_share(built, 0.5), _in_share(built, 0.9)
    return Beyond(
        built_up_50_at=None if np.isnat(half) else as_datetime(half),
        built_up_90_at=None if np.isnat(most) else as_datetime(most),
        years=len(known),
        until=until,
        source=known[0].source,
        attribution=known[0].attribution,
    )


def _as_coat(plan: Plan, which: int) -> Coat:
    coat = plan.planned[which]
    return Coat(
        piece=plan.piece,
        number=coat.number,
        began_at=coat.start,
        finished_at=coat.last_stroke,
        recorded_at=coat.last_stroke,
        coating=coat.coating,
        thinner_parts=coat.thinner_parts,
        wet_film_um=coat.wet_film_um,
        abrasive=coat.abrasive,
    )


def _is_known(piece: Piece, year: WeatherTable, axis: TimeArray) -> bool:
    """Say whether enough of a year is known of all that a verdict on the piece needs."""
    shares = [np.isfinite(_on(year, name, axis)).mean() for name in needed_variables(piece, year)]
    return bool(min(shares) >= KNOWN_SHARE)


def _ways(table: WeatherTable, years: Sequence[WeatherTable], axis: TimeArray, now: datetime) -> WeatherTable:
    """Return the weather of each year behind a member of the forecast, as a table of a member a year."""
    ahead = table.times < axis[0]
    members = np.arange(len(years)) * table.members // len(years)

    def both(name: str) -> FloatArray:
        behind = np.concatenate([_on(year, name, axis) for year in years])
        return np.concatenate([table.column(name)[members][:, ahead], behind], axis=1)

    names = [
        name
        for name in VARIABLES
        # Whether it rains is settled in each way, so a chance has nothing to add.
        if name != _CHANCE and (name in _IN_EITHER or (table.knows(name) and any(year.knows(name) for year in years)))
    ]
    coarse = None
    if table.coarse is not None:
        coarse = np.concatenate([table.coarse[ahead], np.zeros(axis.size, dtype=np.bool_)])
    return WeatherTable(
        times=np.concatenate([table.times[ahead], axis]),
        columns={name: both(name) for name in names},
        source=table.source,
        issued_at=now,
        coarse=coarse,
    )


def _on(year: WeatherTable, name: str, axis: TimeArray) -> FloatArray:
    """Return a year's variable on hours, NaN where it is not known; shape (1, hours)."""
    cell = VARIABLES[name].cell
    if cell == "point":
        values = at_points(year, name, axis)
    elif cell == "maximum":
        values = most_in_cells(year, name, axis)
    else:
        values = over_cells(year, name, axis, mean=cell == "mean")
    return np.where((axis >= year.times[0]) & (axis <= year.times[-1]), values, np.nan)


def _built_up(prospect: Prospect, year: int, years: int) -> np.datetime64:
    """Return the last stroke of the last coat in the weather of one year, NaT where that is later than it reaches."""
    mine = np.arange(year, prospect.conditions.air_c.shape[0], years)  # a way of a shut tent is another member of it
    coats = [_of_members(coat, mine) for coat in prospect.starts]
    chosen = best_sequence(
        _of_members(prospect.below, mine),
        coats,
        odds=1.0,
        step_h=prospect.conditions.step_s / 3600.0,
        origin=prospect.first,
    )
    if len(chosen) < len(coats):
        return np.datetime64("NaT", "s")
    start = int(coats[-1].at[chosen[-1].index])
    return np.datetime64(prospect.conditions.times[start + prospect.candidates.brush_steps])


def _of_members(coat: CoatStarts, mine: IndexArray) -> CoatStarts:
    """Return the starts of a coat that pass in all of some members, as those have it: the first is the best."""
    soft = coat.soft and (coat.soft[0][:, mine], coat.soft[1][:, mine])
    passes = coat.passes[:, mine]
    of_them = replace(coat, passes=passes, ready=coat.ready[:, mine], soft=soft, cost_h=np.zeros(coat.at.size))
    return only(of_them, np.asarray(passes.all(axis=1).any(axis=0)))


def _in_share(built: TimeArray, share: float) -> np.datetime64:
    """Return by when a share of the years is built up, of their dates in order with those of no date last."""
    return np.datetime64(built[max(int(np.ceil(share * built.size - 1e-9)), 1) - 1])
