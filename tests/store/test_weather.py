from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.errors import StoreError
from dryspell.store.readings import Checked
from dryspell.store.weather import pack, unpack
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.table import WeatherTable
from store.moment import NOW

MIDNIGHT = np.datetime64("2026-06-02T00:00:00")


def table(first_hour, values, *, issued_at=NOW, name="air_temperature"):
    hours = np.arange(first_hour, first_hour + len(values))
    return WeatherTable(
        times=(MIDNIGHT + hours * np.timedelta64(1, "h")).astype("datetime64[s]"),
        columns={name: np.array([values], dtype=np.float64)},
        source="somebody",
        issued_at=issued_at,
        attribution="by somebody",
        notes=("one hour is missing",),
    )


def column(weather, name="air_temperature"):
    return weather.columns[name][0].tolist()


def test_a_forecast_comes_back_as_it_was_with_its_true_age(store):
    old, new = table(0, [1.0, np.nan, 3.0]), table(0, [4.0, 5.0], issued_at=NOW - timedelta(hours=30))
    store.keep_forecast("mooring", old, NOW)
    store.keep_forecast("mooring", new, NOW)
    back = store.last_forecast("mooring")
    assert back.issued_at == NOW - timedelta(hours=30)
    assert (back.source, back.attribution, back.notes) == (new.source, new.attribution, new.notes)
    np.testing.assert_array_equal(back.times, new.times)
    np.testing.assert_array_equal(back.columns["air_temperature"], new.columns["air_temperature"])
    assert store.last_forecast("barn") is None


@given(
    st.integers(1, 4),
    st.integers(2, 30),
    st.floats(-40, 40),
    st.integers(0, 2**32).map(lambda at: datetime.fromtimestamp(at, UTC)),
)
def test_packing_loses_nothing(members, size, value, issued_at):
    values = np.full((members, size), value)
    values[0, 1] = np.nan
    times = MIDNIGHT + np.arange(size) * np.timedelta64(7, "m")
    before = WeatherTable(times.astype("datetime64[s]"), {"wind_speed": values}, "x", issued_at)
    after = unpack(pack(before))
    np.testing.assert_array_equal(after.columns["wind_speed"], values)
    np.testing.assert_array_equal(after.times, before.times)
    assert after.issued_at == issued_at


def test_a_kept_forecast_that_cannot_be_read_is_said_to_be(store):
    store.keep_forecast("mooring", table(0, [1.0, 2.0]), NOW)
    with store._transaction() as connection:
        connection.execute("UPDATE forecasts SET body = x'00ff00ff'")
    with pytest.raises(StoreError, match=r"forecast kept .* for site mooring cannot be read"):
        store.last_forecast("mooring")


def test_only_hours_that_are_past_are_kept(store):
    store.keep_weather("mooring", table(10, [10.0, 11.0, 12.0, 13.0]), NOW)
    past = store.past_weather("mooring", NOW - timedelta(days=1))
    assert column(past) == [10.0, 11.0, 12.0]
    assert store.past_weather("barn", NOW - timedelta(days=1)) is None


def test_a_value_that_is_not_known_is_not_kept(store):
    store.keep_weather("mooring", table(8, [8.0, np.nan, 10.0]), NOW)
    store.keep_weather("mooring", table(8, [1.0, 2.0, 3.0], name="wind_speed"), NOW)
    past = store.past_weather("mooring", NOW - timedelta(days=1))
    np.testing.assert_array_equal(past.columns["air_temperature"], [[8.0, np.nan, 10.0]])
    assert column(past, "wind_speed") == [1.0, 2.0, 3.0]


def test_a_later_issue_goes_over_an_hour_and_an_earlier_one_does_not(store):
    store.keep_weather("mooring", table(8, [8.0, 9.0]), NOW)
    store.keep_weather("mooring", table(9, [9.5, 10.0], issued_at=NOW + timedelta(hours=1)), NOW)
    store.keep_weather("mooring", table(8, [0.0, 0.0, 0.0], issued_at=NOW - timedelta(hours=9)), NOW)
    assert column(store.past_weather("mooring", NOW - timedelta(days=1))) == [8.0, 9.5, 10.0]


def test_of_several_members_the_middle_one_is_kept(store):
    three = table(8, [0.0, 0.0])
    three = WeatherTable(three.times, {"wind_speed": np.array([[1.0, 5.0], [2.0, 9.0], [9.0, 7.0]])}, "x", NOW)
    store.keep_weather("mooring", three, NOW)
    assert column(store.past_weather("mooring", NOW - timedelta(days=1)), "wind_speed") == [2.0, 7.0]


