"""Answers of our own by the documented schema of the NWS's grid forecast, with numbers worked out by hand.

Schema: https://www.weather.gov/documentation/services-web-api (GridpointForecast, ISO8601Interval).
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
from dryspell.weather.sources.nws import read_nws, read_points
from dryspell.weather.sources.nws_layers import interval
from dryspell.weather.sources.open_meteo_json import decode
from dryspell.weather.table import WeatherTable
from mutations import changed

FETCHED = datetime(2026, 6, 1, 12, 5, tzinfo=UTC)


def layer(*values, uom="wmoUnit:degC"):
    return {"uom": uom, "values": [{"validTime": span, "value": value} for span, value in values]}


def hour(start, span="PT1H", day=1):
    return f"2026-06-{day:02}T{start:02}:00:00+00:00/{span}"


def answer(update="2026-06-01T11:30:00+00:00", **layers):
    return {
        "type": "Feature",
        "properties": {
            "updateTime": update,
            "validTimes": "2026-06-01T10:00:00+00:00/P7DT15H",
            "elevation": {"unitCode": "wmoUnit:m", "value": 3.9},
            "hazards": {"values": []},
            "pressure": {"values": []},
            **layers,
        },
    }


def read(fetched=FETCHED, **layers):
    return read_nws(answer(**layers), fetched, least_days=-1.0)


def message_of(**layers):
    with pytest.raises(WeatherError) as caught:
        read(**layers)
    return str(caught.value)


def utc(*stamps):
    return np.array(stamps, dtype="datetime64[s]")


def values(table, name):
    return [None if np.isnan(value) else round(float(value), 6) for value in table.column(name)[0]]


def test_equal_hours_that_were_merged_are_taken_apart():
    table = read(temperature=layer((hour(10, "PT13H"), 17.5), (hour(23), 16.0)))
    assert np.array_equal(table.times, np.arange(utc("2026-06-01T10:00")[0], utc("2026-06-02T00:01")[0], 3600))
    # 10 to 22 are 13 hours; at 24 the last interval is over.
    assert values(table, "air_temperature") == [17.5] * 13 + [16.0, None]
    assert table.source == "US National Weather Service"
    assert table.issued_at == datetime(2026, 6, 1, 11, 30, tzinfo=UTC)
    assert "public domain" in table.attribution
    assert table.coarse is None
    assert table.notes == ()


def test_every_layer_lands_in_its_column():
    table = read(
        temperature=layer((hour(12), 20.0)),
        dewpoint=layer((hour(12), 15.0)),
        relativeHumidity=layer((hour(12), 73), uom="wmoUnit:percent"),
        skyCover=layer((hour(12), 40), uom="wmoUnit:percent"),
        windSpeed=layer((hour(12), 18.0), uom="wmoUnit:km_h-1"),
        windGust=layer((hour(12), 36.0), uom="wmoUnit:km_h-1"),
        quantitativePrecipitation=layer((hour(12), 0.5), uom="wmoUnit:mm"),
        probabilityOfPrecipitation=layer((hour(12), 55), uom="wmoUnit:percent"),
    )
    instants = {
        "air_temperature": 20.0,
        "dew_point_temperature": 15.0,
        "relative_humidity": 73.0,
        "cloud_area_fraction": 40.0,
        "wind_speed": 5.0,
    }
    over_the_hour = {"wind_speed_of_gust": 10.0, "precipitation_amount": 0.5, "probability_of_precipitation": 55.0}
    assert set(table.columns) == {*instants, *over_the_hour}
    for name, value in instants.items():
        assert values(table, name) == [value, None]
    for name, value in over_the_hour.items():
        assert values(table, name) == [None, value]


def test_a_total_is_shared_out_over_its_hours_and_a_probability_holds_for_each():
    table = read(
        quantitativePrecipitation=layer((hour(12, "PT6H"), 3.0), (hour(18, "PT3H"), 0), uom="wmoUnit:mm"),
        probabilityOfPrecipitation=layer((hour(12, "PT9H"), 40), uom="wmoUnit:percent"),
    )
    assert values(table, "precipitation_amount") == [None] + [0.5] * 6 + [0.0] * 3
    assert values(table, "probability_of_precipitation") == [None] + [40.0] * 9


def test_rain_that_ends_before_the_temperature_is_unknown_from_there_on():
    data = answer(
        temperature=layer((hour(12, "P2D"), 20.0)),
        quantitativePrecipitation=layer((hour(12, "PT6H"), 0.0), uom="wmoUnit:mm"),
    )
    table = read_nws(data, FETCHED)
    assert values(table, "precipitation_amount") == [None] + [0.0] * 6 + [None] * 42
    assert values(table, "air_temperature") == [20.0] * 48 + [None]
    assert table.notes == (
        "the forecast reaches only until 2026-06-01T18:00Z, 5 h 55 min ahead: precipitation_amount ends there",
    )


def test_nulls_and_gaps_are_unknown():
    table = read(temperature=layer((hour(12, "PT2H"), 20.0), (hour(14, "PT2H"), None), (hour(18, "PT2H"), 15.0)))
    assert values(table, "air_temperature") == [20.0] * 2 + [None] * 4 + [15.0] * 2 + [None]


def test_a_layer_of_nulls_or_without_values_is_as_absent():
    table = read(
        temperature=layer((hour(12), 20.0)), dewpoint=layer((hour(12), None)), skyCover={"values": []}, windSpeed={}
    )
    assert set(table.columns) == {"air_temperature"}
    assert table.notes == ()


@pytest.mark.parametrize(
    "prefix", ["wmoUnit:", "unit:", "nwsUnit:", "wmo:", "uc:", "https://codes.wmo.int/common/unit:", ""]
)
def test_the_prefix_of_a_unit_does_not_matter(prefix):
    assert values(read(temperature=layer((hour(12), 20.0), uom=f"{prefix}degC")), "air_temperature") == [20.0, None]


@pytest.mark.parametrize(
    ("name", "unit", "value", "expected"),
    [
        ("temperature", "degF", 68.0, 20.0),
        ("windSpeed", "km_h-1", 3.704, 3.704 / 3.6),
        ("windSpeed", "m_s-1", 5.0, 5.0),
        ("skyCover", "percent", 38, 38.0),
    ],
)
def test_units_are_converted(name, unit, value, expected):
    table = read(**{name: layer((hour(12), value), uom=f"wmoUnit:{unit}")})
    (column,) = table.columns
    assert values(table, column)[0] == pytest.approx(expected)


@pytest.mark.parametrize("unit", ["wmoUnit:K", "degC:", "wmoUnit:percent", "", None, 7])
def test_a_unit_that_does_not_fit_refuses_the_layer_with_a_note(unit):
    table = read(temperature=layer((hour(12), 20.0), uom=unit), windSpeed=layer((hour(12), 18.0), uom="wmoUnit:km_h-1"))
    assert set(table.columns) == {"wind_speed"}
    assert table.notes == (f"temperature left out: its unit {unit!r} is not known for it",)


def test_values_that_are_physically_impossible_are_left_out_with_a_note():
    table = read(temperature=layer((hour(12), 20.0), (hour(13), 3276.7)))
    assert values(table, "air_temperature") == [20.0, None, None]
    assert table.notes == ("1 value of air_temperature left out: not within -90 to 60 degC",)


def test_values_that_begin_between_hours_get_rows_of_their_own():
    table = read(
        temperature=layer(("2026-06-01T12:00:00+00:00/PT1H30M", 20.0), ("2026-06-01T13:30:00+00:00/PT30M", 18.0)),
        quantitativePrecipitation=layer(("2026-06-01T12:00:00+00:00/PT1H30M", 3.0), uom="wmoUnit:mm"),
    )
    assert np.array_equal(
        table.times, utc("2026-06-01T12:00", "2026-06-01T13:00", "2026-06-01T13:30", "2026-06-01T14:00")
    )
    assert values(table, "air_temperature") == [20.0, 20.0, 18.0, None]
    assert values(table, "precipitation_amount") == [None, 2.0, 1.0, None]


def test_where_intervals_overlap_the_later_one_rules_and_no_rain_is_counted_twice():
    table = read(
        quantitativePrecipitation=layer(
            (hour(12, "PT6H"), 6.0), (hour(15, "PT6H"), 1.2), (hour(15, "PT3H"), 0.9), uom="wmoUnit:mm"
        )
    )
    assert values(table, "precipitation_amount") == [None] + [1.0] * 3 + [0.3] * 3


@pytest.mark.parametrize(
    ("written", "first", "last"),
    [
        ("2026-06-01T12:00:00+00:00/PT3H", "2026-06-01T12:00", "2026-06-01T15:00"),
        ("2026-06-01T12:00:00+00:00/P7DT14H", "2026-06-01T12:00", "2026-06-09T02:00"),
        ("2026-06-01T12:00:00+00:00/P1D", "2026-06-01T12:00", "2026-06-02T12:00"),
        ("2026-06-01T12:00:00+00:00/PT1H30M15S", "2026-06-01T12:00", "2026-06-01T13:30:15"),
        ("2026-06-01T07:00:00-05:00/PT1H", "2026-06-01T12:00", "2026-06-01T13:00"),
        ("2026-06-01T12:00:00Z/2026-06-02T00:00:00Z", "2026-06-01T12:00", "2026-06-02T00:00"),
        ("PT6H/2026-06-02T00:00:00Z", "2026-06-01T18:00", "2026-06-02T00:00"),
        ("NOW/PT1H", "2026-06-01T12:05", "2026-06-01T13:05"),
        ("NOW/2026-06-02T00:00:00Z", "2026-06-01T12:05", "2026-06-02T00:00"),
        ("PT5M/NOW", "2026-06-01T12:00", "2026-06-01T12:05"),
    ],
)
def test_an_interval_is_read_in_each_of_its_documented_forms(written, first, last):
    assert interval(written, "here", FETCHED) == tuple(utc(first, last))


@pytest.mark.parametrize(
    "written",
    [
        "2026-06-01T12:00:00+00:00",
        "2026-06-01T12:00:00+00:00/P",
        "2026-06-01T12:00:00+00:00/PT",
        "2026-06-01T12:00:00+00:00/P1DT",
        "2026-06-01T12:00:00+00:00/P1M",
        "2026-06-01T12:00:00+00:00/P1Y",
        "2026-06-01T12:00:00+00:00/P1W",
        "2026-06-01T12:00:00+00:00/PT1.5H",
        "2026-06-01T12:00:00+00:00/PT-1H",
        "2026-06-01T12:00:00+00:00/P999999999D",
        "9999-06-01T12:00:00+00:00/P99999D",
        "P99999D/0001-06-01T12:00:00+00:00",
        "2026-06-01T12:00:00/PT1H",
        "2026-06-01T12:00:00Z/2026-06-01T11:00:00Z",
        "PT1H/PT1H",
        "PT1H/PT1H/PT1H",
        "now/PT1H",
        "",
        None,
        3,
        ["NOW", "PT1H"],
    ],
)
def test_what_is_no_interval_is_refused(written):
    with pytest.raises(WeatherError, match=r"^here"):
        interval(written, "here", FETCHED)


def test_hours_of_a_century_are_not_laid_out():
    table = read(temperature=layer(("1926-06-01T12:00:00Z/P99999D", 20.0)))
    assert table.times[0] == utc("2026-05-31T11:30")[0]
    assert table.times[-1] == utc("2026-06-17T11:30")[0]


def test_a_forecast_of_another_time_than_its_own_is_refused():
    assert message_of(temperature=layer(("1926-06-01T12:00:00Z/PT1H", 20.0))) == (
        "The NWS's answer holds no value near the time it was made at"
    )


def test_a_forecast_older_than_twelve_hours_when_it_came_is_noted():
    table = read(fetched=FETCHED + timedelta(hours=12), temperature=layer((hour(12), 20.0)))
    assert table.issued_at == datetime(2026, 6, 1, 11, 30, tzinfo=UTC)
    assert table.notes == ("the forecast was made 12 h 35 min before it was fetched",)


def test_a_time_of_making_that_lies_ahead_does_not_make_the_forecast_younger():
    assert read(update="2026-06-01T20:00:00+00:00", temperature=layer((hour(12), 20.0))).issued_at == FETCHED


@pytest.mark.parametrize(
    ("day", "before", "after", "hours"),
    [
        (date(2026, 3, 8), "-05:00", "-04:00", 23),
        (date(2026, 11, 1), "-04:00", "-05:00", 25),
        (date(2026, 6, 1), "-04:00", "-04:00", 24),
    ],
)
def test_a_day_of_23_or_25_hours_has_as_many_rows_and_all_its_rain(day, before, after, hours):
    # New York; the clocks change on these days in 2026 (Energy Policy Act of 2005: second Sunday of March, first of
    # November). The intervals carry the offset of their start, and two that follow each other touch.
    switch = 2
    zone = ZoneInfo("America/New_York")
    first, last = (datetime.combine(d, time(), zone).astimezone(UTC) for d in (day, day + timedelta(days=1)))
    table = read(
        fetched=first,
        update=f"{day}T00:00:00{before}",
        quantitativePrecipitation=layer(
            (f"{day}T00:00:00{before}/PT{switch}H", 0.2),
            (
                f"{(first + timedelta(hours=switch)).astimezone(zone).isoformat()}/PT{hours - switch}H",
                0.1 * (hours - switch),
            ),
            uom="wmoUnit:mm",
        ),
        temperature=layer((f"{day}T00:00:00{before}/{day + timedelta(days=1)}T00:00:00{after}", 5.0)),
    )
    assert table.times[0] == np.datetime64(first.replace(tzinfo=None), "s")
    assert table.times[-1] == np.datetime64(last.replace(tzinfo=None), "s")
    assert values(table, "precipitation_amount") == [None] + [0.1] * hours
    assert values(table, "air_temperature") == [5.0] * hours + [None]


def test_the_hour_that_comes_twice_is_told_apart_by_its_offset():
    table = read(
        fetched=datetime(2026, 11, 1, 4, tzinfo=UTC),
        update="2026-11-01T00:00:00-04:00",
        temperature=layer(("2026-11-01T01:00:00-04:00/PT1H", 5.0), ("2026-11-01T01:00:00-05:00/PT1H", 4.0)),
    )
    assert np.array_equal(table.times, utc("2026-11-01T05:00", "2026-11-01T06:00", "2026-11-01T07:00"))
    assert values(table, "air_temperature") == [5.0, 4.0, None]


def test_a_polar_night_is_read_like_any_other():
    # The north coast of Alaska in January.
    table = read(
        fetched=datetime(2026, 1, 15, 12, tzinfo=UTC),
        update="2026-01-15T02:00:00-09:00",
        temperature=layer(("2026-01-15T03:00:00-09:00/PT3H", -31.0)),
    )
    assert np.array_equal(table.times, np.arange(utc("2026-01-15T12:00")[0], utc("2026-01-15T15:01")[0], 3600))
    assert values(table, "air_temperature") == [-31.0] * 3 + [None]


@pytest.mark.parametrize(
    "start",
    [
        "2026-06-02T02:00:00+14:00",
        "2026-06-01T01:00:00-11:00",
        "2026-06-01T22:00:00+10:00",
        "2026-06-02T00:00:00+12:00",
    ],
)
def test_either_side_of_the_date_line_and_the_south_mean_the_same_instant(start):
    # 12:00Z, as it is written east of the line, on Samoa (south, west of it), on Guam, and just west of the line.
    table = read(temperature=layer((f"{start}/PT1H", 27.0)))
    assert np.array_equal(table.times, utc("2026-06-01T12:00", "2026-06-01T13:00"))


@pytest.mark.parametrize(
    ("data", "message"),
    [
        ([], "The NWS's answer is no JSON object: a list"),
        ({}, "The NWS's answer has no grid forecast in it"),
        ({"properties": []}, "The NWS's answer: properties is no JSON object: a list"),
        ({"properties": {"periods": []}}, "The NWS's answer has no grid forecast in it"),
        (
            answer(update=None, temperature=layer((hour(12), 20.0))),
            "The NWS's answer: updateTime is no instant with its offset from UTC: None",
        ),
        (
            answer(update="0001-01-01T00:00:00+00:00", temperature=layer((hour(12), 20.0))),
            "The NWS's answer: updateTime is out of this world: 0001-01-01 00:00:00+00:00",
        ),
        (answer(temperature={"values": []}), "The NWS's answer holds no value near the time it was made at"),
        (answer(temperature=[]), "The NWS's answer: temperature is no JSON object: a list"),
        (answer(temperature={"values": 3}), "The NWS's answer: temperature has no list of values"),
        (answer(temperature={"values": [3]}), "The NWS's answer: temperature is no JSON object: 3"),
        (answer(temperature=layer((hour(12), "warm"))), "The NWS's answer: temperature is no number: 'warm'"),
        (
            answer(temperature=layer(("soon", 20.0))),
            "The NWS's answer: temperature has a validTime that is none: 'soon'",
        ),
        (
            answer(temperature=layer((hour(12, "P1M"), 20.0))),
            "The NWS's answer: temperature has a length of time that is none: 'P1M'",
        ),
    ],
)
def test_an_answer_of_another_shape_is_said_plainly(data, message):
    with pytest.raises(WeatherError) as caught:
        read_nws(data, FETCHED)
    assert str(caught.value) == message


def points(written):
    return {"properties": {"gridId": "TAE", "gridX": 58, "gridY": 65, "forecastGridData": written}}


@pytest.mark.parametrize(
    "written", ["https://api.weather.gov/gridpoints/TAE/58,65", "http://127.0.0.1:8080/behind/gridpoints/TAE/58,65"]
)
def test_the_grid_of_a_place_is_read_as_a_path_on_the_host_that_is_asked(written):
    assert read_points(points(written)) == "/gridpoints/TAE/58,65"


@pytest.mark.parametrize(
    "data",
    [
        {},
        [],
        points(None),
        points(3),
        points("https://[/gridpoints/TAE/58,65"),
        points("https://api.weather.gov/gridpoints/TAE/58,65/forecast"),
        points("https://api.weather.gov/gridpoints/TAE/../../admin"),
        points("https://api.weather.gov/?/gridpoints/TAE/58,65"),
    ],
)
def test_a_place_without_a_grid_is_said(data):
    with pytest.raises(WeatherError, match="The NWS's answer"):
        read_points(data)


GOOD = answer(
    temperature=layer((hour(10, "PT13H"), 17.5), (hour(23), 16.0)),
    windSpeed=layer((hour(12), 18.0), (hour(13), None), uom="wmoUnit:km_h-1"),
    quantitativePrecipitation=layer((hour(12, "PT6H"), 3.0), uom="wmoUnit:mm"),
    probabilityOfPrecipitation=layer((hour(12, "P1D"), 40), uom="wmoUnit:percent"),
)
ODD_SPANS = ("NOW/PT1H", "NOW/NOW", "PT0S/NOW", "P99999D/NOW", "NOW/P99999D", "P/NOW", "/", "PT1S/2026-06-01T12:00:00Z")


@given(changed(GOOD, *ODD_SPANS, "0001-01-01T00:00:00Z", "9999-12-31T23:59:59Z", "wmoUnit:degC", -90, 60, 1e308))
def test_whatever_stands_in_a_place_it_is_read_or_refused(data):
    with contextlib.suppress(WeatherError):
        assert isinstance(read_nws(data, FETCHED), WeatherTable)


@given(changed(points("https://api.weather.gov/gridpoints/TAE/58,65"), "https://[", "/gridpoints/TAE/1,1"))
def test_whatever_stands_in_a_place_of_the_mapping_it_is_read_or_refused(data):
    with contextlib.suppress(WeatherError):
        assert read_points(data).startswith("/gridpoints/")


@given(st.integers(0, len(json.dumps(GOOD)) - 1))
def test_a_body_cut_anywhere_is_refused(cut):
    with pytest.raises(WeatherError, match="The NWS"):
        read_nws(decode(json.dumps(GOOD)[:cut].encode(), "The NWS"), FETCHED)
