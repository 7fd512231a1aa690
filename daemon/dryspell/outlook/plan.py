"""The plan of one piece: every coat to come in hours in which it can go on and dry, finished as early as can be."""

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np

from dryspell.outlook.below import stamp
from dryspell.outlook.judge import ROUNDING
from dryspell.outlook.model import Coat, Limit, Reason
from dryspell.outlook.plan_model import Moved, Plan, PlannedCoat
from dryspell.outlook.prospect import SAME, Prospect, prospect_of
from dryspell.outlook.sequence import Chosen, CoatStarts, begun, best_sequence, pair
from dryspell.outlook.windows import nearest_limit, on_coarse, stages_of, why_not
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import NO_SANDING, Lay, after_full_row
from dryspell.weather.checks import as_datetime
from dryspell.weather.table import WeatherTable


def make_plan(
    piece: Piece,
    site: Site,
    lays: Sequence[Lay],
    coats: Sequence[Coat],
    table: WeatherTable | None,
    now: datetime,
    *,
    stale_after_h: float,
    promised: Mapping[int, datetime] | None = None,
) -> Plan:
    """Plan all the coats that are still to come, as far as the forecast reaches.

    As many coats as can be, the last of them as early as it can be, each at the first hours that allow that. The last
    coat of the build-up is an exception: of the hours of its day it gets the best.

    Parameters
    ----------
    lays
        The build-up, coat by coat.
    coats
        The coats recorded for this piece, in any order.
    table
        The weather at the site, as for `dryspell.outlook.outlook.make_outlook`.
    now
        The present instant, aware.
    stale_after_h
        A forecast older than this is not planned on.
    promised
        When each coat was planned to begin before, by its number: a coat stays there unless moving it gains enough.

    Raises
    ------
    ValueError
        For a `now` without an offset.
    """
    prospect = prospect_of(piece, site, lays, coats, table, now, stale_after_h=stale_after_h, promised=promised)
    if isinstance(prospect, Plan):
        return prospect
    return plan_of(prospect, chosen_alone(prospect))


def chosen_alone(prospect: Prospect) -> list[Chosen]:
    """Return the best starts of a piece whose finisher has nothing else to do."""
    return best_sequence(
        prospect.below,
        prospect.starts,
        odds=prospect.odds,
        step_h=prospect.conditions.step_s / 3600.0,
        origin=prospect.first,
    )


def plan_of(
    prospect: Prospect, chosen: Sequence[Chosen], who: Sequence[str] = (), *, alone: Sequence[Chosen] | None = None
) -> Plan:
    """Return the plan that some starts of a piece make.

    Parameters
    ----------
    chosen
        A start for each of the first coats to come.
    who
        The key of who puts each of them on; empty where that is not told.
    alone
        What would have been chosen for the piece by itself; None where that is what was chosen.
    """
    planned: list[PlannedCoat] = []
    below, under = prospect.below, begun(prospect.below)
    for k, choice in enumerate(chosen):
        planned.append(_planned(prospect, k, below, under, choice, who[k] if who else "", planned))
        below, under = prospect.starts[k], choice
    whole = len(planned) == len(prospect.lays)
    fewer = alone is not None and len(alone) > len(chosen)
    return prospect.blank.model_copy(
        update={
            "planned": tuple(planned),
            "built_up_at": planned[-1].last_stroke if whole else None,
            "in_service_at": planned[-1].stages.in_service if whole else None,
            "reason": None if whole or fewer else _why_no_hours(prospect, len(planned), below, under),
            "by_people": fewer,
        }
    )


