from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import psychrolib
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from dryspell.science.air import relative_humidity
from dryspell.weather.correction import fit
from dryspell.weather.history import History
from dryspell.weather.table import WeatherTable

AIR, DEW, HUMIDITY = "air_temperature", "dew_point_temperature", "relative_humidity"
WIND, GUST, RAIN = "wind_speed", "wind_speed_of_gust", "precipitation_amount"
NOW = np.datetime64("2026-06-01T00:00:00")
HOUR = np.timedelta64(3600, "s")
psychrolib.SetUnitSystem(psychrolib.SI)


def hours_of_day(times):
    return times.astype("datetime64[h]").astype(int) % 24


def past(days):
    return NOW - HOUR * np.arange(24 * days)[::-1]


def weather(times, seed=0):
    """A course over the day on a level that wanders from day to day."""
    days = times.astype("datetime64[D]").astype(int) % 997
    level = 3.0 * np.random.default_rng(seed).standard_normal(1000)[days]
    return 15.0 + level + 6.0 * np.cos(2.0 * np.pi * (hours_of_day(times) - 19.0) / 24.0)


def history(name, times, departure, forecast=None, lead_h=24.0):
    forecast = weather(times) if forecast is None else forecast
    return {name: History(name, times, np.full(times.size, lead_h), forecast, forecast + departure)}


def table(hours=48, issued=NOW, **columns):
    """A forecast for the hours after it is issued."""
    times = issued + HOUR * np.arange(1, hours + 1)
    columns = columns or {AIR: weather(times)}
    return WeatherTable(
        times,
        {name: np.broadcast_to(np.asarray(values, dtype=float), (1, hours)).copy() for name, values in columns.items()},
        source="made up",
        issued_at=issued.item().replace(tzinfo=UTC),
    )


def moved(site, forecast, latest=None, name=AIR):
    return (site.applied(forecast, NOW, latest).column(name) - forecast.column(name))[0]


def hollow(times):
    """Four degrees colder at the end of the night, as warm by day."""
    return -4.0 * np.clip(np.cos(2.0 * np.pi * (hours_of_day(times) - 9.0) / 24.0), 0.0, None)


def test_a_departure_that_goes_with_the_hour_of_day_is_found():
    forecast = table(24)
    found = moved(fit(history(AIR, past(60), hollow(past(60))), NOW), forecast)
    # Two waves come within 0.2 of half a wave at the most.
    assert found == pytest.approx(hollow(forecast.times), abs=0.45)


def test_a_departure_that_goes_with_the_weather_foreseen_is_found():
    wind = np.abs(np.random.default_rng(1).normal(4.0, 2.0, past(90).size))
    calm = np.where(wind < 2.0, -3.0, 0.0)
    learned = history(AIR, past(90), calm) | history(WIND, past(90), np.nan, forecast=wind)
    times = table().times
    site = fit(learned, NOW)
    still, windy = (moved(site, table(**{AIR: weather(times), WIND: speed})).mean() for speed in (0.5, 6.0))
    assert still < -1.5
    assert abs(windy) < 0.7


def test_few_readings_move_a_forecast_less_than_many():
    means = [moved(fit(history(AIR, past(days), 2.0), NOW), table(24)).mean() for days in (5, 10, 30, 90)]
    assert means == sorted(means)
    assert means[0] < 1.9
    assert means[-1] == pytest.approx(2.0, abs=0.1)


def test_the_last_weeks_weigh_more_than_those_before():
    times = past(120)
    site = fit(history(AIR, times, np.where(times < NOW - HOUR * 24 * 40, 0.0, 2.0)), NOW)
    assert moved(site, table(24)).mean() > 1.2


def test_nothing_is_learned_before_there_are_three_days_to_try_it_on():
    site = fit(history(AIR, past(3), 2.0), NOW)
    forecast = table()
    corrected = site.applied(forecast, NOW)
    assert corrected.column(AIR) == pytest.approx(forecast.column(AIR))
    assert corrected.notes == (
        "air temperature is not corrected: there are 25 hours of readings to try a correction on, 72 are needed",
    )


def test_a_place_of_which_nothing_was_read_is_left_as_it_is_forecast():
    forecast = table(**{AIR: 20.0, DEW: 12.0, RAIN: 1.0})
    unread = {AIR: History(AIR, past(9), np.full(216, 6.0), weather(past(9)), np.full(216, np.nan))}
    for site in (fit({}, NOW), fit(unread, NOW)):
        assert site.scores == {}
        assert site.applied(forecast, NOW).notes == ()
        assert np.all(moved(site, forecast) == 0.0)


