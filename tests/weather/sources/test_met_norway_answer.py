"""Answers of our own by the documented schema of Locationforecast 2.0, with numbers worked out by hand.

Schema: https://api.met.no/weatherapi/locationforecast/2.0/documentation.
"""

import contextlib
import json
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dryspell.errors import WeatherError
from dryspell.weather.sources.met_norway import read_met_norway, read_with_percentiles, spread_of
from dryspell.weather.sources.met_norway_hours import pressure_at
from dryspell.weather.sources.nws import read_nws
from dryspell.weather.sources.open_meteo import read_answer
from dryspell.weather.sources.open_meteo_json import decode
from dryspell.weather.table import WeatherTable
from mutations import changed

FETCHED = datetime(2026, 6, 1, 12, 5, tzinfo=UTC)
UNITS = {
    "air_temperature": "celsius",
    "air_temperature_min": "celsius",
    "air_temperature_max": "celsius",
    "air_temperature_percentile_10": "celsius",
    "air_temperature_percentile_90": "celsius",
    "wind_speed_percentile_10": "m/s",
    "wind_speed_percentile_90": "m/s",
    "dew_point_temperature": "celsius",
    "relative_humidity": "%",
    "wind_speed": "m/s",
    "wind_speed_of_gust": "m/s",
    "cloud_area_fraction": "%",
    "air_pressure_at_sea_level": "hPa",
    "precipitation_amount": "mm",
    "probability_of_precipitation": "%",
}
AIR = {"air_temperature": 10.0, "relative_humidity": 80.0, "wind_speed": 3.0}


def entry(stamp, *, one=None, six=None, twelve=None, **instant):
    blocks = {"next_1_hours": one, "next_6_hours": six, "next_12_hours": twelve}
    return {
        "time": stamp,
        "data": {
            "instant": {"details": AIR | instant},
            **{
                name: {"summary": {"symbol_code": "cloudy"}, "details": details}
                for name, details in blocks.items()
                if details is not None
            },
        },
    }


def answer(*entries, units=UNITS, coordinates=(9.58, 60.1, 496), **meta):
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": list(coordinates)},
        "properties": {
            "meta": {"updated_at": "2026-06-01T11:30:00Z", "units": units, **meta},
            "timeseries": list(entries),
        },
    }


def read(*entries, fetched=FETCHED, height_m=None, **more):
    return read_met_norway(answer(*entries, **more), fetched, height_m=height_m, least_days=0.0)


def message_of(data):
    with pytest.raises(WeatherError) as caught:
        read_met_norway(data, FETCHED)
    return str(caught.value)


def utc(*stamps):
    return np.array(stamps, dtype="datetime64[s]")


def rain(amount, chance=None):
    return {"precipitation_amount": amount} | ({} if chance is None else {"probability_of_precipitation": chance})


def values(table, name):
    return [None if np.isnan(value) else round(float(value), 6) for value in table.column(name)[0]]


HOURLY = (
    entry("2026-06-01T12:00:00Z", one=rain(0.4), six=rain(6.0), dew_point_temperature=6.5, cloud_area_fraction=40.0),
    entry("2026-06-01T13:00:00Z", one=rain(0.0), six=rain(6.0), air_temperature=11, wind_speed_of_gust=7.5),
    entry("2026-06-01T14:00:00Z", one=rain(1.5)),
    entry("2026-06-01T15:00:00Z"),
)


def test_an_hourly_answer_becomes_a_table():
    table = read(*HOURLY)
    assert np.array_equal(
        table.times, utc("2026-06-01T12:00", "2026-06-01T13:00", "2026-06-01T14:00", "2026-06-01T15:00")
    )
    assert values(table, "air_temperature") == [10.0, 11.0, 10.0, 10.0]
    assert values(table, "dew_point_temperature") == [6.5, None, None, None]
    assert values(table, "cloud_area_fraction") == [40.0, None, None, None]
    assert table.source == "MET Norway"
    assert table.issued_at == datetime(2026, 6, 1, 11, 30, tzinfo=UTC)
    assert "Data from MET Norway" in table.attribution
    assert "CC BY 4.0" in table.attribution
    assert table.coarse is None
    assert table.notes == ()


