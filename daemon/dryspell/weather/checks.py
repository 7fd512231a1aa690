"""What is put right, and what is only said, about weather that somebody else wrote down."""

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.science.readings import fields_disagree
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray, in_bounds
from dryspell.weather.waits import instant_text, length_text

# What no judgement can do without; humidity may come as either of the two.
NEEDED: tuple[tuple[str, ...], ...] = (
    ("air_temperature",),
    ("relative_humidity", "dew_point_temperature"),
    ("precipitation_amount",),
    ("wind_speed",),
)

APART_K = 1.0
"""Services round humidity to whole percents, which alone is worth 0.4 K of dew point in dry air."""

Columns = dict[str, FloatArray]


def in_order(times: TimeArray, columns: Columns) -> tuple[TimeArray, Columns, tuple[str, ...]]:
    """Sort the rows by time, keep the last of those that share one, and say so.

    Parameters
    ----------
    times
        Instants (n,), in the order in which they were written.
    columns
        Values (members, n).
    """
    notes: tuple[str, ...] = ()
    order = np.argsort(times, kind="stable")
    ascending = times[order]
    if not np.array_equal(ascending, times):
        notes += ("the times were not in order and have been sorted",)
    last = np.ones(times.size, dtype=np.bool_)
    last[:-1] = ascending[1:] != ascending[:-1]
    doubles = int(np.count_nonzero(~last))
    if doubles:
        notes += (f"{_count(doubles, 'row')} shared a time with a later one, which is used",)
    rows = order[last]
    return times[rows], {name: column[:, rows] for name, column in columns.items()}, notes


def gaps(times: TimeArray) -> tuple[str, ...]:
    """Say where steps are missing in ascending times, measured by the step that occurs most often."""
    steps_s = np.diff(times).astype("timedelta64[s]").astype(np.int64)
    if steps_s.size == 0:
        return ()
    sizes, counts = np.unique(steps_s, return_counts=True)
    usual_s = int(sizes[np.argmax(counts)])
    longer = np.flatnonzero(steps_s > usual_s)
    if not longer.size:
        return ()
    first = longer[0]
    begin, end = (instant_text(as_datetime(times[row])) for row in (first, first + 1))
    missing = int(np.sum(steps_s[longer] // usual_s - 1))
    # A step of one and a half leaves no whole step out, yet is a gap.
    missed = f"{_count(max(missing, 1), 'step')} of {length_text(usual_s)} missing"
    return (f"{_count(int(longer.size), 'gap')} in the times: {missed}, the first between {begin} and {end}",)


def with_holes(times: TimeArray, columns: Columns, step: np.timedelta64) -> tuple[TimeArray, Columns]:
    """Put an empty row into each gap of a service whose values are over steps of one length.

    Without it the row behind a gap would seem to tell of the whole gap: a sum of rain over one hour, of three.
    """
    behind = np.flatnonzero(np.diff(times) > step) + 1
    holed = np.insert(times, behind, times[behind] - step)
    return holed, {name: np.insert(values, behind, np.nan, axis=1) for name, values in columns.items()}


def within_bounds(columns: Columns) -> tuple[Columns, tuple[str, ...]]:
    """Leave out what is physically impossible, and say how much of it there was."""
    notes: tuple[str, ...] = ()
    kept: Columns = {}
    for name, values in columns.items():
        kept[name] = in_bounds(name, values)
        lost = int(np.count_nonzero(np.isfinite(values) & np.isnan(kept[name])))
        if lost:
            limits = VARIABLES[name]
            span = f"{limits.low:g} to {limits.high:g} {limits.unit}"
            notes += (f"{_count(lost, 'value')} of {name} left out: not within {span}",)
    return kept, notes


def disagreement(columns: Mapping[str, FloatArray]) -> tuple[str, ...]:
    """Say where temperature, humidity and dew point are not of the same air; the dew point is then gone by."""
    names = ("air_temperature", "relative_humidity", "dew_point_temperature")
    if any(name not in columns for name in names):
        return ()
    apart = fields_disagree(*(columns[name] for name in names), tolerance_k=APART_K).any(axis=0)
    count = int(np.count_nonzero(apart))
    if not count:
        return ()
    return (f"humidity, temperature and dew point disagree at {_count(count, 'time')}: the dew point is gone by",)


def horizon(times: TimeArray, columns: Mapping[str, FloatArray]) -> tuple[datetime, str] | None:
    """Return until when everything needed is known, and what ends there; None where nothing needed is known at all.

    Of what is needed only that counts which the table has at all: what is missing altogether is for the judgement to
    say, and has no end.
    """
    ends = []
    for group in NEEDED:
        known = known_at(columns, group)
        if known.any():
            ends.append((as_datetime(times[np.flatnonzero(known)[-1]]), " or ".join(n for n in group if n in columns)))
    return min(ends, default=None)


def short_horizon(
    times: TimeArray, columns: Mapping[str, FloatArray], now: datetime, least_days: float
) -> tuple[str, ...]:
    """Say so when the weather is known for less than `least_days` ahead of `now`."""
    found = horizon(times, columns)
    if found is None or found[0] >= now + timedelta(days=least_days):
        return ()
    end, name = found
    ahead_s = (end - now).total_seconds()
    ahead = f"{length_text(ahead_s)} ahead" if ahead_s > 0 else "which is past already"
    return (f"the forecast reaches only until {instant_text(end)}, {ahead}: {name} ends there",)


def known_at(
    columns: Mapping[str, FloatArray], names: Iterable[str]
) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    """Return at which times any of the columns holds a value in any member; shape (times,), or () without columns."""
    found = [np.isfinite(columns[name]).any(axis=0) for name in names if name in columns]
    return np.any(found, axis=0) if found else np.zeros((), dtype=np.bool_)


def as_datetime(instant: np.datetime64) -> datetime:
    """Return one instant of a time axis as an aware datetime."""
    return datetime.fromtimestamp(int(instant.astype("datetime64[s]").astype(np.int64)), UTC)


def as_instant(moment: datetime) -> np.datetime64:
    """Return an aware datetime as an instant of a time axis, cut to the second."""
    return np.datetime64(moment.astimezone(UTC).replace(tzinfo=None), "s")


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}{'' if number == 1 else 's'}"
