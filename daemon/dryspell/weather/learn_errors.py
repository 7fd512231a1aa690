"""Learns the errors of a forecast from a site's own record of it."""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dryspell.weather.error_model import DEFAULT_ERRORS, LEVELS, ROOTED, SCORES, ErrorModel, error_between
from dryspell.weather.history import History
from dryspell.weather.recent import AIR, DEW, HOUR
from dryspell.weather.table import FloatArray
from dryspell.weather.trial import Score

RECENT_DAYS = 60
"""What is learned from: errors follow the seasons."""
_HALF_DAYS = 7.0
"""With so many days of record it counts for as much as the default, with a month of them for nearly all: the default
is but a stand-in. Chosen on January to March: of outlooks from readings alone, and of one airport's weather taken as
another's.
"""
_LEAST = 24
_ABOUT = 1.0 / 6.0  # of the lead time, to either side
_MEMORY_WITHIN_H = (1.0, 72.0)
_BROAD = (LEVELS == 0.9, LEVELS == 0.1)
_MIDDLE = int(np.argmin(np.abs(LEVELS - 0.5)))


def learn_errors(history: Mapping[str, History], *, default: ErrorModel = DEFAULT_ERRORS) -> ErrorModel:
    """Make the error model of a forecast from its record, shrunk to the default while the record is short.

    Each lead time of the default takes the errors of the leads about it. One without any follows its nearest neighbour
    with some: its default is stretched or shrunk in the same proportion.

    Parameters
    ----------
    history
        By variable, as far as there is a record; up to the moment the errors are for (`History.before`). Of it the
        last `RECENT_DAYS` count.
    default
        Also gives the lead times, and everything of which there is no record.
    """
    errors, memory = dict(default.errors), dict(default.memory_h)
    days = 0.0
    recent = {name: _recent(part) for name, part in history.items() if name in errors}
    for name, part in recent.items():
        errors[name], known_days = _learned(part, default, name)
        memory[name] = _memory(part, default, name, known_days)
        days = max(days, known_days)
    if days == 0.0:
        return default
    return replace(
        default,
        errors=errors,
        memory_h=memory,
        dew_follows=_dew_follows(recent, default),
        source=f"{days:.0f} days of this site's own record, and for want of more: {default.source}",
    )


def when_corrected(errors: ErrorModel, scores: Mapping[str, Score]) -> ErrorModel:
    """Return the errors that are left when a site's correction has been applied.

    They lie about nothing, and are narrower by as much as the correction took off on days it had not seen; where it
    took off only a standing departure, as wide as they were.

    Parameters
    ----------
    scores
        Of the variables that are corrected.
    """
    left = dict(errors.errors)
    for name, score in scores.items():
        if name not in left or not np.isfinite(score.corrected):
            continue
        about_nothing = left[name] - left[name][:, [_MIDDLE]]
        a_day = np.array([np.interp(24.0, errors.leads_h, level) for level in about_nothing.T])
        breadth = float(np.interp(1.0, SCORES, a_day) - np.interp(-1.0, SCORES, a_day)) / 2.0
        # Errors of wind are of its root, its score is not: it keeps its width.
        share = 1.0 if name in ROOTED else min(score.corrected / max(breadth, 1e-6), 1.0)
        left[name] = about_nothing * share
    return replace(errors, errors=left)


def _recent(history: History) -> History:
    known = np.isfinite(history.forecast) & np.isfinite(history.reading)
    if not known.any():
        return history.taken(known)
    return history.taken(known & (history.valid > history.valid[known][-1] - 24 * RECENT_DAYS * HOUR))


