"""What was forecast for an hour and what was then read there: what corrections and odds are learned from."""

from dataclasses import dataclass

import numpy as np

from dryspell.weather.table import FloatArray, TimeArray


@dataclass(frozen=True)
class History:
    """Forecasts of one variable at one site, each beside the reading of the hour it was for; all of shape (n,).

    Attributes
    ----------
    variable
        A name of `dryspell.weather.table.VARIABLES`.
    valid
        The hours forecast for, UTC, ascending; an hour may occur once for each lead time.
    lead_h
        How far ahead each was made. [h]
    forecast, reading
        What was forecast and what was read, in the variable's unit; NaN is not known.

    Raises
    ------
    ValueError
        For shapes that differ, or hours that do not ascend.
    """

    variable: str
    valid: TimeArray
    lead_h: FloatArray
    forecast: FloatArray
    reading: FloatArray

    def __post_init__(self) -> None:
        if {self.lead_h.shape, self.forecast.shape, self.reading.shape} != {self.valid.shape} or self.valid.ndim != 1:
            raise ValueError("valid, lead_h, forecast and reading need the one shape (n,)")
        if np.any(np.diff(self.valid) < np.timedelta64(0, "s")):
            raise ValueError("valid needs to ascend")

    def before(self, now: np.datetime64) -> "History":
        """Return the part whose readings are in by `now`."""
        return self.taken(self.valid <= now)

    def taken(self, which: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> "History":
        """Return some of it."""
        return History(self.variable, self.valid[which], self.lead_h[which], self.forecast[which], self.reading[which])