def test_rain_of_the_hour_after_a_stamp_stands_at_the_end_of_that_hour():
    assert values(read(*HOURLY), "precipitation_amount") == [None, 0.4, 0.0, 1.5]


def test_six_hours_that_repeat_what_single_hours_say_are_not_added():
    assert np.nansum(read(*HOURLY).column("precipitation_amount")) == pytest.approx(1.9)


def test_what_is_not_given_is_not_known_and_not_zero():
    table = read(*HOURLY)
    assert values(table, "wind_speed_of_gust") == [None, 7.5, None, None]
    assert not table.knows("probability_of_precipitation")
    assert not table.knows("surface_downwelling_shortwave_flux_in_air")
    assert not table.knows("surface_air_pressure")


def test_an_hour_without_its_own_rain_stays_unknown_among_hours():
    table = read(
        entry("2026-06-01T12:00:00Z", one=rain(0.4)),
        entry("2026-06-01T13:00:00Z", six=rain(6.0)),
        entry("2026-06-01T14:00:00Z", one=rain(0.2)),
        entry("2026-06-01T15:00:00Z"),
    )
    assert values(table, "precipitation_amount") == [None, 0.4, None, 0.2]


SIX_HOURS = (
    entry(
        "2026-06-03T17:00:00Z",
        one=rain(0.3, 25),
        air_temperature=16.0,
        dew_point_temperature=9.0,
        relative_humidity=63.0,
    ),
    entry(
        "2026-06-03T18:00:00Z",
        six=rain(3.0, 60) | {"air_temperature_min": 10.0, "air_temperature_max": 14.5},
        air_temperature=16.0,
        dew_point_temperature=9.0,
        relative_humidity=63.0,
        wind_speed=1.0,
        wind_speed_of_gust=4.0,
    ),
    entry(
        "2026-06-04T00:00:00Z",
        six=rain(0.0) | {"air_temperature_min": 7.0, "air_temperature_max": 12.0},
        twelve={"probability_of_precipitation": 15},
        air_temperature=10.0,
        dew_point_temperature=8.4,
        relative_humidity=90.0,
        wind_speed=4.0,
        wind_speed_of_gust=9.0,
    ),
    entry(
        "2026-06-04T06:00:00Z", air_temperature=12.0, dew_point_temperature=9.0, relative_humidity=82.0, wind_speed=4.0
    ),
)


def test_six_hours_are_filled_with_hours_that_are_marked_as_coarse():
    table = read(*SIX_HOURS)
    assert np.array_equal(table.times, np.arange(utc("2026-06-03T17:00")[0], utc("2026-06-04T07:00")[0], 3600))
    assert table.coarse.tolist() == [False, False] + [True] * 12
    # 16 to 10 degC and 1 to 4 m/s in six steps.
    assert values(table, "air_temperature")[1:8] == [16.0, 15.0, 14.0, 13.0, 12.0, 11.0, 10.0]
    assert values(table, "wind_speed")[1:8] == [1.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0]


def test_six_hours_of_rain_are_shared_out_over_their_hours():
    assert values(read(*SIX_HOURS), "precipitation_amount") == [None, 0.3] + [0.5] * 6 + [0.0] * 6


def test_a_probability_is_that_of_the_shortest_span_given_and_holds_for_each_of_its_hours():
    assert values(read(*SIX_HOURS), "probability_of_precipitation") == [None, 25.0] + [60.0] * 6 + [15.0] * 6


def test_a_probability_of_one_hour_says_nothing_of_those_after_it():
    chances = [{"probability_of_precipitation": chance} for chance in (10, 60, 80)]
    short = read(entry("2026-06-01T12:00:00Z", one=chances[0]), entry("2026-06-01T15:00:00Z"))
    assert values(short, "probability_of_precipitation") == [None, 10.0, None, None]
    one, six, twelve = chances
    all_spans = read(entry("2026-06-01T12:00:00Z", one=one, six=six, twelve=twelve), entry("2026-06-01T15:00:00Z"))
    assert values(all_spans, "probability_of_precipitation") == [None, 10.0, 60.0, 60.0]


