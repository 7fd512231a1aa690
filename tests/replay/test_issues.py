"""What was forecast at each instant of a past period, on a table whose every value tells its own hour."""

from datetime import timedelta

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.replay.issues import Fading, Filed, Perfect, issues_in
from dryspell.weather.checks import as_instant
from dryspell.weather.table import WeatherTable
from yard import START, weather

HOUR = timedelta(hours=1)
DAYS = 8


def counting():
    """A table of eight days about START whose temperature is the number of its hour, in tenths."""
    hours = 24 * DAYS
    first = as_instant(START - timedelta(days=3))
    return WeatherTable(
        times=first + np.arange(hours) * np.timedelta64(3600, "s"),
        columns={"air_temperature": np.arange(hours)[None] / 10.0},
        source="counted",
        issued_at=START + timedelta(days=9),
    )


def hour_of(table, at):
    """The number of the hour that a table gives for an instant."""
    return round(10.0 * float(table.columns["air_temperature"][0, np.searchsorted(table.times, as_instant(at))]), 6)


NOW = 3 * 24
"""The number of the hour START."""


def test_a_perfect_forecast_holds_two_days_past_and_what_came_as_far_as_it_reaches():
    issue = Perfect(counting(), timedelta(hours=48)).fetch(START)
    assert issue.issued_at == START
    assert hour_of(issue, START - timedelta(hours=48)) == NOW - 48
    assert hour_of(issue, START + timedelta(hours=48)) == NOW + 48
    assert issue.times.size == 97


def test_a_fading_forecast_mixes_in_the_last_known_day_by_how_far_ahead_it_looks():
    issue = Fading(counting(), timedelta(hours=72), timedelta(hours=96)).fetch(START)
    assert hour_of(issue, START) == NOW
    assert hour_of(issue, START - HOUR) == NOW - 1
    # 18 h ahead: three quarters of what came, and one of the same time on the day before the issue, 24 h back
    assert hour_of(issue, START + timedelta(hours=18)) == pytest.approx(0.75 * (NOW + 18) + 0.25 * (NOW - 6))
    # 36 h ahead: half of what came, and half of the last known day at that time of day, 48 h back
    assert hour_of(issue, START + timedelta(hours=36)) == pytest.approx(0.5 * (NOW + 36) + 0.5 * (NOW - 12))
    # from 72 h on it holds nothing of what came: the day before the issue over again
    assert hour_of(issue, START + timedelta(hours=72)) == NOW
    assert hour_of(issue, START + timedelta(hours=73)) == NOW - 23
    assert hour_of(issue, START + timedelta(hours=96)) == NOW


def test_a_fading_forecast_knows_nothing_of_what_comes_after_it_has_faded():
    table = counting()
    other = WeatherTable(table.times, {"air_temperature": table.columns["air_temperature"].copy()}, "other", START)
    other.columns["air_temperature"][0, NOW + 72 :] = -50.0
    made = [Fading(each, timedelta(hours=72), timedelta(hours=96)).fetch(START) for each in (table, other)]
    assert np.array_equal(*(each.columns["air_temperature"] for each in made))


def test_a_hole_stays_one_wherever_the_forecast_stands_on_it():
    table = counting()
    table.columns["air_temperature"][0, [NOW + 10, NOW - 4]] = np.nan
    issue = Fading(table, timedelta(hours=72), timedelta(hours=96)).fetch(START)
    unknown = issue.times[np.isnan(issue.columns["air_temperature"][0])]
    ahead = (unknown - as_instant(START)) / np.timedelta64(3600, "s")
    # the hour itself, and the hour of the day before at 20, 44, 68 and 92 h ahead
    assert ahead.tolist() == [-4, 10, 20, 44, 68, 92]


def test_full_cloud_mixed_with_full_cloud_is_full_cloud():
    made = Fading(weather(cloud_area_fraction=100.0), timedelta(hours=72), timedelta(hours=72)).fetch(START)
    assert np.nanmax(made.columns["cloud_area_fraction"]) == 100.0


def test_of_filed_forecasts_the_last_one_issued_by_then_is_known():
    filed = Filed([weather(START + 6 * HOUR), weather(START)], "filed")
    assert filed.fetch(START + 5 * HOUR).issued_at == START
    assert filed.fetch(START + 6 * HOUR).issued_at == START + 6 * HOUR
    with pytest.raises(WeatherError, match="holds no forecast issued by 2026-06-02T09:00Z"):
        filed.fetch(START - HOUR)


def test_a_folder_of_weather_tables_is_read_by_what_each_says_of_its_issue(tmp_path):
    for hour in (6, 18):
        rows = "\n".join(f"2026-06-02T{h:02}:00Z,{hour}" for h in range(24))
        head = f"# issued 2026-06-02T{hour:02}:00Z\ntime,air_temperature [degC]\n"
        (tmp_path / f"{hour}.csv").write_text(f"{head}{rows}\n")
    issue = issues_in(tmp_path).fetch(START + 4 * HOUR)
    assert issue.columns["air_temperature"][0, 0] == 6.0


def test_a_folder_without_weather_tables_is_refused(tmp_path):
    with pytest.raises(WeatherError, match="holds no weather table"):
        issues_in(tmp_path)


def test_an_instant_outside_the_weather_is_refused():
    with pytest.raises(WeatherError, match="counted holds no weather about"):
        Perfect(counting(), HOUR).fetch(START + timedelta(days=60))
