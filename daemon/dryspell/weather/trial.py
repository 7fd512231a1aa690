"""Whether a correction has earned its place: what it would have done on days it had not seen."""

from dataclasses import dataclass

import numpy as np

from dryspell.weather.hourly import DAY
from dryspell.weather.table import FloatArray

FEWEST_H = 72
_LONG_DAYS, _ENOUGH = 30, 0.98
_SHORT_DAYS, _TOO_BAD = 5, 1.5


@dataclass(frozen=True)
class Score:
    """Root mean square of how far off the forecasts were, and would have been when corrected; over how many hours.

    In the variable's unit; the hours are of the last thirty days, each forecast corrected by what had been read before
    it was made. NaN where there are none.
    """

    raw: float
    corrected: float
    hours: int


def score(departure: FloatArray, said: FloatArray) -> tuple[Score, str]:
    """Return the score of corrections, and why not to use them: an empty text where they help.

    They are not used before there are `FEWEST_H` hours to judge by, nor where they took less than two parts in a
    hundred off in thirty days, nor where they made the square of the last five days half as large again: a sensor that
    was moved shows there first. (Figures found on January to March of the airport observations that the tests use.)

    Parameters
    ----------
    departure, said
        Reading less forecast, and the correction as it would have been; whole days to the last, shape (hours,). NaN
        where there is none.
    """
    found = _score(departure[-_LONG_DAYS * DAY :], said[-_LONG_DAYS * DAY :])
    if found.hours < FEWEST_H:
        return found, f"there are {found.hours} hours of readings to try a correction on, {FEWEST_H} are needed"
    if not found.corrected < _ENOUGH * found.raw:
        return found, f"in {_LONG_DAYS} days a correction would hardly have helped ({_compared(found)})"
    lately = _score(departure[-_SHORT_DAYS * DAY :], said[-_SHORT_DAYS * DAY :])
    if lately.hours and lately.corrected**2 > _TOO_BAD * lately.raw**2:
        return found, f"in the last {_SHORT_DAYS} days a correction would have made it worse ({_compared(lately)})"
    return found, ""


def _score(departure: FloatArray, said: FloatArray) -> Score:
    known = np.isfinite(departure + said)
    if not known.any():
        return Score(np.nan, np.nan, 0)
    raw, corrected = departure[known], (departure - said)[known]
    return Score(float(np.sqrt(np.mean(raw**2))), float(np.sqrt(np.mean(corrected**2))), int(known.sum()))


def _compared(found: Score) -> str:
    return f"off by {found.corrected:.2f} with it and {found.raw:.2f} without, over {found.hours} hours"