def _planned(
    prospect: Prospect,
    k: int,
    below: CoatStarts,
    under: Chosen,
    choice: Chosen,
    who: str,
    before: Sequence[PlannedCoat],
) -> PlannedCoat:
    """Return the k-th coat to come, begun at a start that was chosen."""
    c, candidates, starts = prospect.conditions, prospect.candidates, prospect.starts[k]
    lay = prospect.lays[k]
    if lay.hot and under.row >= starts.row_most:
        lay = after_full_row(lay)
    index = int(starts.at[choice.index])
    start = as_datetime(c.times[index])
    film = before[-1].stages if before else (prospect.film.stages if prospect.film else None)
    overdue = film is not None and film.sand_first_after is not None and start > film.sand_first_after
    spoilt = not before and prospect.film is not None and prospect.film.coat.spoilt != ""
    is_quick = choice.pace > 0
    laid = c.times[[index + candidates.brush_steps]]
    is_soft = choice.is_soft
    is_odds = prospect.agreement.is_odds
    return PlannedCoat(
        number=lay.number,
        coating=lay.coating.key,
        prepare_at=start if is_soft else as_datetime(c.times[index - starts.prepare_steps]),
        start=start,
        last_stroke=as_datetime(laid[0]),
        probability=round(choice.share, 3) if is_odds else None,
        coarse=_is_coarse(prospect, lay, index, is_quick=is_quick),
        thinner_parts=lay.thinner_parts,
        wet_film_um=lay.wet_film_um,
        abrasive=NO_SANDING if is_soft else lay.abrasive,
        hot=is_soft,
        sand_first=(not is_soft and (lay.must_be_sanded or (overdue and lay.may_be_sanded))) or spoilt,
        before=() if is_soft else lay.before,
        stages=stages_of(candidates.clock(lay, quick=is_quick).of_films(laid))[0],
        who=who,
        moved=_moved(prospect, k, below, under, start, earlier_moved=any(coat.moved for coat in before)),
    )


def _is_coarse(prospect: Prospect, lay: Lay, index: int, *, is_quick: bool) -> bool:
    """Say whether a coat stands on weather given in steps that can hide a night."""
    if not prospect.conditions.coarse.any():
        return False
    judged = prospect.candidates.judged(lay, np.array([index]), quick=is_quick)
    return bool(on_coarse(prospect.conditions, judged.nominal)[0])


def _moved(
    prospect: Prospect, k: int, below: CoatStarts, under: Chosen, start: datetime, *, earlier_moved: bool
) -> Moved | None:
    """Say why a coat is not where it was planned before; None where it is."""
    lay, starts, c = prospect.lays[k], prospect.starts[k], prospect.conditions
    planned_at = prospect.promised.get(lay.number)
    if planned_at is None or abs(planned_at - start) <= SAME:
        return None
    index = int(np.searchsorted(c.times, stamp(planned_at)))
    if index < prospect.first:
        return Moved(planned_at=planned_at, why="missed")
    at = int(np.searchsorted(starts.at, index))
    if at < starts.at.size and starts.at[at] == index:
        if pair(below, under, starts, at).share >= prospect.odds - ROUNDING:
            # It could have stayed: for an earlier finish it did not, or others need the hour.
            return Moved(planned_at=planned_at, why="sooner" if start < planned_at or earlier_moved else "people")
        return Moved(planned_at=planned_at, why="coat_below")
    judged = prospect.candidates.judged(lay, np.array([min(index, c.times.size - 1)]))
    reason = nearest_limit(judged, 0) if judged.passes[0] else why_not(judged, 0)
    return Moved(planned_at=planned_at, why="weather", reason=reason)


def _why_no_hours(prospect: Prospect, k: int, below: CoatStarts, under: Chosen) -> Reason:
    """Return what most of the starts fail that the first coat without hours could have, were it not for the weather."""
    members = np.sort(below.ready[under.pace][:, under.index])
    ready = int(members[(members.size - 1) // 2]) + prospect.candidates.prepare_steps
    workable = prospect.candidates.workable()
    workable = workable[workable >= ready]
    if not workable.size:
        out_of_hours = not prospect.candidates.workable().size
        return Reason(limit=Limit.HOURS if out_of_hours else Limit.COAT_BELOW)
    judged = prospect.candidates.judged(prospect.lays[k], workable)
    failing = np.flatnonzero(~judged.robust)
    if not failing.size:
        return Reason(limit=Limit.COAT_BELOW)
    # That it is night says nothing, unless nothing else does.
    off = [n for n, ruling in enumerate(judged.nominal) if ruling.limit in (Limit.COVER, Limit.DAYLIGHT)]
    by_day = failing[~np.isin(judged.first_failing[failing], off)]
    failing = by_day if by_day.size else failing
    which = judged.first_failing[failing]
    most = failing[which == np.argmax(np.bincount(which))]
    first = int(most[0])
    return nearest_limit(judged, first) if judged.passes[first] else why_not(judged, first)