def test_the_lowest_temperature_of_six_hours_is_met_in_their_middle_where_both_ends_are_warmer():
    # 10 degC at 00, at the least 7 between, 12 at 06: 7 at 03, straight lines on either side.
    found = values(read(*SIX_HOURS), "air_temperature")[7:]
    assert found == pytest.approx([10.0, 9.0, 8.0, 7.0, 7.0 + 5 / 3, 7.0 + 10 / 3, 12.0])


def test_the_highest_temperature_of_six_hours_is_met_where_both_ends_are_cooler():
    table = read(
        entry("2026-06-01T12:00:00Z", six={"air_temperature_min": 12.0, "air_temperature_max": 18.0}),
        entry("2026-06-01T18:00:00Z", air_temperature=12.0),
    )
    assert values(table, "air_temperature")[3] == 18.0


def test_extremes_within_the_two_ends_bend_nothing():
    table = read(
        entry("2026-06-01T12:00:00Z", six={"air_temperature_min": 10.5, "air_temperature_max": 11.5}),
        entry("2026-06-01T18:00:00Z", air_temperature=13.0),
    )
    assert values(table, "air_temperature") == [10.0, 10.5, 11.0, 11.5, 12.0, 12.5, 13.0]


def test_dew_point_and_humidity_stay_of_one_air_where_the_temperature_bends():
    table = read(*SIX_HOURS)
    # The dew point would be 8.7 degC at 03 but the air is at 7: it is saturated.
    assert values(table, "dew_point_temperature")[10] == 7.0
    assert values(table, "relative_humidity")[10] == 100.0
    assert not [note for note in table.notes if "disagree" in note]


def test_humidity_between_entries_follows_from_the_water_in_the_air_where_no_dew_point_is_given():
    table = read(
        entry("2026-06-01T12:00:00Z", air_temperature=20.0, relative_humidity=50.0),
        entry("2026-06-01T14:00:00Z", air_temperature=10.0, relative_humidity=94.6),
    )
    # 20 degC at 50 % and 10 degC at 94.6 % have one dew point, 9.2 to 9.3 degC; at 15 degC that is 68 to 69 %
    # (psychrometric tables of any handbook of air, from memory). On a straight line it would be 72 %.
    assert values(table, "relative_humidity")[1] == pytest.approx(68.5, abs=0.5)
    assert not table.knows("dew_point_temperature")


def test_the_coldest_and_driest_air_there_can_be_is_read():
    table = read(
        *(entry(f"2026-06-01T{hour}:00:00Z", air_temperature=-90.0, relative_humidity=0.0) for hour in (12, 14))
    )
    assert values(table, "relative_humidity")[0] == 0.0
    assert 0.0 < values(table, "relative_humidity")[1] < 30.0


def test_a_gust_between_entries_is_the_greater_of_the_two():
    assert values(read(*SIX_HOURS), "wind_speed_of_gust")[1:8] == [4.0] + [9.0] * 6


def test_a_first_hour_that_is_told_alone_is_taken_off_the_six():
    table = read(
        entry("2026-06-01T12:00:00Z", one=rain(1.0), six=rain(3.5)),
        entry("2026-06-01T18:00:00Z"),
    )
    assert values(table, "precipitation_amount") == [None, 1.0] + [0.5] * 5


def test_three_hours_are_filled_but_not_coarse():
    table = read(entry("2026-06-01T12:00:00Z", six=rain(6.0)), entry("2026-06-01T15:00:00Z", air_temperature=13.0))
    assert values(table, "air_temperature") == [10.0, 11.0, 12.0, 13.0]
    assert values(table, "precipitation_amount") == [None, 1.0, 1.0, 1.0]
    assert table.coarse is None


def test_nothing_is_filled_in_over_more_than_six_hours():
    table = read(entry("2026-06-01T12:00:00Z", six=rain(6.0)), entry("2026-06-02T00:00:00Z"))
    assert table.times.size == 2
    assert values(table, "precipitation_amount") == [None, None]
    assert table.coarse is None


