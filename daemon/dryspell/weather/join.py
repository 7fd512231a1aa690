"""What has been, put in front of what is forecast."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dryspell.weather.checks import as_datetime
from dryspell.weather.table import FloatArray, WeatherTable
from dryspell.weather.waits import instant_text


def join(past: WeatherTable | None, forecast: WeatherTable) -> WeatherTable:
    """Put the rows of `past` that lie before the forecast's first time in front of the forecast.

    The columns are united: where one of the two does not have a column, its rows are NaN there. The one member of
    `past` holds for every member of the forecast, and is kept once for all of them: a column is put together each time
    it is asked for. Who made it, the credit and the age are the forecast's; a note names where the earlier rows come
    from.

    Raises
    ------
    ValueError
        The past has several members, and not as many as the forecast.
    """
    if past is None:
        return forecast
    earlier = past.times < forecast.times[0]
    if not earlier.any():
        return forecast
    if past.columns and forecast.columns and past.members not in {1, forecast.members}:
        raise ValueError(f"a past of {past.members} members cannot go before a forecast of {forecast.members}")
    members = max(past.members, forecast.members)
    names = tuple(dict.fromkeys((*forecast.columns, *past.columns)))
    before = {name: column[:, earlier] for name, column in past.columns.items()}
    credit = f" ({past.attribution})" if past.attribution not in {"", forecast.attribution} else ""
    note = f"before {instant_text(as_datetime(forecast.times[0]))} the rows are from {past.source}{credit}"
    ahead = forecast.spread.items()
    unsaid = np.full((2, int(earlier.sum())), np.nan)
    return replace(
        forecast,
        spread={name: np.concatenate([unsaid, bounds], axis=1) for name, bounds in ahead},
        coarse=np.concatenate([_coarse(past)[earlier], _coarse(forecast)])
        if (past.coarse is not None or forecast.coarse is not None)
        else None,
        times=np.concatenate([past.times[earlier], forecast.times]),
        columns=Joined(names, (before, forecast.columns), (int(earlier.sum()), forecast.times.size), members),
        notes=(*forecast.notes, note),
    )


@dataclass(frozen=True, eq=False)
class Joined(Mapping[str, FloatArray]):
    """Columns that stand behind each other, of shape (members, times).

    Of weeks that twenty members have in common a table would hold nineteen copies from one tick to the next.

    Attributes
    ----------
    names
        In order.
    parts
        The columns of each part, of one member or of all.
    sizes
        How many times each part has.
    """

    names: Sequence[str]
    parts: Sequence[Mapping[str, FloatArray]]
    sizes: Sequence[int]
    members: int

    def __getitem__(self, name: str) -> FloatArray:
        """Return a column, NaN in the parts that do not have it."""
        if name not in self.names:
            raise KeyError(name)
        column = np.full((self.members, sum(self.sizes)), np.nan)
        end = 0
        for part, size in zip(self.parts, self.sizes, strict=True):
            begin, end = end, end + size
            if name in part:
                column[:, begin:end] = part[name]
        return column

    def __iter__(self) -> Iterator[str]:
        """Iterate over the names."""
        return iter(self.names)

    def __len__(self) -> int:
        """Return how many columns there are."""
        return len(self.names)


def _coarse(table: WeatherTable) -> npt.NDArray[np.bool_]:
    return np.zeros(table.times.size, dtype=np.bool_) if table.coarse is None else table.coarse
