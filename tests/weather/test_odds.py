from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.weather.error_model import ALONE_ERRORS, DEFAULT_ERRORS, SCORES
from dryspell.weather.noise import courses, seed_of
from dryspell.weather.odds import members_of
from dryspell.weather.table import VARIABLES, WeatherTable

ISSUED = datetime(2026, 6, 1, 6, 0, tzinfo=UTC)
GLOBAL = "surface_downwelling_shortwave_flux_in_air"
FORECAST = {
    "air_temperature": 18.0,
    "dew_point_temperature": 9.0,
    "relative_humidity": 55.8,  # of the two above, by psychrolib
    "wind_speed": 3.0,
    "wind_speed_of_gust": 7.0,
    "precipitation_amount": 0.0,
    "probability_of_precipitation": 30.0,
    "cloud_area_fraction": 50.0,
    GLOBAL: 400.0,
    "surface_air_pressure": 1010.0,
}


def forecast(hours=72, first=0, step_h=1.0, **columns):
    times = np.datetime64("2026-06-01T06:00", "s") + (first + np.arange(0, hours, step_h)) * np.timedelta64(3600, "s")
    filled = {name: np.broadcast_to(value, (1, times.size)).astype(float) for name, value in columns.items()}
    return WeatherTable(times, filled, "forecast", ISSUED, "credit", ("a note",))


def made(table, errors=DEFAULT_ERRORS, now=ISSUED, **settings):
    return members_of(table, now, errors, **{"seed": 1, **settings})


def test_the_first_member_is_the_forecast_itself():
    table = forecast(**FORECAST)
    ensemble = made(table)
    assert ensemble.members == 20
    for name, column in table.columns.items():
        assert np.array_equal(ensemble.columns[name][:1], column)
    assert (ensemble.source, ensemble.attribution, ensemble.issued_at) == ("forecast", "credit", ISSUED)
    assert ensemble.notes[0] == "a note"
    assert ensemble.notes[1].startswith("19 members made from the one forecast, for the odds, by the growth of ")


def test_an_ensemble_is_left_as_it_is():
    table = forecast(**FORECAST)
    several = replace(table, columns={name: np.repeat(column, 3, axis=0) for name, column in table.columns.items()})
    assert made(several) is several


def test_less_than_two_members_are_refused():
    with pytest.raises(ValueError, match="two members at the least, got 1"):
        made(forecast(**FORECAST), count=1)


def test_the_same_seed_gives_the_same_members_and_another_seed_others():
    table = forecast(**FORECAST)
    once, again, other = made(table), made(table), made(table, seed=2)
    for name in ("air_temperature", "wind_speed", "precipitation_amount"):
        assert np.array_equal(once.columns[name], again.columns[name])
        assert not np.array_equal(once.columns[name], other.columns[name])


@pytest.mark.parametrize("piece", [forecast(20, **FORECAST), forecast(10, first=25, **FORECAST)], ids=["short", "late"])
def test_an_hour_has_the_same_members_however_long_the_table_is_and_wherever_it_begins(piece):
    long, part = made(forecast(72, **FORECAST)), made(piece)
    shared = np.isin(long.times, part.times)
    for name, column in part.columns.items():
        assert column == pytest.approx(long.columns[name][:, shared], abs=1e-9)


def test_the_seed_is_of_the_site_on_any_machine():
    # The first eight bytes of the SHA-256 of "yard", by sha256sum.
    assert seed_of("yard") == 0x7AE4B7C7678E3E29
    assert seed_of("yard") != seed_of("shed")


@pytest.mark.parametrize("later_h", [1, 6, 30])
def test_another_issue_of_the_same_weather_is_wrong_in_the_same_way_by_less(later_h):
    """Errors shrink as their hour comes nearer, and nothing else: by the ratio of the breadths in `error_model`."""
    table = forecast(72, **FORECAST)
    once = made(table)
    later = replace(table, issued_at=ISSUED + timedelta(hours=later_h))
    again = members_of(later, later.issued_at, DEFAULT_ERRORS, seed=1)
    ahead = slice(later_h + 1, None)
    off, off_again = (each.columns["air_temperature"][1:, ahead] - 18.0 for each in (once, again))
    lead_h = np.arange(72.0)[ahead]
    shrinks = DEFAULT_ERRORS.at("air_temperature", lead_h - later_h, 1.0) / DEFAULT_ERRORS.at(
        "air_temperature", lead_h, 1.0
    )
    assert off_again == pytest.approx(off * shrinks, abs=1e-9)
    # Rain comes in the same members at the same hours: its chance is stated, and did not change.
    assert np.array_equal(*(each.columns["precipitation_amount"][:, ahead] for each in (once, again)))


def test_a_course_is_the_same_at_an_hour_wherever_it_is_begun():
    times = np.datetime64("2026-06-01T06:00", "s") + np.arange(24 * 40) * np.timedelta64(3600, "s")
    for memory_h in (3.0, 25.0, 72.0):
        whole = courses(5, 1, times, memory_h, 3)
        for first in (1, 200, 400, 800):
            assert courses(5, 1, times[first:], memory_h, 3) == pytest.approx(whole[:, first:], abs=1e-7)