def test_entries_off_the_full_hour_have_a_last_step_that_is_shorter():
    table = read(
        entry("2026-06-01T12:00:00Z", six=rain(6.0)),
        entry("2026-06-01T14:30:00Z", air_temperature=12.5),
        entry("2026-06-01T14:45:00Z"),
    )
    assert np.array_equal(
        table.times[1:], utc("2026-06-01T13:00", "2026-06-01T14:00", "2026-06-01T14:30", "2026-06-01T14:45")
    )
    assert values(table, "air_temperature") == [10.0, 11.0, 12.0, 12.5, 10.0]
    assert values(table, "precipitation_amount") == [None, 1.0, 1.0, 0.5, None]


def test_details_may_be_empty_or_absent():
    bare = entry("2026-06-01T13:00:00Z", twelve={})
    del bare["data"]["next_12_hours"]["details"]
    table = read(entry("2026-06-01T12:00:00Z", twelve={}), bare)
    assert values(table, "wind_speed") == [3.0, 3.0]


def test_percentiles_are_read_on_the_hours_of_the_table():
    def spread(low, high):
        return {
            "air_temperature_percentile_10": low,
            "air_temperature_percentile_90": high,
            "wind_speed_percentile_90": high - 5.0,
        }

    table, percentiles = read_with_percentiles(
        answer(
            entry("2026-06-01T12:00:00Z", **spread(9.0, 11.0)),
            entry("2026-06-01T13:00:00Z", six={"air_temperature_min": 7.0}, **spread(8.0, 12.0)),
            entry("2026-06-01T19:00:00Z", **spread(8.0, 12.0)),
        ),
        FETCHED,
    )
    assert np.array_equal(percentiles.times, table.times)
    # 10 degC bent down to 7 in the middle of the six hours: the spread goes down with it.
    assert percentiles.low["air_temperature"].tolist() == [9.0, 8.0, 7.0, 6.0, 5.0, 6.0, 7.0, 8.0]
    assert percentiles.high["air_temperature"].tolist() == [11.0, 12.0, 11.0, 10.0, 9.0, 10.0, 11.0, 12.0]
    assert percentiles.high["wind_speed"].tolist() == [6.0] + [7.0] * 7
    assert np.isnan(percentiles.low["wind_speed"]).all()
    # Half of a band that is not told is no bound; where a bound lies beyond the value, it lies on it.
    spread = spread_of(table, percentiles).spread
    below = percentiles.low["air_temperature"] - table.columns["air_temperature"][0]
    assert spread["air_temperature"][0].tolist() == below.tolist()
    assert np.all(spread["air_temperature"][1] >= 0.0)
    assert np.isnan(spread["wind_speed"][0]).all()


def test_outside_the_nordic_area_there_are_no_percentiles():
    assert read_with_percentiles(answer(*HOURLY), FETCHED)[1] is None


@pytest.mark.parametrize("height_m", [-300.0, 0.0, 496.0, 1000.0, 2500.0])
def test_pressure_falls_with_height_as_in_the_standard_atmosphere(height_m):
    # MetPy's own formula for the standard atmosphere of 1976, which it begins at 288 K.
    from metpy.calc import height_to_pressure_std
    from metpy.units import units

    expected = height_to_pressure_std(units.Quantity(height_m, "m")).m_as("hPa")
    found = pressure_at(height_m, np.array([[1013.25]]), np.array([[288.0 - 273.15 - 0.0065 * height_m]]))
    assert found[0, 0] == pytest.approx(expected, abs=0.05)


def test_pressure_is_brought_to_the_height_told_or_else_to_that_of_the_answer():
    entries = [
        entry(f"2026-06-01T{hour}:00:00Z", air_temperature=8.5, air_pressure_at_sea_level=1013.25) for hour in (12, 13)
    ]
    # ISO 2533, table: 898.746 hPa and 8.5 degC at 1000 m (from memory).
    assert values(read(*entries, height_m=1000.0), "surface_air_pressure") == pytest.approx([898.746] * 2, abs=0.01)
    assert values(read(*entries, coordinates=(9, 60, 1000)), "surface_air_pressure") == pytest.approx(
        [898.746] * 2, abs=0.01
    )
    table = read(*entries, coordinates=(9, 60))
    assert not table.knows("surface_air_pressure")
    assert "the air pressure is left out: the height of the place is not known" in table.notes