def test_the_past_begins_where_it_is_asked_for(store):
    store.keep_weather("mooring", table(6, [6.0, 7.0, 8.0, 9.0]), NOW)
    assert column(store.past_weather("mooring", NOW - timedelta(hours=4))) == [8.0, 9.0]
    assert store.past_weather("mooring", NOW - timedelta(hours=3)) is None


def read(store, name, *readings, sensor="mast", piece="", flag=Flag.GOOD):
    """Keep readings, given as hour of the day and value."""
    midnight = NOW - timedelta(hours=12)
    store.keep_readings(
        Checked("mooring", piece, Reading(sensor, name, midnight + timedelta(hours=hour), float(value)), flag)
        for hour, value in readings
    )


def rain(first_hour, values):
    return table(first_hour, values, name="precipitation_amount")


def test_past_hours_are_as_read_where_there_are_good_readings_and_as_forecast_where_not(store):
    store.keep_weather("mooring", table(8, [8.0, 9.0, 10.0, 11.0]), NOW)
    read(store, "air_temperature", (8.9, 20.0), (9.1, 21.0), (10.0, 40.5))
    read(store, "air_temperature", (10.0, 99.0), flag=Flag.RANGE, sensor="other")
    past = store.past_weather("mooring", NOW - timedelta(hours=5))
    assert column(past) == [8.0, 20.5, 40.5, 11.0]
    assert past.notes == ("air temperature was read at 2 by mast of 4 times",)


def test_rain_of_an_hour_is_the_sum_of_what_was_read_in_it(store):
    store.keep_weather("mooring", rain(8, [5.0, 5.0, 5.0]), NOW)
    read(store, "precipitation_amount", *((8 + quarter / 4, 0.2) for quarter in range(7)))
    # From 8 to 9 all of it, 0.8 mm; from 9 on half an hour of readings is too little to tell, and 8 is the first.
    past = store.past_weather("mooring", NOW - timedelta(hours=5))
    np.testing.assert_allclose(column(past, "precipitation_amount"), [5.0, 0.8, 5.0])


def test_readings_bridge_hours_of_which_no_forecast_was_kept(store):
    store.keep_weather("mooring", table(0, [0.0, 1.0]), NOW)
    store.keep_weather("mooring", table(8, [8.0, 9.0]), NOW)
    read(store, "air_temperature", *((hour, 50.0 + hour) for hour in range(3, 7)))
    past = store.past_weather("mooring", MIDNIGHT.astype(datetime).replace(tzinfo=UTC))
    np.testing.assert_array_equal(column(past), [0, 1, 53, 54, 55, 56, 8, 9])


def test_without_any_forecast_the_readings_are_the_weather(store):
    read(store, "air_temperature", *((hour, hour) for hour in range(6, 10)))
    read(store, "relative_humidity", (7, 70.0))
    past = store.past_weather("mooring", NOW - timedelta(hours=6))
    assert column(past) == [6, 7, 8, 9]
    np.testing.assert_array_equal(column(past, "relative_humidity"), [np.nan, 70, np.nan, np.nan])
    assert past.issued_at == NOW - timedelta(hours=3)


def test_what_is_read_at_a_piece_is_not_the_past_of_the_site(store):
    store.keep_weather("mooring", table(8, [8.0, 9.0]), NOW)
    read(store, "air_temperature", (8, 30.0), (9, 30.0), piece="rail")
    assert column(store.past_weather("mooring", NOW - timedelta(hours=5))) == [8.0, 9.0]


def test_the_sensor_that_is_preferred_goes_first(store):
    store.keep_weather("mooring", table(8, [8.0, 9.0]), NOW)
    read(store, "air_temperature", (8, 20.0), (9, 20.0))
    read(store, "air_temperature", (9, 30.0), sensor="new")
    since = NOW - timedelta(hours=5)
    assert column(store.past_weather("mooring", since, sensors=["new", "mast"])) == [20.0, 30.0]
    assert column(store.past_weather("mooring", since, sensors=["new"])) == [8.0, 30.0]
    assert column(store.past_weather("mooring", since)) == [20.0, 20.0]


def test_a_forecast_gets_readings_up_to_now_and_none_of_its_time_ahead(store):
    said = table(11, [1.0, 2.0, 3.0, 4.0])
    read(store, "air_temperature", (11, 20.0), (12, 21.0), (13, 22.0))
    with_them = store.with_readings("mooring", said, NOW)
    assert column(with_them) == [20.0, 21.0, 3.0, 4.0]
    assert with_them.notes == ("one hour is missing", "air temperature was read at 2 by mast of 4 times")
    assert store.with_readings("barn", said, NOW) is said
    assert store.with_readings("mooring", said, NOW - timedelta(hours=2)) is said
