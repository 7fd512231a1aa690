"""The weather a coat met, put together from what was read and, where nothing was, from the forecast."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

import numpy as np
import numpy.typing as npt

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.met_model import FIGURES, AtPiece, Figure, Known
from dryspell.science.air import dew_point, relative_humidity
from dryspell.weather.table import FloatArray, TimeArray

BETWEEN_S = 1800
"""Between the first stroke and the last, the weather is looked at so often."""

_BEST_FIRST: tuple[Known, ...] = ("hand", "sensor", "estimate", "forecast")
_UNKNOWN = len(_BEST_FIRST)
_AIR, _DEW, _HUMIDITY = "air_temperature", "dew_point_temperature", "relative_humidity"
_SURFACE, _WIND = "surface_temperature", "wind_speed"

Ranks = npt.NDArray[np.int64]


@dataclass(frozen=True)
class Course:
    """Figures over some instants, each array of shape (instants,): values, NaN not known, and how each is known."""

    values: Mapping[str, FloatArray]
    ranks: Mapping[str, Ranks]

    def at(self, index: int) -> AtPiece:
        """Return the figures at one of the instants."""
        return self._picked(dict.fromkeys(FIGURES, index))

    def least(self) -> AtPiece:
        """Return the least of each figure."""
        return self._picked({name: int(np.nanargmin(v)) for name, v in self.values.items() if np.isfinite(v).any()})

    def most(self) -> AtPiece:
        """Return the greatest of each figure."""
        return self._picked({name: int(np.nanargmax(v)) for name, v in self.values.items() if np.isfinite(v).any()})

    def _picked(self, index: Mapping[str, int]) -> AtPiece:
        figures = {name: _figure(self.values[name][k], self.ranks[name][k]) for name, k in index.items()}
        return AtPiece.model_validate(figures)


@dataclass(frozen=True)
class ReadHere:
    """What was read at some instants, by CF name of the variable, shape (instants,); NaN where nothing was.

    Attributes
    ----------
    at_piece, in_open
        At or in the piece, and in the open air of its site.
    """

    at_piece: Mapping[str, FloatArray] = field(default_factory=dict)
    in_open: Mapping[str, FloatArray] = field(default_factory=dict)


def instants_between(began: np.datetime64, finished: np.datetime64) -> TimeArray:
    """Return the instants from the first stroke to the last at which the weather is looked at; both are among them."""
    between = np.arange(began, finished, np.timedelta64(BETWEEN_S, "s"))
    return np.append(between, finished).astype("datetime64[s]")


def course(instants: TimeArray, conditions: Conditions | None, read: ReadHere, *, in_open_air: bool) -> Course:
    """Return what is known of the weather at a piece at some instants.

    Parameters
    ----------
    instants
        Ascending, shape (instants,).
    conditions
        The weather as it reaches the piece, read or forecast; None where there is none.
    read
        What was read.
    in_open_air
        Whether the air at the piece is that outdoors, so that readings of the one are of the other.
    """
    size = instants.size
    here, near = (_Readings(columns, size) for columns in (read.at_piece, read.in_open))
    # What is worked out with readings nearby is better known than what a forecast alone says.
    basis = np.where(here.known(_AIR) | near.known(_AIR), _rank("estimate"), _rank("forecast"))
    if conditions is None:
        unknown = np.full(size, np.nan)
        worked_out = {name: (unknown, np.full(size, _UNKNOWN)) for name in FIGURES}
    else:
        series = {name: getattr(conditions, name) for name in FIGURES}
        worked_out = {name: _ranked(_at(instants, conditions, column), basis) for name, column in series.items()}

    def first_known(*ways: tuple[FloatArray, Ranks]) -> tuple[FloatArray, Ranks]:
        values, ranks = ways[0]
        for other, rank in ways[1:]:
            missing = np.isnan(values)
            values, ranks = np.where(missing, other, values), np.where(missing, rank, ranks)
        return values, ranks

    places = (here, near) if in_open_air else (here,)
    air_c, air_rank = first_known(*(place.of(_AIR) for place in places), worked_out["air_c"])
    dew_c, dew_rank = first_known(
        *(place.of(_DEW) for place in places), *(place.dew_of(air_c, air_rank) for place in places),
        worked_out["dew_point_c"],
    )  # fmt: skip
    dew_c = np.minimum(dew_c, air_c)
    humidity, humidity_rank = first_known(
        *(place.of(_HUMIDITY) for place in places), (relative_humidity(air_c, dew_c), np.maximum(air_rank, dew_rank))
    )
    surface_c, surface_rank = first_known(here.of(_SURFACE), worked_out["surface_c"])
    windy = np.where(near.known(_WIND), _rank("estimate"), _rank("forecast"))
    wind, wind_rank = first_known(here.of(_WIND), _ranked(worked_out["wind_m_s"][0], windy))
    return Course(
        values={
            "air_c": air_c,
            "surface_c": surface_c,
            "humidity_pct": np.minimum(humidity, 100.0),
            "dew_point_c": dew_c,
            "margin_k": surface_c - dew_c,
            "wind_m_s": wind,
        },
        ranks={
            "air_c": air_rank,
            "surface_c": surface_rank,
            "humidity_pct": humidity_rank,
            "dew_point_c": dew_rank,
            "margin_k": np.maximum(surface_rank, dew_rank),
            "wind_m_s": wind_rank,
        },
    )


def by_hand(
    other: AtPiece,
    *,
    air_c: float | None = None,
    surface_c: float | None = None,
    humidity_pct: float | None = None,
    wind_m_s: float | None = None,
) -> AtPiece:
    """Return what was measured by hand, and the dew point, humidity and margin that follow from it.

    Where only a part of it was measured, the rest is taken from what is known else, and what follows is no better known
    than that. Where the air was measured and its humidity was not, the vapour in it is taken to be as known else.

    Parameters
    ----------
    other
        What is known else.
    """
    given = {"air_c": air_c, "surface_c": surface_c, "humidity_pct": humidity_pct, "wind_m_s": wind_m_s}
    hand = AtPiece.model_validate({n: Figure(value=v, known="hand") for n, v in given.items() if v is not None})
    air, surface = hand.air_c or other.air_c, hand.surface_c or other.surface_c
    dew, humidity = other.dew_point_c, hand.humidity_pct
    if humidity and air:
        dew = _follows(float(dew_point(air.value, humidity.value)), air, humidity)
    elif hand.air_c and dew:
        dew = _follows(min(dew.value, hand.air_c.value), dew)
        humidity = _follows(float(relative_humidity(hand.air_c.value, dew.value)), dew)
    is_new = hand.air_c or hand.humidity_pct
    margin = _follows(surface.value - dew.value, surface, dew) if surface and dew else None
    return hand.model_copy(
        update={
            "humidity_pct": humidity if is_new else None,
            "dew_point_c": dew if is_new else None,
            "margin_k": margin if is_new or hand.surface_c else None,
        }
    )


class _Readings:
    """Readings of one place."""

    def __init__(self, columns: Mapping[str, FloatArray], size: int) -> None:
        self._columns = columns
        self._none = np.full(size, np.nan)

    def known(self, name: str) -> npt.NDArray[np.bool_]:
        return np.isfinite(self._columns.get(name, self._none))

    def of(self, name: str) -> tuple[FloatArray, Ranks]:
        return _ranked(self._columns.get(name, self._none), np.full(self._none.size, _rank("sensor")))

    def dew_of(self, air_c: FloatArray, air_rank: Ranks) -> tuple[FloatArray, Ranks]:
        """Return the dew point from the humidity that was read, and the temperature of the air as it is known."""
        humidity, rank = self.of(_HUMIDITY)
        return _ranked(dew_point(air_c, humidity), np.maximum(rank, air_rank))


def _rank(known: Known) -> int:
    return _BEST_FIRST.index(known)


def _ranked(values: FloatArray, ranks: Ranks) -> tuple[FloatArray, Ranks]:
    return values, np.where(np.isfinite(values), ranks, _UNKNOWN)


def _at(instants: TimeArray, c: Conditions, column: FloatArray) -> FloatArray:
    """Return a column at some instants, of several members the one in the middle; NaN off the axis."""
    seconds = (instants - c.times[0]) / np.timedelta64(1, "s")
    axis = (c.times - c.times[0]) / np.timedelta64(1, "s")
    middle = np.median(column, axis=0)
    return cast("FloatArray", np.interp(seconds, axis, middle, left=np.nan, right=np.nan))


def _figure(value: float, rank: int) -> Figure | None:
    return Figure(value=round(float(value), 2), known=_BEST_FIRST[rank]) if np.isfinite(value) else None


def _follows(value: float, *of: Figure) -> Figure:
    """Return a figure that follows from others, known no better than the worst known of them."""
    return Figure(value=round(value, 2), known=max((each.known for each in of), key=_BEST_FIRST.index))
