"""Cloud and sunshine ahead, from what of the clear sky's sunshine was read of late."""

import numpy as np

from dryspell.science import sun
from dryspell.weather.recent import HOUR, USUAL_DAYS
from dryspell.weather.resample import over_cells
from dryspell.weather.table import FloatArray, TimeArray, WeatherTable

CLOUD, GLOBAL = "cloud_area_fraction", "surface_downwelling_shortwave_flux_in_air"

# With the sun lower than ten degrees over the horizon, sunshine tells more of hills and haze than of cloud.
_LOWEST_SUN_ZENITH_DEG = 80.0
_LATE_H = 6  # what was read in the last hours of sun counts for now
_FADES_H = 12.0  # no source: cloud half a day ahead is hardly like now's


def clearness_ahead(
    readings: WeatherTable, times: TimeArray, place: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Return cloud [percent] and sunshine on level ground [W m-2] at each of the hours, shape (times,).

    The cloud that lets through what was read in the last hours of sun (by `sun.cloud_transmission`, turned round) goes
    over into that of the last weeks. NaN where no sun was read high enough to tell.

    Parameters
    ----------
    readings
        With sunshine, its means over any step up to three hours.
    times
        Hours ahead, the first one now.
    place
        Latitude and longitude. [deg]
    """
    past = times[0] + np.arange(-24 * USUAL_DAYS, 1) * HOUR
    past = past[past > readings.times[0]]
    read = over_cells(readings, GLOBAL, past, mean=True)[0]
    clear, zenith = _clear_sky(past, place)
    with np.errstate(invalid="ignore", divide="ignore"):
        through = np.clip(np.where(zenith < _LOWEST_SUN_ZENITH_DEG, read / clear, np.nan), 0.25, 1.0)
    cloud = ((1.0 - through) / 0.75) ** (1.0 / 3.4)
    told = cloud[np.isfinite(cloud)]
    if told.size == 0:
        unknown = np.full(times.size, np.nan)
        return unknown, unknown
    usual, late = np.mean(told), np.mean(told[-_LATE_H:])
    hours = (times - past[np.isfinite(cloud)][-1]) / HOUR
    ahead = usual + (late - usual) * np.exp(-hours / _FADES_H)
    return 100.0 * ahead, _clear_sky(times, place)[0] * sun.cloud_transmission(ahead)


def _clear_sky(times: TimeArray, place: tuple[float, float]) -> tuple[FloatArray, FloatArray]:
    """Return the clear sky's sunshine over the hours that end at the times, and the zenith at their middle."""
    zenith, _ = sun.position(times - HOUR // 2, *place)
    return sun.clear_sky_global(zenith), zenith
