"""Brings the uneven steps of MET Norway's forecast, hours first and later six hours, onto hours.

An entry at T tells the instant T and what falls in the hours after T; the table tells of the step before its stamp.
Arrays of the entries have the shape (1, entries), those returned (1, hours).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.weather.resample import LONGEST_STEP
from dryspell.weather.table import FloatArray, TimeArray

HOUR_S = 3600
BLOCK_S = 6 * HOUR_S
"""The longest step the service documents. Between entries further apart nothing is filled in."""

# ISO 2533: the standard atmosphere's gravity, gas constant and molar mass of air, and lapse rate.
_LAPSE_K_PER_M = 0.0065
_EXPONENT = 9.80665 * 0.0289644 / (8.31432 * _LAPSE_K_PER_M)
_ZERO_C_K = 273.15

IntArray = npt.NDArray[np.int64]
BoolArray = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Hours:
    """The hours between the entries, and where in the entries' steps each lies.

    Attributes
    ----------
    times
        Every entry's stamp, and the full hours after an entry up to the next.
    left
        The entry whose step an hour ends in; for the first hour the first entry.
    share
        How far into that step the hour ends, 0 to 1.
    since_s, length_s
        The same since the entry, and the length of the hour (less where two entries are no whole hours apart). [s]
    step_s
        Length of that step. [s]
    """

    times: TimeArray
    left: IntArray
    share: FloatArray
    since_s: IntArray
    length_s: IntArray
    step_s: IntArray

    @classmethod
    def between(cls, entries: TimeArray) -> "Hours":
        """Lay the hours between ascending entries, two at the least."""
        stamps = entries.astype("datetime64[s]").astype(np.int64)
        steps = np.diff(stamps)
        counts = np.where(steps <= BLOCK_S, -(-steps // HOUR_S), 1)
        left = np.repeat(np.arange(steps.size), counts)
        nth = np.arange(left.size) - np.repeat(np.cumsum(counts) - counts, counts) + 1
        since = np.where(nth == counts[left], steps[left], nth * HOUR_S)
        length = since - (nth - 1) * HOUR_S
        none = np.zeros(1, dtype=np.int64)
        times = np.concatenate([stamps[:1], stamps[left] + since]).astype("datetime64[s]")
        return cls(
            times,
            np.concatenate([none, left]),
            np.concatenate([[0.0], since / steps[left]]),
            np.concatenate([none, since]),
            np.concatenate([none, length]),
            np.concatenate([steps[:1], steps[left]]),
        )

    @property
    def inside(self) -> BoolArray:
        """Which hours lie between two entries."""
        return (self.share > 0.0) & (self.share < 1.0)

    @property
    def coarse(self) -> BoolArray:
        """Which hours are made out of a step too long to show a night."""
        longest_s = LONGEST_STEP / np.timedelta64(1, "s")
        return (self.since_s > 0) & (self.step_s > longest_s) & (self.step_s <= BLOCK_S)

    def linear(self, values: FloatArray) -> FloatArray:
        """Return a value at instants, on a straight line between the entries."""
        before, after = self._ends(values)
        between = before * (1.0 - self.share) + after * self.share
        return np.where(self.share == 0.0, before, np.where(self.share == 1.0, after, between))

    def greater(self, values: FloatArray) -> FloatArray:
        """Return a greatest value: between two entries the greater of theirs, for it is no mean."""
        before, after = self._ends(values)
        between = np.maximum(before, after)
        return np.where(self.share == 0.0, before, np.where(self.share == 1.0, after, between))

    def bend(self, values: FloatArray, least: FloatArray, most: FloatArray) -> FloatArray:
        """Return by how much a straight line has to be bent to reach the extremes of the six hours after an entry.

        The lowest value is taken to lie in the middle where it is below both ends: so the cold of a night between two
        entries is not missed, though its hour is not known. Else the same goes for the highest.
        """
        before, after = self._ends(values)
        low, high = least[:, self.left], most[:, self.left]
        middle = (before + after) / 2.0
        deep, tall = low < np.minimum(before, after), high > np.maximum(before, after)
        depth = np.where(deep, low - middle, np.where(tall, high - middle, 0.0))
        return np.where(self.step_s == BLOCK_S, depth * (1.0 - np.abs(2.0 * self.share - 1.0)), 0.0)

    def amount(self, one: FloatArray, six: FloatArray) -> FloatArray:
        """Return a sum over each hour, out of those over the one and the six hours after each entry.

        The one hour rules where there is one. Six hours are shared out where the step to the next entry is longer than
        an hour, less the first hour where that is known; elsewhere the hours after an entry have their own.
        """
        first, later = one[:, self.left], six[:, self.left]
        even = later / BLOCK_S
        rest = np.where(self.step_s == BLOCK_S, np.maximum(later - first, 0.0) / (BLOCK_S - HOUR_S), np.nan)
        shared = np.where(self.step_s > HOUR_S, even, np.nan)
        rate = np.where(
            self.since_s <= HOUR_S,
            np.where(np.isfinite(first), first / HOUR_S, shared),
            np.where(np.isfinite(first), rest, shared),
        )
        return np.where((self.since_s > 0) & (self.since_s <= BLOCK_S), rate * self.length_s, np.nan)

    def chance(self, one: FloatArray, six: FloatArray, twelve: FloatArray) -> FloatArray:
        """Return a probability: that of the shortest span after the entry which holds the hour.

        A longer span's is an upper bound of each of its hours'.
        """
        found = np.full((one.shape[0], self.times.size), np.nan)
        for hours, values in ((12, twelve), (6, six), (1, one)):
            given = values[:, self.left]
            held = (self.since_s > 0) & (self.since_s <= hours * HOUR_S) & np.isfinite(given)
            found = np.where(held, given, found)
        return found

    def _ends(self, values: FloatArray) -> tuple[FloatArray, FloatArray]:
        return values[:, self.left], values[:, self.left + 1]


def pressure_at(height_m: float, sea_level_hpa: FloatArray, air_c: FloatArray) -> FloatArray:
    """Return the air pressure at a height, out of the pressure at sea level [hPa].

    The barometric formula of an atmosphere whose temperature falls by 6.5 K a kilometre, with the constants of ISO 2533
    and the temperature at the place itself:

        p = p0 (T / (T + L h)) ^ (g M / (R L))

    Parameters
    ----------
    height_m
        Height of the place above the sea. [m]
    sea_level_hpa, air_c
        Pressure at sea level and air temperature at the place, of one shape. [hPa], [degC]
    """
    kelvin = air_c + _ZERO_C_K
    return sea_level_hpa * (kelvin / (kelvin + _LAPSE_K_PER_M * height_m)) ** _EXPONENT