def test_what_helps_nowhere_is_switched_off_and_says_so():
    random = np.random.default_rng(3).standard_normal(past(60).size)
    site = fit(history(AIR, past(60), random), NOW)
    assert "would hardly have helped" in site.off[AIR]
    assert "over 720 hours" in site.off[AIR]
    assert site.scores[AIR].raw == pytest.approx(1.0, abs=0.1)
    assert moved(site, table()) == pytest.approx(0.0)
    assert site.applied(table(), NOW).notes == (f"air temperature is not corrected: {site.off[AIR]}",)


def test_a_sensor_that_was_moved_does_harm_for_three_days_and_is_learned_anew():
    # From 2 K too warm to 2 K too cold: what was learned before doubles the error.
    switch = NOW - HOUR * 24 * 60
    times = past(150)
    learned = history(AIR, times, np.where(times <= switch, 2.0, -2.0))
    said = [moved(fit(learned, now), table(24, now)).mean() for now in switch + HOUR * 24 * np.arange(61)]
    assert said[0] == pytest.approx(2.0, abs=0.1)
    assert np.all(np.array(said[3:]) < 0.05)
    assert said[-1] < -0.7


def test_what_is_read_after_the_present_instant_changes_nothing():
    times = past(60)
    now = NOW - HOUR * 24 * 20
    learned = history(AIR, times, hollow(times))
    changed = history(AIR, times, np.where(times > now, 9.0, hollow(times)))
    forecast = table(48, now)
    late = {AIR: (now + HOUR, 40.0)}
    one, other = fit(learned, now).applied(forecast, now), fit(changed, now).applied(forecast, now, late)
    assert np.array_equal(one.column(AIR), other.column(AIR))


def test_it_fades_with_lead_time_as_long_as_nothing_is_known_of_it():
    found = moved(fit(history(AIR, past(60), 2.0), NOW), table(240))
    assert np.all(np.diff(found[24:]) < 0.1)
    assert found[-1] == pytest.approx(0.29 * found[12], abs=0.2)


@pytest.mark.parametrize(("later", "kept"), [(2.0, 0.95), (0.0, 0.1)])
def test_the_sites_own_record_says_how_much_of_it_holds_for_longer_lead_times(later, kept):
    times = past(60)
    leads = np.tile([24.0, 72.0], times.size)
    departure = np.where(leads < 48.0, 2.0, later) + np.random.default_rng(0).normal(0.0, 0.3, leads.size)
    forecast = np.repeat(weather(times), 2)
    learned = {AIR: History(AIR, np.repeat(times, 2), leads, forecast, forecast + departure)}
    # An hour has one reading: it is the forecasts that differ.
    learned[AIR] = replace(learned[AIR], reading=np.repeat(weather(times), 2), forecast=learned[AIR].reading)
    found = moved(fit(learned, NOW), table(96))
    assert abs(found[72]) / abs(found[12]) == pytest.approx(kept, abs=0.15)


def test_wind_is_multiplied_and_never_below_nothing():
    wind = np.abs(np.random.default_rng(5).normal(5.0, 2.0, past(60).size))
    noise = np.random.default_rng(6).normal(0.0, 0.3, wind.size)
    learned = history(WIND, past(60), np.maximum(-0.6 * wind + noise, -wind), forecast=wind)
    forecast = table(**{WIND: np.linspace(0.0, 12.0, 48), GUST: np.linspace(0.0, 18.0, 48)})
    corrected = fit(learned, NOW).applied(forecast, NOW)
    assert corrected.column(WIND)[0, :24] == pytest.approx(0.4 * forecast.column(WIND)[0, :24], rel=0.08)
    assert np.all(corrected.column(WIND) >= 0.0)
    assert np.array_equal(corrected.column(GUST), forecast.column(GUST))
    dropping = table(**{WIND: np.where(np.arange(48) < 1, 12.0, 0.5)})
    calm = fit({}, NOW).applied(dropping, NOW, {WIND: (NOW, 0.0)}).column(WIND)
    assert np.all(calm[0, 1:3] == 0.0)
    assert np.all(calm >= 0.0)


def test_a_gust_is_never_less_than_the_wind():
    wind = np.abs(np.random.default_rng(5).normal(5.0, 2.0, past(60).size))
    forecast = table(**{WIND: 5.0, GUST: 6.0})
    corrected = fit(history(WIND, past(60), wind, forecast=wind), NOW).applied(forecast, NOW)
    assert np.all(corrected.column(GUST) >= corrected.column(WIND))


def test_rain_and_what_else_is_not_corrected_stay_to_the_last_digit():
    forecast = table(**{AIR: 15.0, RAIN: np.arange(48.0), "cloud_area_fraction": 50.0})
    learned = history(AIR, past(60), 2.0) | history(RAIN, past(60), 5.0, forecast=np.ones(past(60).size))
    corrected = fit(learned, NOW).applied(forecast, NOW, {RAIN: (NOW, 9.0), AIR: (NOW, 9.0)})
    for name in (RAIN, "cloud_area_fraction"):
        assert np.array_equal(corrected.column(name), forecast.column(name))


