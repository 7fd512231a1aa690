"""The one table of weather that every source fills and everything else reads."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
TimeArray = npt.NDArray[np.datetime64]

ALONE = "the site's own readings"
"""The source of an outlook that is made of what was read at a site, without a forecast."""


@dataclass(frozen=True)
class Variable:
    """What a column of the table holds.

    `cell` follows the CF convention's cell methods: "point" is the value at the stamp; "mean", "sum" and "maximum" are
    over the step that ends at the stamp.
    """

    unit: str
    low: float
    high: float
    cell: Literal["point", "mean", "sum", "maximum"] = "point"


# CF standard names where the CF table has one; the probability has none and is named in its manner.
# The bounds are what is physically possible at the ground with room to spare: outside them a value is an error, not
# weather (ranges of the services' own checks: weather services have been seen to print thousands of degrees).
VARIABLES: Mapping[str, Variable] = {
    "air_temperature": Variable("degC", -90, 60),
    "relative_humidity": Variable("percent", 0, 105),
    "dew_point_temperature": Variable("degC", -100, 60),
    "wind_speed": Variable("m/s", 0, 120),
    "wind_speed_of_gust": Variable("m/s", 0, 150, "maximum"),
    "precipitation_amount": Variable("mm", 0, 500, "sum"),
    "probability_of_precipitation": Variable("percent", 0, 100, "maximum"),
    "surface_downwelling_shortwave_flux_in_air": Variable("W/m^2", -20, 1600, "mean"),
    "surface_direct_downwelling_shortwave_flux_in_air": Variable("W/m^2", -20, 1600, "mean"),
    "surface_diffuse_downwelling_shortwave_flux_in_air": Variable("W/m^2", -20, 1600, "mean"),
    "surface_downwelling_longwave_flux_in_air": Variable("W/m^2", 50, 700, "mean"),
    "cloud_area_fraction": Variable("percent", 0, 100),
    "surface_air_pressure": Variable("hPa", 300, 1100),
    "surface_temperature": Variable("degC", -90, 110),
}


@dataclass(frozen=True)
class WeatherTable:
    """Weather over time: `columns[name]` has shape (members, times); NaN is a value that is not known.

    Attributes
    ----------
    times
        UTC instants, datetime64[s], strictly ascending, at least two; any step.
    columns
        By CF standard name, in the unit of `VARIABLES`. A column that is absent is not known anywhere.
    source, attribution
        Who gave it, and the credit to show beside it.
    issued_at
        When it was made, as far as known: the age of a forecast counts from here (aware, UTC).
    notes
        What a reader should know: rows dropped, hours missing, in plain words.
    filled
        By variable, which other source it is from where this one does not have it.
    coarse
        Where values lie between stamps of the source too far apart to show a night: interpolated or shared out, shape
        (times,); None is nowhere. A window that stands on them is tight at best.
    spread
        By variable, how far the 10 % and the 90 % of what may come lie from the value, where the source says so: shape
        (2, times), in the variable's unit, NaN where it does not.
    cycle_h
        How old the newest there is may be by the rhythm in which its source makes it, beside what a user allows. [h]

    Raises
    ------
    ValueError
        For an unknown column, a wrong shape, or times that do not ascend.
    """

    times: TimeArray
    columns: Mapping[str, FloatArray]
    source: str
    issued_at: datetime
    attribution: str = ""
    notes: tuple[str, ...] = field(default=())
    filled: Mapping[str, str] = field(default_factory=dict)
    coarse: npt.NDArray[np.bool_] | None = None
    spread: Mapping[str, FloatArray] = field(default_factory=dict)
    cycle_h: float = 0.0

    def __post_init__(self) -> None:
        if self.issued_at.tzinfo is None:
            raise ValueError("issued_at needs its offset from UTC")
        if self.times.ndim != 1 or self.times.size < 2 or np.any(np.diff(self.times) <= np.timedelta64(0, "s")):
            raise ValueError("times need to ascend strictly, two at the least")
        shapes = {column.shape for column in self.columns.values()}
        if any(len(shape) != 2 or shape[1] != self.times.size for shape in shapes) or len(shapes) > 1:
            raise ValueError(f"columns need the one shape (members, {self.times.size}), got {sorted(shapes)}")
        if self.coarse is not None and self.coarse.shape != self.times.shape:
            raise ValueError(f"coarse needs the shape ({self.times.size},), got {self.coarse.shape}")
        if any(bounds.shape != (2, self.times.size) for bounds in self.spread.values()):
            raise ValueError(f"spread needs the shape (2, {self.times.size})")
        unknown = set(self.columns) - set(VARIABLES)
        if unknown:
            raise ValueError(f"no such weather variable: {', '.join(sorted(unknown))}")

    @property
    def members(self) -> int:
        """How many members the table has: 1 for a single forecast."""
        return next(iter(self.columns.values())).shape[0] if self.columns else 1

    def knows(self, name: str) -> bool:
        """Say whether a column holds any value at all."""
        return name in self.columns and bool(np.isfinite(self.columns[name]).any())

    def column(self, name: str) -> FloatArray:
        """Return a column, all NaN where the table does not have it."""
        if name in self.columns:
            return self.columns[name]
        return np.full((self.members, self.times.size), np.nan)

    def unknown_of(self, names: Iterable[str]) -> list[str]:
        """Return those of the names of which the table holds no value."""
        return [name for name in names if not self.knows(name)]


def in_bounds(name: str, values: FloatArray) -> FloatArray:
    """Return the values with what is physically impossible replaced by NaN."""
    variable = VARIABLES[name]
    with np.errstate(invalid="ignore"):
        return np.where((values >= variable.low) & (values <= variable.high), values, np.nan)