def test_members_are_independent_of_each_other_and_so_are_streams_sites_and_far_hours():
    # The standard error of a correlation of n pairs is 1 / sqrt(n); of two courses that remember, each with the
    # correlation r from step to step, as if there were n (1 - r^2) / (1 + r^2) pairs (Bartlett 1935): here r = 1 / e.
    times = np.datetime64("2026-01-01T00:00", "s") + np.arange(24 * 350) * np.timedelta64(3600, "s")
    drawn = np.concatenate([courses(5, 1, times, 1.0, 4), courses(5, 2, times, 1.0, 4), courses(6, 1, times, 1.0, 4)])
    apart = np.corrcoef(drawn)[~np.eye(12, dtype=bool)]
    assert np.abs(apart).max() < 4.5 * np.sqrt(1.3 / times.size)
    # The same hour of the week after is drawn for itself.
    assert abs(np.corrcoef(drawn[0, :-168], drawn[0, 168:])[0, 1]) < 4.5 * np.sqrt(1.3 / times.size)


def test_up_to_now_the_members_do_not_differ():
    table = forecast(**FORECAST)
    now = ISSUED + timedelta(hours=10)
    ensemble = made(table, now=now)
    for column in ensemble.columns.values():
        assert np.all(column[:, :11] == column[0, :11])
    assert np.all(np.ptp(ensemble.columns["air_temperature"][:, 11:], axis=0) > 0.0)


@pytest.mark.parametrize(("name", "published"), [("air_temperature", 3.0), ("dew_point_temperature", 3.5)])
def test_members_differ_by_as_much_as_published_errors_grow(name, published):
    # Air temperature 3 K and dew point 3.5 K up to 36 h, at 0 h almost as much (nine tenths of it): abstract of
    # "Patterns of Land Surface Errors and Biases in the Global Forecast System" (2011). What a station differs from its
    # cell at 0 h is a bias and no odds. Air far from saturation, so that the dew point is free.
    table = forecast(40, air_temperature=25.0, dew_point_temperature=-5.0)
    members = made(table, count=8001).columns[name][1:]
    grown = published**2 * (1 - 0.9**2)
    at_0_h = DEFAULT_ERRORS.at(name, 0.0, 1.0) ** 2
    assert np.var(members[:, 36]) - at_0_h == pytest.approx(grown, rel=0.15)
    assert np.mean(members[:, 36]) == pytest.approx(table.columns[name][0, 36], abs=0.1)


def test_wind_differs_by_the_published_error_and_is_never_below_zero():
    members = made(forecast(40, wind_speed=5.0), count=8001).columns["wind_speed"][1:, 36]
    assert np.sqrt(np.mean((members - 5.0) ** 2)) == pytest.approx(2.5, rel=0.05)  # 2.5 m/s, ibid.
    calm = made(forecast(40, wind_speed=0.0), count=201).columns["wind_speed"]
    assert calm.min() == 0.0
    assert calm.max() > 0.5


def test_an_error_lasts_and_temperature_and_dew_point_are_wrong_together():
    ensemble = made(forecast(72, air_temperature=25.0, dew_point_temperature=-5.0), count=4001)
    air, dew = (ensemble.columns[name][1:] for name in ("air_temperature", "dew_point_temperature"))
    for apart in (1, 6, 24):
        expected = np.exp(-apart / DEFAULT_ERRORS.memory_h["air_temperature"])
        assert np.corrcoef(air[:, 40], air[:, 40 + apart])[0, 1] == pytest.approx(expected, abs=0.05)
    assert np.corrcoef(air[:, 40], dew[:, 40])[0, 1] == pytest.approx(DEFAULT_ERRORS.dew_follows, abs=0.05)


def test_humidity_is_that_of_the_members_own_air():
    # Against psychrolib (ASHRAE's formulas over water).
    psychrolib.SetUnitSystem(psychrolib.SI)
    ensemble = made(forecast(**FORECAST))
    air, dew, humidity = (
        ensemble.columns[name][1:, 40] for name in ("air_temperature", "dew_point_temperature", "relative_humidity")
    )
    for t, td, rh in zip(air, dew, humidity, strict=True):
        assert rh == pytest.approx(100.0 * psychrolib.GetRelHumFromTDewPoint(float(t), float(td)), abs=0.5)


def test_a_table_with_humidity_and_no_dew_point_keeps_to_humidity():
    ensemble = made(forecast(air_temperature=18.0, relative_humidity=95.0))
    assert set(ensemble.columns) == {"air_temperature", "relative_humidity"}
    humidity = ensemble.columns["relative_humidity"][1:]
    assert humidity.max() == pytest.approx(100.0)
    assert humidity.min() < 80.0


def test_sunshine_goes_with_the_cloud():
    ensemble = made(forecast(**FORECAST), count=201)
    cloud, sunshine = (
        ensemble.columns[name][1:, 40] / per for name, per in (("cloud_area_fraction", 100.0), (GLOBAL, 1))
    )
    # 1 - 0.75 c^3.4 (Kasten and Czeplak 1980): half covered lets 0.929 through, covered 0.25.
    assert sunshine == pytest.approx(400.0 / 0.929 * (1.0 - 0.75 * cloud**3.4), rel=1e-3)
    assert cloud.min() == 0.0
    assert cloud.max() == 1.0