def _learned(history: History, default: ErrorModel, name: str) -> tuple[FloatArray, float]:
    """Return the errors at the default's leads and levels, and how many days the best known lead has."""
    table = default.errors[name].copy()
    error = error_between(name, history.forecast, history.reading)
    by_lead = np.argsort(history.lead_h, kind="stable")
    about = np.maximum(0.5, default.leads_h * _ABOUT)
    first = np.searchsorted(history.lead_h[by_lead], default.leads_h - about, side="left")
    behind = np.searchsorted(history.lead_h[by_lead], default.leads_h + about, side="right")
    days = np.zeros(default.leads_h.size)
    for lead in np.flatnonzero(behind - first >= _LEAST).tolist():
        rows = by_lead[first[lead] : behind[lead]]
        days[lead] = min(np.unique(history.valid[rows].astype("datetime64[D]")).size, RECENT_DAYS)
        # Errors of one day are not independent: a day counts as one draw. A value of n draws that the next one falls
        # below with probability p is the p (n + 1)th of them; NumPy's quantile counts them from a half.
        level = np.clip((LEVELS * (days[lead] + 1.0) - 0.5) / days[lead], 0.0, 1.0)
        weight = _weight(days[lead])
        found = np.quantile(error[rows], level, method="hazen")
        table[lead] = weight * found + (1.0 - weight) * default.errors[name][lead]
    known = np.flatnonzero(days)
    if known.size:
        neighbour = known[np.argmin(np.abs(np.arange(days.size)[:, None] - known), axis=1)]
        stretched = _breadth(table[neighbour]) / _breadth(default.errors[name][neighbour])
        table = np.where(days[:, None] > 0.0, table, default.errors[name] * stretched[:, None])
    return table, float(days.max())


def _weight(days: float) -> float:
    return days**2 / (days**2 + _HALF_DAYS**2)


def _breadth(errors: FloatArray) -> FloatArray:
    high, low = _BROAD
    return (errors[:, high] - errors[:, low])[:, 0]


def _memory(history: History, default: ErrorModel, name: str, days: float) -> float:
    """Return the memory of the errors: how alike those of neighbouring hours of the same forecast are."""
    score = _standardised(history, default, name)
    issued = history.valid - np.round(history.lead_h).astype(np.int64) * HOUR
    order = np.lexsort((history.valid, issued))
    apart = np.diff(history.valid[order]) / HOUR
    follows = (np.diff(issued[order]) == np.timedelta64(0, "s")) & (apart == 1.0)
    if np.count_nonzero(follows) < _LEAST:
        return default.memory_h[name]
    first, second = score[order][:-1][follows], score[order][1:][follows]
    alike = _alike(first, second)
    found = float(np.clip(-1.0 / np.log(np.clip(alike, 1e-6, 1.0 - 1e-6)), *_MEMORY_WITHIN_H))
    weight = _weight(days)
    return weight * found + (1.0 - weight) * default.memory_h[name]


def _dew_follows(recent: Mapping[str, History], default: ErrorModel) -> float:
    if AIR not in recent or DEW not in recent:
        return default.dew_follows
    _, in_air, in_dew = np.intersect1d(_key(recent[AIR]), _key(recent[DEW]), return_indices=True)
    if in_air.size < _LEAST:
        return default.dew_follows
    air = _standardised(recent[AIR], default, AIR)[in_air]
    dew = _standardised(recent[DEW], default, DEW)[in_dew]
    days = np.unique(recent[AIR].valid[in_air].astype("datetime64[D]")).size
    weight = _weight(days)
    return weight * _alike(air, dew) + (1.0 - weight) * default.dew_follows


def _standardised(history: History, default: ErrorModel, name: str) -> FloatArray:
    """Return the errors in breadths of the default at their lead, so that those of all leads weigh alike."""
    breadth = np.interp(history.lead_h, default.leads_h, _breadth(default.errors[name]))
    return np.asarray(error_between(name, history.forecast, history.reading) / breadth)


def _alike(one: FloatArray, other: FloatArray) -> float:
    """Return the correlation of two errors about nothing; 0 of a forecast that is never wrong."""
    size = float(np.sqrt(np.sum(one**2) * np.sum(other**2)))
    return float(np.sum(one * other)) / size if size > 0.0 else 0.0


def _key(history: History) -> npt.NDArray[np.int64]:
    """Return a number for each hour and lead."""
    hours = history.valid.astype("datetime64[h]").astype(np.int64)
    return np.asarray(hours * 1024 + np.round(history.lead_h).astype(np.int64))