@pytest.mark.parametrize("unit", ["fahrenheit", None, 7, "m/s"])
def test_a_unit_that_does_not_fit_is_never_guessed(unit):
    table = read(*HOURLY, units=UNITS | {"air_temperature": unit})
    assert not table.knows("air_temperature")
    assert table.knows("wind_speed")
    assert any(note.startswith("air_temperature left out: its unit") for note in table.notes)


def test_values_that_are_physically_impossible_are_left_out_with_a_note():
    table = read(entry("2026-06-01T12:00:00Z", one=rain(-1)), entry("2026-06-01T13:00:00Z", air_temperature=2999.9))
    assert values(table, "air_temperature") == [10.0, None]
    assert values(table, "precipitation_amount") == [None, None]
    assert "1 value of air_temperature left out: not within -90 to 60 degC" in table.notes


def test_entries_out_of_order_and_doubles_are_put_right_and_noted():
    table = read(HOURLY[1], HOURLY[0], entry("2026-06-01T13:00:00Z", air_temperature=12.0))
    assert values(table, "air_temperature") == [10.0, 12.0]
    assert values(table, "precipitation_amount") == [None, 0.4]
    assert len(table.notes) == 2


def test_a_time_of_making_that_lies_ahead_does_not_make_the_forecast_younger():
    assert read(*HOURLY, updated_at="2026-06-02T00:00:00Z").issued_at == FETCHED


def test_a_short_horizon_is_noted_with_what_ends_first():
    table = read_met_norway(answer(*HOURLY), FETCHED)
    assert table.notes == (
        "the forecast reaches only until 2026-06-01T15:00Z, 2 h 55 min ahead: air_temperature ends there",
    )


def local_day(table, day, zone):
    """Which rows end an hour of a local day."""
    first, last = (
        np.datetime64(datetime.combine(d, time(), ZoneInfo(zone)).astimezone(UTC).replace(tzinfo=None), "s")
        for d in (day, day + timedelta(days=1))
    )
    return (table.times > first) & (table.times <= last)


@pytest.mark.parametrize(("day", "hours"), [(date(2026, 3, 29), 23), (date(2026, 10, 25), 25), (date(2026, 6, 1), 24)])
def test_a_day_of_23_or_25_hours_has_as_many_rows_and_all_its_rain(day, hours):
    # Oslo; the clocks change on these days in 2026 (EU directive 2000/84/EC: last Sundays of March and October).
    first = datetime.combine(day, time(), UTC) - timedelta(hours=6)
    stamps = [f"{first + timedelta(hours=6 * step):%Y-%m-%dT%H:%M:%SZ}" for step in range(8)]
    table = read(*(entry(stamp, six=rain(0.6)) for stamp in stamps), fetched=first)
    rows = local_day(table, day, "Europe/Oslo")
    assert np.count_nonzero(rows) == hours
    assert table.column("precipitation_amount")[0, rows].sum() == pytest.approx(0.1 * hours)


def test_a_polar_night_is_read_like_any_other():
    # Svalbard in January: no sun, no radiation in the answer, frost all day long.
    table = read(
        entry("2026-01-15T12:00:00Z", six=rain(0.0), air_temperature=-20.0, air_pressure_at_sea_level=1000.0),
        entry("2026-01-15T18:00:00Z", air_temperature=-26.0, air_pressure_at_sea_level=1000.0),
        coordinates=(15.63, 78.22, 0),
        updated_at="2026-01-15T11:00:00Z",
    )
    assert values(table, "air_temperature") == [-20.0, -21.0, -22.0, -23.0, -24.0, -25.0, -26.0]
    assert values(table, "surface_air_pressure") == [1000.0] * 7


@pytest.mark.parametrize("place", [(180.0, -16.5, 3), (-180, -16.5, 3), (-70.92, -53.16, 3)])
def test_the_date_line_and_the_south_are_read_like_any_other_place(place):
    table = read(*HOURLY, coordinates=place)
    assert values(table, "precipitation_amount") == [None, 0.4, 0.0, 1.5]


