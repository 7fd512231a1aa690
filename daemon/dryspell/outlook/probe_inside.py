"""What a sensor in a tent or shed reads of how the air in it goes, in the words of a configuration."""

import math

import numpy as np

from dryspell.outlook.columns import STEP_S, dew_point_at
from dryspell.outlook.exposure import enclosure_of
from dryspell.outlook.probe import Key, on_grid
from dryspell.outlook.sunlight import GLOBAL, sun_on_walls, sunlight
from dryspell.science import air
from dryspell.science.enclosure_fit import CHANGES_PER_H, EnclosureFit, fit_enclosure
from dryspell.science.fit import Refused
from dryspell.trade.piece import Piece, Site
from dryspell.weather.resample import at_points, even_grid
from dryspell.weather.table import FloatArray, WeatherTable, in_bounds

READING, HUMIDITY, DEW = "air_temperature", "relative_humidity", "dew_point_temperature"


def fit_shelter(piece: Piece, site: Site, log: WeatherTable, outdoors: WeatherTable) -> EnclosureFit | Refused:
    """Find how far the air in a piece's tent or shed is behind the outdoor air, and how often it is changed.

    The sun on roof and walls is fitted with it, where the weather tells of sun or cloud: it would be taken for a lag.

    Parameters
    ----------
    log
        With the column air_temperature as read inside, and relative_humidity or dew_point_temperature where that is
        known too.
    outdoors
        The weather at the site meanwhile.

    Raises
    ------
    ValueError
        Where the piece stands in the outdoor air, or the weather lacks what it takes; the text names it.
    """
    enclosure = enclosure_of(piece)
    if enclosure is None:
        raise ValueError("knows of no air but that outdoors")
    damp = DEW if outdoors.knows(DEW) else HUMIDITY
    if lacking := outdoors.unknown_of([READING, damp]):
        raise ValueError(f"does not know {', '.join(lacking)}")
    grid = even_grid(outdoors.times, STEP_S)
    if grid.size < 2:
        raise ValueError("spans less than half an hour")
    outdoor_c = at_points(outdoors, READING, grid)
    tells_sun = outdoors.knows(GLOBAL) or outdoors.knows("cloud_area_fraction")
    inside_c, inside_dew_c = _read(log)
    return fit_enclosure(
        grid,
        outdoor_c[0],
        dew_point_at(outdoors, grid, outdoor_c)[0],
        on_grid(log.times, inside_c, grid),
        on_grid(log.times, inside_dew_c, grid),
        enclosure,
        sun_w_m2=sun_on_walls(piece, site, sunlight(site, outdoors, grid), shaded=False)[0] if tells_sun else None,
    )


def keys_of_shelter(found: EnclosureFit, piece: Piece) -> list[Key]:
    """Return what was found as keys of the piece; a figure that the readings do not tell is none."""
    enclosure, errors = found.enclosure, found.errors
    keys = [Key("lag", enclosure.lag_h, errors["lag_h"], "h")]
    changes, error = enclosure.air_changes_per_h, errors["air_changes_per_h"]
    if math.isfinite(error) or math.isinf(changes):
        keys.append(Key("air_changes", min(changes, CHANGES_PER_H[1]), error, "/ hour"))
    if piece.shut_by_day and "sun_k_m2_w" in errors:
        keys.append(Key("sun_warmth", 1000.0 * enclosure.sun_k_m2_w, 1000.0 * errors["sun_k_m2_w"], "K m^2/kW"))
    return keys


def _read(log: WeatherTable) -> tuple[FloatArray, FloatArray]:
    """Return temperature and dew point of the air inside [degC], NaN where they were not read or cannot be."""
    inside_c, humidity, dew_c = (in_bounds(name, log.column(name)[0]) for name in (READING, HUMIDITY, DEW))
    by_humidity = air.dew_point(inside_c, np.clip(humidity, 1.0, 100.0))
    return inside_c, np.minimum(np.where(np.isfinite(dew_c), dew_c, by_humidity), inside_c)
