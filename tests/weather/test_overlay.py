"""Readings over a forecast. Humid air by psychrolib (ASHRAE): 20 degC and 50 % have the dew point 9.27 degC."""

from datetime import UTC, datetime

import numpy as np
import psychrolib
import pytest

from dryspell.weather.overlay import overlay, with_hours
from dryspell.weather.table import WeatherTable

AIR, DEW, WET, RAIN = "air_temperature", "dew_point_temperature", "relative_humidity", "precipitation_amount"
GLOBAL = "surface_downwelling_shortwave_flux_in_air"
DIRECT = "surface_direct_downwelling_shortwave_flux_in_air"
LONGEST = np.timedelta64(3, "h")
nan = np.nan

psychrolib.SetUnitSystem(psychrolib.SI)


def hours(*numbers):
    return np.datetime64("2026-06-02T00:00:00", "s") + np.array(numbers) * np.timedelta64(3600, "s")


def table(times=(0, 1, 2), **columns):
    rows = {name: np.atleast_2d(np.asarray(values, dtype=np.float64)) for name, values in columns.items()}
    return WeatherTable(hours(*times), rows, "somebody", datetime(2026, 6, 2, tzinfo=UTC))


def over(said, **read):
    return overlay(said, {name: np.asarray(values, dtype=np.float64) for name, values in read.items()}).columns


def row(columns, name):
    return columns[name][0].tolist()


def test_a_reading_goes_before_the_forecast_of_its_time_and_no_other():
    columns = over(table(wind_speed=[1, 2, 3]), wind_speed=[9, nan, 7])
    assert row(columns, "wind_speed") == [9, 2, 7]


def test_a_reading_holds_for_every_member():
    columns = over(table(wind_speed=[[1, 2, 3], [4, 5, 6]]), wind_speed=[9, nan, nan])
    assert columns["wind_speed"].tolist() == [[9, 2, 3], [9, 5, 6]]


def test_no_column_is_added_that_would_seem_to_tell_of_the_time_ahead():
    assert set(over(table(air_temperature=[1, 2, 3]), surface_air_pressure=[1000, nan, nan])) == {AIR}


def test_where_temperature_alone_is_read_the_vapour_stays_and_the_humidity_follows():
    said = table(air_temperature=[20, 20, 20], relative_humidity=[50, 50, 50], dew_point_temperature=[9.27, 9.27, 9.27])
    columns = over(said, air_temperature=[15, nan, nan])
    assert row(columns, AIR) == [15, 20, 20]
    assert row(columns, DEW) == [9.27, 9.27, 9.27]
    expected = 100 * psychrolib.GetRelHumFromTDewPoint(15, 9.27)
    assert row(columns, WET) == pytest.approx([expected, 50, 50], abs=0.3)


def test_where_the_air_is_colder_than_the_dew_point_foreseen_it_is_saturated():
    said = table(air_temperature=[20, 20, 20], relative_humidity=[50, 50, 50], dew_point_temperature=[9.27, 9.27, 9.27])
    columns = over(said, air_temperature=[6, nan, nan])
    assert row(columns, DEW) == [6, 9.27, 9.27]
    assert row(columns, WET) == pytest.approx([100, 50, 50])


def test_where_temperature_and_humidity_are_read_the_dew_point_follows():
    said = table(air_temperature=[10, 10, 10], dew_point_temperature=[1, 1, 1])
    columns = over(said, air_temperature=[20, nan, nan], relative_humidity=[50, nan, nan])
    assert set(columns) == {AIR, DEW}
    expected = psychrolib.GetTDewPointFromRelHum(20, 0.5)
    assert row(columns, DEW) == pytest.approx([expected, 1, 1], abs=0.05)


def test_where_humidity_alone_is_read_the_temperature_is_as_forecast():
    columns = over(
        table(air_temperature=[20, 20, 20], relative_humidity=[80, 80, 80]), relative_humidity=[50, nan, nan]
    )
    assert row(columns, WET) == [50, 80, 80]
    assert row(columns, AIR) == [20, 20, 20]


def test_a_dew_point_read_over_the_temperature_foreseen_warms_it():
    said = table(air_temperature=[5, 5, 5], relative_humidity=[80, 80, 80])
    columns = over(said, dew_point_temperature=[8, nan, nan])
    assert (row(columns, AIR), set(columns)) == ([8, 5, 5], {AIR, WET})
    assert row(columns, WET) == pytest.approx([100, 80, 80])


def test_a_table_without_any_humidity_takes_what_was_read_of_it():
    columns = over(table(air_temperature=[20, 20, 20]), relative_humidity=[50, nan, 60])
    assert row(columns, WET)[::2] == [50, 60]
    assert np.isnan(columns[WET][0, 1])


def test_where_sunshine_is_read_its_forecast_parts_are_left_out():
    columns = over(table(**{GLOBAL: [100, 200, 300], DIRECT: [50, 100, 150]}), **{GLOBAL: [400, nan, nan]})
    assert row(columns, GLOBAL) == [400, 200, 300]
    assert np.isnan(columns[DIRECT][0, 0])
    assert row(columns, DIRECT)[1:] == [100, 150]


def test_rows_bridge_a_gap_and_go_on_behind_the_end():
    said = table((0, 1, 6, 7), air_temperature=[1, 2, 7, 8], precipitation_amount=[0, 1, 6, 7])
    wide = with_hours(said, hours(*range(10)), LONGEST)
    assert wide.times.tolist() == hours(*range(10)).tolist()
    np.testing.assert_array_equal(wide.columns[AIR][0], [1, 2, nan, nan, nan, nan, 7, 8, nan, nan])
    np.testing.assert_array_equal(wide.columns[RAIN][0], [0, 1, nan, nan, nan, nan, 6, 7, nan, nan])


def test_a_sum_over_three_hours_is_not_taken_for_that_of_the_hour_a_row_leaves_it():
    said = table((0, 3, 12, 15), precipitation_amount=[0, 3, 9, 12], air_temperature=[1, 2, 3, 4])
    wide = with_hours(said, hours(4, 11), LONGEST)
    np.testing.assert_array_equal(wide.columns[RAIN][0], [0, 3, nan, nan, nan, 12])
    np.testing.assert_array_equal(wide.columns[AIR][0], [1, 2, nan, nan, 3, 4])


def test_steps_of_three_hours_are_no_gap():
    said = table((0, 3, 6), precipitation_amount=[0, 3, 6])
    assert with_hours(said, hours(*range(7)), LONGEST) is said
