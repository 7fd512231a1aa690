"""What is said of the weather some hours ahead, and what came of it: for the review of how often it was right.

Only the weather is gone by. That a start lies outside somebody's hours, or that the coat underneath is not ready, needs
no forecast or is another one, and would make the odds look better than they are.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.judge import NOMINAL, ROUNDING, Asked, judge
from dryspell.outlook.latest import Latest
from dryspell.outlook.model import Foretold, Limit
from dryspell.outlook.said import Said
from dryspell.outlook.slowing import next_slowing
from dryspell.outlook.windows import Judged
from dryspell.science.middle import middle
from dryspell.trade.piece import Piece
from dryspell.trade.system import Lay, lay_at
from dryspell.weather.checks import as_datetime

LEADS_H = (0, 1, 3, 6, 12, 24, 48, 72, 120)
OFF_DUTY = (Limit.HOURS, Limit.COVER, Limit.DAYLIGHT)
_NO_WEATHER = (Limit.COAT_BELOW, *OFF_DUTY)

CAME, CAME_NOT, NOT_KNOWN = 1, 0, -1


def foretold_of(judged: Judged, coat: int) -> tuple[Foretold, ...]:
    """Return what is said of the starts at the lead times of `LEADS_H`, where they are in working hours and known."""
    c, clock = judged.conditions, judged.clock
    leads = [(lead_h, lead_h * 3600 // c.step_s) for lead_h in LEADS_H]
    asked = {ruling.limit: ruling.passes.all(axis=0) for ruling in judged.nominal}
    on_duty = np.logical_and.reduce([asked[limit] for limit in (*OFF_DUTY, Limit.KNOWN)])
    quick_until = clock.slowing.quick_until
    said = []
    for lead_h, k in leads:
        if k >= judged.starts.size or not on_duty[k]:
            continue
        begins = c.times[judged.starts[k]]
        stroke = begins + judged.asked.brush_steps * np.timedelta64(c.step_s, "s")
        passes = judged.weather_share[k] >= judged.agreement.least - ROUNDING
        said.append(
            Foretold(
                lead_h=lead_h,
                start=as_datetime(begins),
                coat=coat,
                word=("coat" if judged.weather_robust[k] else "tight") if passes else "wait",
                share=round(float(judged.weather_share[k]), 4),
                is_odds=judged.agreement.is_odds,
                quick=quick_until is not None and bool(middle(np.ravel(stroke <= quick_until))),
            )
        )
    return tuple(said)


def what_came(said: Said, c: Conditions, piece: Piece, lays: Sequence[Lay]) -> npt.NDArray[np.int64]:
    """Return of each whether its weather did come: CAME, CAME_NOT, or NOT_KNOWN where that is not known; shape (said,).

    Parameters
    ----------
    c
        The weather as it was.
    lays
        The build-up, coat by coat.
    """
    came = nothing_came(said)
    brush_steps = max(1, -(-round(piece.brushing_h * 3600) // c.step_s))
    asked = Asked(
        brush_steps=brush_steps,
        settle_steps=round(piece.dry_after_dew_h * 3600 / c.step_s),
        ready_at=np.full(c.air_c.shape[0], c.times[0]),
    )
    starts = said.starts
    at = np.minimum(np.searchsorted(c.times, starts), c.times.size - 1)
    kinds = 2 * said.rows["coat"] + said.rows["quick"]
    latest = Latest()
    for kind in np.unique(kinds):
        lay = lay_at(lays, int(kind) // 2)
        slow = next_slowing(lay, piece, np.full(c.air_c.shape[0], c.times[-1]))
        clock = latest.clock(c, lay.coating, slow if kind % 2 else replace(slow, quick=1.0))
        rows = np.flatnonzero((kinds == kind) & (c.times[at] == starts))
        if not rows.size:
            continue
        rulings = {each.limit: each.passes for each in judge(c, clock, lay.coating, at[rows], asked, NOMINAL)}
        known = rulings.pop(Limit.KNOWN)
        passes = np.logical_and.reduce([of for limit, of in rulings.items() if limit not in _NO_WEATHER])
        yes, no = ((of & known).all(axis=0) for of in (passes, ~passes))
        came[rows] = np.where(yes, CAME, np.where(no, CAME_NOT, NOT_KNOWN))
    return came


def nothing_came(said: Said) -> npt.NDArray[np.int64]:
    """Return what came where no weather is known."""
    return np.full(len(said), NOT_KNOWN)
