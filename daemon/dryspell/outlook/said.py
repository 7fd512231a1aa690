"""What was said of the weather ahead over a season, in columns.

Whoever looks back over a year looks at a hundred thousand verdicts of a piece; as models they would take a hundred
megabytes.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dryspell.weather.table import TimeArray

COLUMNS = np.dtype([
    ("lead_h", np.int64), ("start", np.int64), ("coat", np.int64), ("yes", np.bool_), ("share", np.float64),
    ("quick", np.bool_),
])  # fmt: skip
"""As of `dryspell.outlook.model.Foretold`; the start in UTC seconds, and whether a coat was advised."""


@dataclass(frozen=True)
class Said:
    """What was said; `rows` has `COLUMNS` and the shape (n,)."""

    rows: npt.NDArray[np.void]

    @property
    def starts(self) -> TimeArray:
        """The starts, UTC, shape (n,)."""
        return self.rows["start"].astype("datetime64[s]")

    def __len__(self) -> int:
        return self.rows.size
