"""Automatic tests of surface observations: a reading that fails one is flagged with the reason, kept, and not used.

The tests are those published for automatic stations (see `dryspell.weather.limits`): time, gross range, internal
consistency, rate of change, spike and flat line. They look back only, but for the spike test, which judges a reading
once there is one after it: an array is judged as its readings would have been one by one, as they came.

What they cannot find: a sensor in the sun or beside a warm wall, whose readings are smooth and wrong, one that drifts,
and a probe stuck at saturation. There is no test against climatology: that of the site is not known. Readings out of
order are judged where their stamps put them; a second one for the same second is not kept at all.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt

from dryspell.science import sun
from dryspell.science.air import dew_point
from dryspell.weather.flags import Flag
from dryspell.weather.limits import Limits, Points, limits_of
from dryspell.weather.table import VARIABLES, FloatArray, TimeArray

FlagArray = npt.NDArray[np.uint8]
BoolArray = npt.NDArray[np.bool_]

LOOK_BACK = timedelta(hours=25)
"""What a new reading is judged against: longer than anything may stand still."""
SKEW_S = 60
"""Clocks differ by so much."""
TOGETHER_S = 300
"""Readings of different variables this near to each other are of the same air (no source)."""
BELIEVED_AFTER_S = 900
"""A jump is believed once the new level has held for so long (no source): a front, or a sensor that was moved."""
SPIKE_WITHIN_S = 900
"""Neighbours farther off tell nothing of a spike (no source)."""
LEAST_STILL = 6
"""No fewer equal readings make a sensor stuck (no source)."""
OVER_AIR_K = 0.5
"""By more the dew point is not above the temperature by rounding; the formulas refuse it too."""
APART_K = 1.0
"""Humidity in whole percents is worth 0.4 K of dew point in dry air, and the three are not read in the same second."""
GUST_BELOW = 0.5
"""A gust is no less than the wind of its time, but for rounding. [m/s]"""

Company = Mapping[str, tuple[TimeArray, FloatArray]]


@dataclass(frozen=True)
class Place:
    """Where a sensor stands. [deg, north and east positive]"""

    latitude_deg: float
    longitude_deg: float


def flags(
    times: TimeArray,
    values: FloatArray,
    variable: str,
    *,
    now: datetime,
    keep: timedelta | None = None,
    company: Company | None = None,
    place: Place | None = None,
) -> FlagArray:
    """Return a `Flag` for each reading of one variable by one sensor, shape (n,).

    Parameters
    ----------
    times
        UTC, strictly ascending, shape (n,).
    values
        In the unit of the variable, shape (n,).
    variable
        A name of `dryspell.weather.table.VARIABLES`.
    now
        When the last of them came.
    keep
        How long readings are kept: older ones are of no use. Default: for ever.
    company
        By variable what else was read beside them, times ascending: temperature, humidity and dew point; wind to gusts.
    place
        Where they were read, for the test of radiation against the height of the sun.

    Raises
    ------
    ValueError
        For times that do not ascend.
    """
    at = _seconds(times)
    if np.any(np.diff(at) <= 0):
        raise ValueError("times need to ascend strictly")
    found = np.zeros(at.size, dtype=np.uint8)
    if not at.size:
        return found
    limits = limits_of(variable)
    values = np.where(np.isfinite(values), values, np.nan)

    def note(flag: Flag, wrong: BoolArray) -> None:
        found[wrong & (found == Flag.GOOD)] = flag

    note(Flag.FUTURE, at > now.timestamp() + SKEW_S)
    if keep is not None:
        note(Flag.PAST, at < (now - keep).timestamp())
    with np.errstate(invalid="ignore"):
        note(Flag.RANGE, ~((values >= limits.low) & (values <= limits.high)))
    if variable == "precipitation_amount":
        note(Flag.RANGE, values > _most_rain_mm(at))
    if place is not None and variable in _SHORTWAVE:
        note(Flag.SUN, values > _most_sun(times, place))
    note(Flag.INCONSISTENT, _inconsistent(variable, at, values, company or {}))
    possible = np.flatnonzero(found == Flag.GOOD)
    found[possible[_jumps(at[possible], values[possible], limits.change)]] = Flag.JUMP
    steady = np.flatnonzero(found == Flag.GOOD)
    found[steady[_spikes(at[steady], values[steady], limits.spike)]] = Flag.SPIKE
    # A sensor that stands still is stuck whatever else is said of its readings.
    note(Flag.STUCK, _stuck(at, values, limits))
    return found


def _jumps(at: FloatArray, values: FloatArray, change: Points) -> BoolArray:
    """Say which readings have left the level before them faster than the air does, and have not yet held the new one.

    The readings fall into stretches without a jump. One that has held for `BELIEVED_AFTER_S` is believed from then on;
    before that, a reading is measured against the last of the last stretch that was believed.
    """
    if not change or at.size < 2:
        return np.zeros(at.size, dtype=np.bool_)
    leaps = np.abs(np.diff(values)) > _most_change(np.diff(at), change)
    stretch = np.concatenate([[0], np.cumsum(leaps)])
    firsts = np.concatenate([[0], np.flatnonzero(leaps) + 1])
    lasts = np.concatenate([firsts[1:] - 1, [at.size - 1]])
    believed = at[lasts] - at[firsts] >= BELIEVED_AFTER_S
    # The last reading of the last believed stretch before each stretch, -1 for none.
    before = np.concatenate([[-1], np.maximum.accumulate(np.where(believed, lasts, -1))[:-1]])[stretch]
    young = at - at[firsts[stretch]] < BELIEVED_AFTER_S
    off = np.abs(values - values[before]) > _most_change(at - at[before], change)
    return np.asarray(young & (before >= 0) & off)


def _most_change(apart_s: FloatArray, change: Points) -> FloatArray:
    minutes, most = zip(*change, strict=True)
    return np.asarray(np.interp(apart_s / 60.0, minutes, most))


def _spikes(at: FloatArray, values: FloatArray, most: float) -> BoolArray:
    """Say which readings stand out to one side from both their neighbours."""
    found = np.zeros(at.size, dtype=np.bool_)
    if at.size < 3:
        return found
    rise, fall = values[1:-1] - values[:-2], values[1:-1] - values[2:]
    near = (np.diff(at)[:-1] <= SPIKE_WITHIN_S) & (np.diff(at)[1:] <= SPIKE_WITHIN_S)
    found[1:-1] = near & (rise * fall > 0) & (np.minimum(np.abs(rise), np.abs(fall)) > most)
    return found


def _stuck(at: FloatArray, values: FloatArray, limits: Limits) -> BoolArray:
    """Say which readings end a stretch of equal ones that is longer than the air stays the same."""
    changes = np.concatenate([[True], values[1:] != values[:-1]])
    first = np.maximum.accumulate(np.where(changes, np.arange(at.size), 0))
    steps = np.abs(np.diff(values))
    steps = steps[steps > 1e-6]
    fine = steps.size > 0 and np.median(steps) <= limits.coarse
    still_h = limits.still_h if fine else limits.coarse_still_h
    long = at - at[first] >= 3600.0 * still_h
    many = np.arange(at.size) - first + 1 >= LEAST_STILL
    with np.errstate(invalid="ignore"):
        return np.asarray(long & many & (values >= limits.still_from) & (values <= limits.still_to))


def _inconsistent(variable: str, at: FloatArray, values: FloatArray, company: Company) -> BoolArray:
    """Say which readings are at odds with what else was read then; which of two is wrong is not known."""

    def beside(name: str) -> FloatArray:
        other_times, other = company.get(name, (np.array([], dtype="datetime64[s]"), np.array([])))
        limits, others = limits_of(name), _seconds(other_times)
        possible = (other >= limits.low) & (other <= limits.high)
        return _nearest(at, others[possible], other[possible])

    none = np.zeros(at.size, dtype=np.bool_)
    with np.errstate(invalid="ignore"):
        if variable == "air_temperature":
            return np.asarray(beside("dew_point_temperature") > values + OVER_AIR_K)
        if variable == "dew_point_temperature":
            air, humidity = beside("air_temperature"), beside("relative_humidity")
            # The two that are measured are believed rather than the one that a station works out of them.
            apart = np.abs(dew_point(air, humidity) - values) > APART_K
            return np.asarray((values > air + OVER_AIR_K) | apart)
        if variable == "wind_speed_of_gust":
            return np.asarray(values < beside("wind_speed") - GUST_BELOW)
    return none


def _nearest(at: FloatArray, others: FloatArray, values: FloatArray) -> FloatArray:
    """Return the value nearest in time to each instant, NaN where none is near."""
    if not others.size:
        return np.full(at.size, np.nan)
    after = np.clip(np.searchsorted(others, at), 0, others.size - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.where(np.abs(others[before] - at) <= np.abs(others[after] - at), before, after)
    return np.where(np.abs(others[nearer] - at) <= TOGETHER_S, values[nearer], np.nan)


_SHORTWAVE = frozenset(name for name in VARIABLES if name.endswith("shortwave_flux_in_air"))


def _most_sun(times: TimeArray, place: Place) -> FloatArray:
    """Return the most sun there can be on the flat [W m-2]: BSRN's limit for the global flux [6]_ in `limits`.

    A mean may be over the hour before its stamp, so that the highest sun within it counts.
    """
    back = np.timedelta64(1800, "s") * np.arange(3)[:, np.newaxis]
    moments = (times - back).reshape(-1)
    zenith, _ = sun.position(moments, place.latitude_deg, place.longitude_deg)
    height = np.maximum(np.cos(np.radians(zenith)), 0.0)
    most = 1.5 * sun.extraterrestrial_normal(moments) * height**1.2 + 100.0
    return np.asarray(most.reshape(3, -1).max(axis=0))


def _most_rain_mm(at: FloatArray) -> FloatArray:
    """Return the most rain since the reading before [mm]: the envelope of the world's records, 421.6 mm h^-0.475.

    A. H. Jennings, World's greatest observed point rainfalls, Mon. Weather Rev. 78, 1950 (the fit from memory). The
    first reading may be of any time.
    """
    hours = np.diff(at, prepend=-np.inf) / 3600.0
    return np.asarray(421.6 * np.maximum(hours, 1.0 / 60.0) ** 0.475)


def _seconds(times: TimeArray) -> FloatArray:
    return times.astype("datetime64[s]").astype(np.int64).astype(np.float64)
