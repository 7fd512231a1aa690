"""Reads the layers of the US NWS grid forecast: values over intervals of any length, each layer with its own ends."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from dryspell.errors import WeatherError
from dryspell.weather.checks import as_datetime, as_instant
from dryspell.weather.sources.fields import instant, number, shown, table
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray

SERVICE = "The NWS"

IntArray = npt.NDArray[np.int64]

# The documented schema takes days, hours, minutes and seconds; months and years have no length.
_DURATION = re.compile(r"P(?=\d|T\d)(?:(\d{1,5})D)?(?:T(?=\d)(?:(\d{1,5})H)?(?:(\d{1,5})M)?(?:(\d{1,5})S)?)?")

# Scale and offset to the unit of our table, by the WMO's code of a unit.
_UNITS: Mapping[str, tuple[str, float, float]] = {
    "degC": ("degC", 1.0, 0.0),
    "degF": ("degC", 5 / 9, -160 / 9),
    "percent": ("percent", 1.0, 0.0),
    "km_h-1": ("m/s", 1 / 3.6, 0.0),
    "m_s-1": ("m/s", 1.0, 0.0),
    "mm": ("mm", 1.0, 0.0),
}


@dataclass(frozen=True)
class Layer:
    """Values over intervals that do not overlap.

    Attributes
    ----------
    starts, ends
        UTC seconds, ascending, shape (intervals,).
    values
        NaN where nothing is known, shape (intervals,).
    lengths_s
        How long each interval was as it was written: later ones may have taken its end. [s]
    """

    starts: IntArray
    ends: IntArray
    values: FloatArray
    lengths_s: IntArray

    def at(self, instants: IntArray) -> FloatArray:
        """Return the values of the intervals that hold the instants; an interval ends before its last instant."""
        return self._held(instants, self.values)

    def over(self, stamps: IntArray) -> FloatArray:
        """Return the values of the intervals that hold the steps which end at the stamps, the first of them unknown.

        No step may reach beyond an interval.
        """
        return np.concatenate([[np.nan], self.at(stamps[:-1])])

    def shared(self, stamps: IntArray) -> FloatArray:
        """Return sums over the steps that end at the stamps, of what is even over each interval; as `over`."""
        rates = self._held(stamps[:-1], self.values / self.lengths_s)
        return np.concatenate([[np.nan], rates * np.diff(stamps)])

    def _held(self, instants: IntArray, values: FloatArray) -> FloatArray:
        index = np.searchsorted(self.starts, instants, side="right") - 1
        held = (index >= 0) & (instants < self.ends[index])
        return np.where(held, values[index], np.nan)


def read_layer(
    name: str, written: object, ours: str, now: datetime, span: tuple[datetime, datetime]
) -> tuple[Layer | None, tuple[str, ...]]:
    """Read a layer in the unit of one of our variables.

    Parameters
    ----------
    name, written
        The layer in the answer.
    ours
        The CF name of what it tells.
    now
        What an interval means by NOW.
    span
        What lies outside is left out.

    Returns
    -------
    Layer or None
        None for a layer that is absent, empty, or in a unit that is not known: a unit is never guessed.
    notes
        What a reader should know.

    Raises
    ------
    WeatherError
        The layer is not of the documented shape.
    """
    place = f"{SERVICE}'s answer: {name}"
    layer = table(written, place)
    values = layer.get("values")
    if values is None:
        return None, ()
    if not isinstance(values, list):
        raise WeatherError(f"{place} has no list of values")
    entries = [table(entry, place) for entry in values]
    read = np.array([number(entry.get("value"), place) for entry in entries])
    bounds = [interval(entry.get("validTime"), place, now) for entry in entries]
    if not np.isfinite(read).any():
        return None, ()
    unit = layer.get("uom")
    code = unit.rpartition(":")[2] if isinstance(unit, str) else ""
    ours_unit, scale, offset = _UNITS.get(code, ("", 1.0, 0.0))
    if ours_unit != VARIABLES[ours].unit:
        return None, (f"{name} left out: its unit {shown(unit)} is not known for it",)
    starts, ends = np.array(bounds, dtype="datetime64[s]").T
    return _laid(_seconds(starts), _seconds(ends), read * scale + offset, span), ()


def interval(written: object, place: str, now: datetime) -> tuple[np.datetime64, np.datetime64]:
    """Return start and end of an ISO 8601 interval: start/end, start/duration or duration/end, with NOW for an instant.

    Raises
    ------
    WeatherError
        It is none; the message begins with `place`.
    """
    parts = written.split("/") if isinstance(written, str) else []
    if len(parts) == 2:
        first, second = (_part(part, now, place) for part in parts)
        try:
            if isinstance(first, timedelta):
                if isinstance(second, np.datetime64):
                    return as_instant(as_datetime(second) - first), second
            elif isinstance(second, timedelta):
                return first, as_instant(as_datetime(first) + second)
            elif first <= second:
                return first, second
        except OverflowError:
            pass
    raise WeatherError(f"{place} has a validTime that is none: {shown(written)}")


def _part(part: str, now: datetime, place: str) -> np.datetime64 | timedelta:
    if part == "NOW":
        return as_instant(now)
    if not part.startswith("P"):
        return instant(part, f"{place}, validTime")
    match = _DURATION.fullmatch(part)
    if match is None:
        raise WeatherError(f"{place} has a length of time that is none: {shown(part)}")
    days, hours, minutes, seconds = (int(count or 0) for count in match.groups())
    return timedelta(days=days, hours=hours, minutes=minutes, seconds=seconds)


def _laid(starts: IntArray, ends: IntArray, values: FloatArray, span: tuple[datetime, datetime]) -> Layer | None:
    """Return the intervals in order, within the span, each cut off where the next begins; of doubles the last."""
    order = np.argsort(starts, kind="stable")
    starts, ends, values = starts[order], ends[order], values[order]
    lengths = ends - starts
    ends[:-1] = np.minimum(ends[:-1], starts[1:])
    first, last = _seconds(np.array([as_instant(bound) for bound in span]))
    starts, ends = np.maximum(starts, first), np.minimum(ends, last)
    kept = starts < ends
    if not kept.any():
        return None
    return Layer(starts[kept], ends[kept], values[kept], lengths[kept])


def _seconds(times: TimeArray) -> IntArray:
    return times.astype("datetime64[s]").astype(np.int64)