def test_gusts_go_with_the_wind_and_are_never_less():
    ensemble = made(forecast(**FORECAST), count=201)
    wind, gust = (ensemble.columns[name][1:, 40] for name in ("wind_speed", "wind_speed_of_gust"))
    assert np.all(gust >= wind)
    assert np.corrcoef(wind, gust)[0, 1] > 0.95


def test_what_is_unknown_stays_unknown_in_every_member():
    table = forecast(**FORECAST)
    for column in table.columns.values():
        column.flags.writeable = True
        column[0, 30:35] = np.nan
    ensemble = made(table)
    for name, column in ensemble.columns.items():
        assert np.isnan(column[:, 30:35]).all(), name
        assert np.isfinite(np.delete(column, range(30, 35), axis=1)).all(), name


def test_pressure_and_chance_of_rain_are_as_forecast():
    ensemble = made(forecast(**FORECAST))
    for name in ("surface_air_pressure", "probability_of_precipitation"):
        assert np.all(ensemble.columns[name] == FORECAST[name])


@settings(max_examples=30, deadline=None)
@given(
    st.integers(0, 2**63 - 1),
    st.floats(-40, 45),
    st.floats(0, 60),
    st.floats(0, 40),
    st.floats(0, 100),
    st.sampled_from([DEFAULT_ERRORS, ALONE_ERRORS]),
)
def test_every_member_is_weather_that_can_be(seed, air, below, wind, cloud, errors):
    table = forecast(
        **{
            **FORECAST,
            "air_temperature": air,
            "dew_point_temperature": air - below,
            "wind_speed": wind,
            "wind_speed_of_gust": wind * 1.5,
            "cloud_area_fraction": cloud,
        }
    )
    ensemble = made(table, errors, seed=seed)
    for name, column in ensemble.columns.items():
        assert np.all((column >= VARIABLES[name].low) & (column <= VARIABLES[name].high)), name
    assert np.all(ensemble.columns["dew_point_temperature"] <= ensemble.columns["air_temperature"])
    assert np.all(ensemble.columns["relative_humidity"][1:] <= 100.0)


def test_between_two_hours_a_course_varies_as_much_as_at_them():
    minutes = np.array([600, 615, 630, 660]) * np.timedelta64(60, "s")
    drawn = courses(5, 1, np.datetime64("2026-06-01T00:00", "s") + minutes, 3.0, 20000)
    assert np.std(drawn, axis=0) == pytest.approx(np.ones(4), abs=0.02)
    assert np.mean(drawn, axis=0) == pytest.approx(np.zeros(4), abs=0.03)


def test_between_levels_and_beyond_them_errors_go_by_the_normal_curve():
    # At 36 h 1.64 K, so at 2 standard deviations 3.28 K; at 54 h a quarter of the way from 1.85 K to 2.25 K.
    at = DEFAULT_ERRORS.at("air_temperature", np.array([36.0, 54.0, 72.0, 1e4]), np.array([2.0, 2.5, -2.5, 0.0]))
    assert at == pytest.approx([3.28, 2.5 * (1.85 + 0.25 * 0.4), -2.5 * 2.25, 0.0])
    assert DEFAULT_ERRORS.at("air_temperature", 36.0, 1.0) == pytest.approx(1.64)


@pytest.mark.parametrize("errors", [DEFAULT_ERRORS, ALONE_ERRORS], ids=["default", "alone"])
def test_errors_grow_with_lead_time_and_ascend(errors):
    assert SCORES[4] == 0.0
    for name, table in errors.errors.items():
        assert table.shape == (errors.leads_h.size, SCORES.size), name
        assert np.all(np.diff(table, axis=1) > 0.0), name
        assert np.all(np.diff(table[:, -1]) >= 0.0), name


def test_where_the_source_says_its_spread_the_members_go_by_that():
    """A tenth of a normal distribution lies 1.28 standard deviations and more below its middle."""
    table = forecast(40, air_temperature=25.0, dew_point_temperature=-5.0, wind_speed=5.0)
    size = table.times.size
    said = np.stack([np.full(size, -1.0), np.full(size, 3.0)])
    unsaid = said.copy()
    unsaid[:, 20:] = np.nan
    ensemble = made(replace(table, spread={"air_temperature": said, "wind_speed": unsaid}), count=4001)
    air = ensemble.columns["air_temperature"][1:, 30]
    assert np.quantile(air, [0.1, 0.5, 0.9]) == pytest.approx([24.0, 25.0, 28.0], abs=0.15)
    wind = ensemble.columns["wind_speed"][1:]
    assert np.quantile(wind[:, 15], [0.1, 0.9]) == pytest.approx([4.0, 8.0], abs=0.2)
    assumed = made(table, count=4001).columns["wind_speed"][1:]
    assert np.array_equal(wind[:, 25], assumed[:, 25])
