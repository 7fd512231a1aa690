"""The ensembles that Open-Meteo hands on: many forecasts of one model, each of them a member of the table."""

from dataclasses import replace
from datetime import datetime

import numpy as np

from dryspell.weather.sources.open_meteo_answer import read_answer
from dryspell.weather.sources.open_meteo_forecast import OpenMeteoForecast
from dryspell.weather.table import FloatArray, WeatherTable

# What its page on ensembles lists for most models; a name that is none fails the whole request, and what a
# model does not have comes as nulls. A chance of rain is no variable of a member, and is counted here.
VARIABLES = (
    "temperature_2m",
    "relative_humidity_2m",
    "dew_point_2m",
    "wind_speed_10m",
    "wind_gusts_10m",
    "precipitation",
    "shortwave_radiation",
    "cloud_cover",
    "surface_pressure",
)

WET_MM = 0.1
"""More than this in an hour is rain, where Open-Meteo states a chance of it (its documentation)."""

_RAIN, _CHANCE = "precipitation_amount", "probability_of_precipitation"


class OpenMeteoEnsemble(OpenMeteoForecast):
    """Asks the ensemble service of Open-Meteo for every member of one model, most of which end before 16 days.

    A request weighs as much as one for each ten variables of each member over a fortnight: nine of 40 members over 18
    days weigh 46 of the 10 000 that the free service grants a day.
    """

    name = "open-meteo-ensemble"
    host = "https://ensemble-api.open-meteo.com"
    path = "ensemble"
    variables = VARIABLES
    usual_model = "icon_seamless_eps"

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the members, the control first, with the chance of rain counted from them.

        Its `issued_at` is when it was fetched, for the service does not tell its model runs.

        Raises
        ------
        WeatherError
            The service has no forecast to give, and there is no earlier one on disk.
        """
        return self._ask(now, read_ensemble)


def read_ensemble(data: object, fetched_at: datetime) -> WeatherTable:
    """Read an answer of the ensemble service; parameters and errors are those of `read_answer`.

    How many members there are is read from the columns. The name of the model in them may be another than the one asked
    by, for the service translates old names; of several models the one that knows the most is taken.
    """
    table = replace(read_answer(data, fetched_at), source="Open-Meteo ensemble")
    if table.members == 1:
        return replace(table, notes=(*table.notes, "the ensemble has a single member: it shows no odds"))
    if not table.knows(_RAIN):
        return table
    return replace(table, columns={**table.columns, _CHANCE: chance_of_rain(table.columns[_RAIN])})


def chance_of_rain(rain_mm: FloatArray) -> FloatArray:
    """Return for each step the share of members with more than `WET_MM`, the same for every member.

    Parameters
    ----------
    rain_mm
        Rain over steps of an hour, shape (members, times).

    Returns
    -------
    ndarray
        Shape (members, times) [percent]; NaN where the rain of any member is not known.
    """
    known = np.isfinite(rain_mm).all(axis=0)
    chance_pct = np.where(known, 100.0 * np.mean(rain_mm > WET_MM, axis=0), np.nan)
    return np.repeat(chance_pct[np.newaxis], rain_mm.shape[0], axis=0)