def test_the_same_hour_of_rain_lands_on_the_same_stamp_from_every_service():
    # 1.2 mm fall between 12 and 13 UTC. Open-Meteo stamps that 13, MET Norway 12, the NWS 12 and an hour.
    met = read(entry("2026-06-01T12:00:00Z", one=rain(1.2, 70)), entry("2026-06-01T13:00:00Z"))
    open_meteo = read_answer(
        {
            "utc_offset_seconds": 0,
            "hourly_units": {"time": "iso8601", "precipitation": "mm", "precipitation_probability": "%"},
            "hourly": {
                "time": ["2026-06-01T12:00", "2026-06-01T13:00"],
                "precipitation": [None, 1.2],
                "precipitation_probability": [None, 70],
            },
        },
        FETCHED,
    )
    value = {"validTime": "2026-06-01T12:00:00+00:00/PT1H"}
    nws = read_nws(
        {
            "properties": {
                "updateTime": "2026-06-01T11:00:00+00:00",
                "quantitativePrecipitation": {"uom": "wmoUnit:mm", "values": [value | {"value": 1.2}]},
                "probabilityOfPrecipitation": {"uom": "wmoUnit:percent", "values": [value | {"value": 70}]},
            }
        },
        FETCHED,
    )
    for table in (met, open_meteo, nws):
        assert np.array_equal(table.times, utc("2026-06-01T12:00", "2026-06-01T13:00"))
        assert values(table, "precipitation_amount") == [None, 1.2]
        assert values(table, "probability_of_precipitation") == [None, 70.0]


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ([], "MET Norway's answer is no JSON object: a list"),
        ({}, "MET Norway's answer has no forecast in it: no properties.timeseries"),
        ({"error": True, "reason": "no"}, "MET Norway's answer has no forecast in it: no properties.timeseries"),
        ({"properties": 3}, "MET Norway's answer: properties is no JSON object: 3"),
        (
            answer(*HOURLY, updated_at=None),
            "MET Norway's answer: updated_at is no instant with its offset from UTC: None",
        ),
        (answer(*HOURLY, units=[]), "MET Norway's answer: units is no JSON object: a list"),
        (answer(), "MET Norway's answer holds 0 instant(s); two at the least are needed"),
        (answer(HOURLY[0]), "MET Norway's answer holds 1 instant(s); two at the least are needed"),
        (answer("x"), "MET Norway's answer: timeseries is no JSON object: 'x'"),
        (answer({"data": {}}), "MET Norway's answer: timeseries, time is no instant with its offset from UTC: None"),
        (
            answer(entry("2026-06-01T12:00:00")),
            "MET Norway's answer: timeseries, time is no instant with its offset from UTC: '2026-06-01T12:00:00'",
        ),
        (
            answer(entry("2026-06-01T12:00:00Z", wind_speed="calm")),
            "MET Norway's answer: timeseries, wind_speed is no number: 'calm'",
        ),
        (
            answer({"time": "2026-06-01T12:00:00Z", "data": {"instant": {"details": []}}}),
            "MET Norway's answer: timeseries, instant is no JSON object: a list",
        ),
        (
            answer(*({"time": f"2026-06-01T{hour}:00:00Z", "data": {}} for hour in (12, 13))),
            "MET Norway's answer holds no value of a variable that is known here",
        ),
    ],
)
def test_an_answer_of_another_shape_is_said_plainly(data, message):
    assert message_of(data) == message


GOOD = answer(*HOURLY, *SIX_HOURS)


@given(changed(GOOD, "2026-06-01T12:30:00Z", "0001-01-01T00:00:00Z", "celsius", "%", -90, 60, 100, 105, 0))
def test_whatever_stands_in_a_place_it_is_read_or_refused(data):
    with contextlib.suppress(WeatherError):
        assert isinstance(read_met_norway(data, FETCHED), WeatherTable)


@given(st.integers(0, len(json.dumps(GOOD)) - 1))
def test_a_body_cut_anywhere_is_refused(cut):
    with pytest.raises(WeatherError, match="MET Norway"):
        read_met_norway(decode(json.dumps(GOOD)[:cut].encode(), "MET Norway"), FETCHED)