def test_what_the_forecast_does_not_know_stays_unknown():
    values = weather(table().times)
    values[[3, 20]] = np.nan
    forecast = table(**{AIR: values, DEW: np.where(np.arange(48) == 7, np.nan, 8.0), WIND: np.full(48, np.nan)})
    corrected = fit(history(AIR, past(60), hollow(past(60))), NOW).applied(forecast, NOW, {AIR: (NOW, 12.0)})
    for name in (AIR, DEW, WIND):
        assert np.array_equal(np.isnan(corrected.column(name)), np.isnan(forecast.column(name)))


def test_every_member_of_a_forecast_is_corrected_by_itself():
    one = table(24)
    spread = np.array([[-2.0], [0.0], [2.0]])
    forecast = replace(one, columns={AIR: one.column(AIR) + spread})
    site = fit(history(AIR, past(60), hollow(past(60))), NOW)
    corrected = site.applied(forecast, NOW).column(AIR)
    for member in range(3):
        alone = replace(one, columns={AIR: forecast.column(AIR)[member : member + 1]})
        assert corrected[member] == pytest.approx(site.applied(alone, NOW).column(AIR)[0])
    leaning = site.applied(forecast, NOW, {AIR: (NOW, 12.0)}).column(AIR)
    assert np.ptp(leaning[:, 0]) < 0.5 * np.ptp(corrected[:, 0])  # what was read now holds for all of them


def test_where_only_humidity_is_read_the_dew_point_is_learned_from_it():
    times = past(60)
    warm = weather(times)
    humidity = np.full(times.size, 60.0)
    learned = {
        AIR: History(AIR, times, np.full(times.size, 24.0), warm, warm),
        HUMIDITY: History(HUMIDITY, times, np.full(times.size, 24.0), humidity, humidity + 20.0),
    }
    site = fit(learned, NOW)
    corrected = site.applied(table(**{AIR: weather(table().times), HUMIDITY: 60.0}), NOW)
    assert set(corrected.columns) == {AIR, HUMIDITY}
    assert corrected.column(HUMIDITY)[0, :24] == pytest.approx(80.0, abs=2.0)
    leaning = site.applied(table(**{AIR: 15.0, HUMIDITY: 60.0}), NOW, {AIR: (NOW, 15.0), HUMIDITY: (NOW, 95.0)})
    assert leaning.column(HUMIDITY)[0, 0] > corrected.column(HUMIDITY)[0, 0] + 5.0


def test_a_past_hour_does_not_lean_on_a_later_reading():
    forecast = table(48, NOW - HOUR * 10)
    found = moved(fit({}, NOW), forecast, {AIR: (NOW, 30.0)})
    assert np.all(found[:9] == 0.0)
    assert found[9] == pytest.approx(30.0 - forecast.column(AIR)[0, 9])
    assert np.all(np.abs(np.diff(found[9:])) >= 0.0)
    assert np.all(found[33:] == 0.0)


@given(
    departure=st.floats(-15.0, 15.0),
    damp=st.floats(-15.0, 15.0),
    dryness=st.floats(0.0, 20.0),
    latest=st.fixed_dictionaries({AIR: st.floats(-20.0, 45.0), DEW: st.floats(-30.0, 45.0)}),
)
@settings(max_examples=40, deadline=None)
def test_dew_point_humidity_and_temperature_agree_whatever_is_learned_and_read(departure, damp, dryness, latest):
    times = past(20)
    learned = history(AIR, times, departure) | history(DEW, times, damp, forecast=weather(times) - dryness)
    ahead = weather(table().times)
    forecast = table(**{AIR: ahead, DEW: ahead - dryness, HUMIDITY: relative_humidity(ahead, ahead - dryness)})
    corrected = fit(learned, NOW).applied(forecast, NOW, {name: (NOW, value) for name, value in latest.items()})
    air_c, dew_c, humidity = (corrected.column(name)[0] for name in (AIR, DEW, HUMIDITY))
    assert np.all(dew_c <= air_c)
    for k in (0, 6, 23):
        if max(abs(air_c[k]), abs(dew_c[k])) < 50.0 and dew_c[k] > 0.0:  # below, psychrolib's dew point is over ice
            expected = 100.0 * psychrolib.GetRelHumFromTDewPoint(air_c[k], dew_c[k])
            assert humidity[k] == pytest.approx(expected, abs=0.6)


def test_lead_times_count_from_when_the_forecast_was_issued():
    site = fit(history(AIR, past(60), 2.0), NOW)
    old = replace(table(), issued_at=datetime(2026, 6, 1, tzinfo=UTC) - timedelta(days=5))
    assert moved(site, old).mean() < 0.6 * moved(site, table()).mean()
