"""What has been, put in front of what is forecast."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from dryspell.weather.checks import as_datetime
from dryspell.weather.table import FloatArray, WeatherTable
from dryspell.weather.waits import instant_text


def join(past: WeatherTable | None, forecast: WeatherTable) -> WeatherTable:
    """Put the rows of `past` that lie before the forecast's first time in front of the forecast.

    The columns are united: where one of the two does not have a column, its rows are NaN there. The one member of
    `past` holds for every member of the forecast. Who made it, the credit and the age are the forecast's; a note names
    where the earlier rows come from.

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

    def in_both(name: str) -> FloatArray:
        parts = (past.column(name)[:, earlier], forecast.column(name))
        return np.concatenate([np.broadcast_to(part, (members, part.shape[1])) for part in parts], axis=1)

    names = dict.fromkeys((*forecast.columns, *past.columns))
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
        columns={name: in_both(name) for name in names},
        notes=(*forecast.notes, note),
    )


def _coarse(table: WeatherTable) -> npt.NDArray[np.bool_]:
    return np.zeros(table.times.size, dtype=np.bool_) if table.coarse is None else table.coarse
