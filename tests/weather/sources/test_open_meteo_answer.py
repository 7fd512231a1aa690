from datetime import UTC, datetime

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.weather.sources.open_meteo import read_answer

FETCHED = datetime(2026, 6, 1, 0, 10, tzinfo=UTC)
HOURS = ["2026-06-01T00:00", "2026-06-01T01:00", "2026-06-01T02:00", "2026-06-01T03:00"]


def answer(columns=None, *, units=None, times=HOURS, offset=0, **more):
    """An answer of the documented shape; a column is given as (unit, values)."""
    columns = columns or {"temperature_2m": ("°C", [10, 11.5, 12, 13])}
    return {
        "latitude": 54.3,
        "longitude": 10.1,
        "utc_offset_seconds": offset,
        "timezone": "GMT",
        "hourly_units": {"time": "iso8601", **{name: unit for name, (unit, _) in columns.items()}, **(units or {})},
        "hourly": {"time": times, **{name: values for name, (_, values) in columns.items()}},
        **more,
    }


def read(*args, least_days=0.0, model=None, place=0, **kwargs):
    return read_answer(answer(*args, **kwargs), FETCHED, least_days=least_days, model=model, place=place)


def message_of(data, **kwargs):
    with pytest.raises(WeatherError) as caught:
        read_answer(data, FETCHED, **kwargs)
    return str(caught.value)


def utc(*stamps):
    return np.array(stamps, dtype="datetime64[s]")


def test_a_plain_answer_becomes_a_table():
    table = read()
    assert list(table.columns) == ["air_temperature"]
    assert table.columns["air_temperature"].tolist() == [[10.0, 11.5, 12.0, 13.0]]
    assert np.array_equal(table.times, utc(*HOURS))
    assert table.issued_at == FETCHED
    assert table.attribution == "Weather data by Open-Meteo.com (https://open-meteo.com), CC BY 4.0; adapted"
    assert table.notes == ()


# What each variable is, by Open-Meteo's documentation, and what a CF standard name means.
@pytest.mark.parametrize(
    ("name", "unit", "cf"),
    [
        ("temperature_2m", "°C", "air_temperature"),
        ("relative_humidity_2m", "%", "relative_humidity"),
        ("relativehumidity_2m", "%", "relative_humidity"),
        ("dew_point_2m", "°C", "dew_point_temperature"),
        ("dewpoint_2m", "°C", "dew_point_temperature"),
        ("wind_speed_10m", "m/s", "wind_speed"),
        ("windspeed_10m", "m/s", "wind_speed"),
        ("wind_gusts_10m", "m/s", "wind_speed_of_gust"),
        ("windgusts_10m", "m/s", "wind_speed_of_gust"),
        ("precipitation", "mm", "precipitation_amount"),
        ("precipitation_probability", "%", "probability_of_precipitation"),
        ("cloud_cover", "%", "cloud_area_fraction"),
        ("cloudcover", "%", "cloud_area_fraction"),
        ("shortwave_radiation", "W/m²", "surface_downwelling_shortwave_flux_in_air"),
        ("direct_radiation", "W/m²", "surface_direct_downwelling_shortwave_flux_in_air"),
        ("diffuse_radiation", "W/m2", "surface_diffuse_downwelling_shortwave_flux_in_air"),
    ],
)
def test_every_variable_lands_in_its_column(name, unit, cf):
    table = read({name: (unit, [10, 20, 30, 40])})
    assert table.columns[cf].tolist() == [[10.0, 20.0, 30.0, 40.0]]


def test_the_pressure_at_the_place_is_read_and_that_at_sea_level_is_not():
    table = read({"pressure_msl": ("hPa", [1013.0] * 4), "surface_pressure": ("hPa", [950.0] * 4)})
    assert table.columns["surface_air_pressure"].tolist() == [[950.0] * 4]


@pytest.mark.parametrize(
    ("name", "unit", "value", "expected"),
    [
        ("temperature_2m", "°F", 50, 10.0),
        ("wind_speed_10m", "km/h", 36, 10.0),
        ("wind_speed_10m", "mp/h", 10, 4.4704),  # 1 mile = 1609.344 m
        ("wind_speed_10m", "kn", 10, 5.144444),  # 1 nautical mile = 1852 m
        ("precipitation", "inch", 0.5, 12.7),
    ],
)
def test_units_are_converted(name, unit, value, expected):
    (column,) = read({name: (unit, [value] * 4)}).columns.values()
    assert column[0] == pytest.approx([expected] * 4, abs=1e-6)


@pytest.mark.parametrize("unit", ["undefined", "", "°C", "furlong", None])
def test_a_unit_that_does_not_fit_is_never_guessed(unit):
    table = read({"temperature_2m": ("°C", [10] * 4), "wind_speed_10m": (unit, [3.0] * 4)})
    assert not table.knows("wind_speed")
    assert table.notes == (f"wind_speed_10m left out: its unit {str(unit)!r} is not known for wind_speed",)


def test_an_undefined_unit_over_nothing_but_nulls_needs_no_note():
    table = read({"temperature_2m": ("°C", [10] * 4), "wind_speed_10m": ("undefined", [None] * 4)})
    assert table.unknown_of(["wind_speed"]) == ["wind_speed"]
    assert table.notes == ()


def test_nulls_stay_unknown():
    table = read({"precipitation": ("mm", [0, None, 1.5, None])})
    assert np.array_equal(table.columns["precipitation_amount"], [[0.0, np.nan, 1.5, np.nan]], equal_nan=True)


def test_nothing_but_nulls_is_said():
    table = read({"temperature_2m": ("°C", [None] * 4)})
    assert table.notes == ("every value is missing",)


def test_local_stamps_are_turned_back_by_the_one_offset_of_the_answer():
    # Open-Meteo applies the offset of the moment of the request to the whole series, across a change of the clocks:
    # 02:00 on this day is no hour of the place's own clock.
    table = read(times=[f"2026-03-29T0{hour}:00" for hour in (1, 2, 3, 4)], offset=3600)
    assert np.array_equal(table.times, utc(*(f"2026-03-29T0{hour}:00" for hour in (0, 1, 2, 3))))


def test_unix_stamps_are_utc_whatever_the_offset():
    first = 1_780_272_000  # 2026-06-01T00:00Z
    table = read(times=[first, first + 3600, first + 7200, first + 10800], units={"time": "unixtime"}, offset=7200)
    assert np.array_equal(table.times, utc(*HOURS))


def test_a_stamp_with_its_own_offset_is_believed():
    table = read(times=["2026-06-01T02:00+02:00", *HOURS[1:3], "2026-06-01T03:00Z"])
    assert np.array_equal(table.times, utc(*HOURS))


def test_unordered_times_are_sorted_with_a_note():
    order = [2, 0, 3, 1]
    table = read({"temperature_2m": ("°C", [12, 10, 13, 11])}, times=[HOURS[i] for i in order])
    assert table.columns["air_temperature"].tolist() == [[10.0, 11.0, 12.0, 13.0]]
    assert table.notes == ("the times were not in order and have been sorted",)


def test_of_duplicated_times_the_last_is_kept_with_a_note():
    table = read({"temperature_2m": ("°C", [10, 99, 11, 12])}, times=[HOURS[0], HOURS[1], HOURS[1], HOURS[2]])
    assert table.columns["air_temperature"].tolist() == [[10.0, 11.0, 12.0]]
    assert table.notes == ("1 row shared a time with a later one, which is used",)


def test_gaps_stay_gaps_and_are_noted():
    hours = [f"2026-06-01T{hour:02}:00" for hour in (0, 1, 2, 6, 7, 9)]
    table = read({"temperature_2m": ("°C", [10] * 6), "precipitation": ("mm", [0, 0, 0, 3, 0, 1])}, times=hours)
    # An empty row keeps the hour behind a gap to itself: its rain is not that of the whole gap.
    kept = [f"2026-06-01T{hour:02}:00" for hour in (0, 1, 2, 5, 6, 7, 8, 9)]
    assert np.array_equal(table.times, utc(*kept))
    rain = [[0, 0, 0, np.nan, 3, 0, np.nan, 1]]
    assert np.array_equal(table.columns["precipitation_amount"], rain, equal_nan=True)
    assert np.array_equal(np.isnan(table.columns["air_temperature"]), np.isnan(rain))
    assert table.notes == (
        "2 gaps in the times: 4 steps of 1 h missing, the first between 2026-06-01T02:00Z and 2026-06-01T06:00Z",
    )


def test_values_that_are_physically_impossible_are_left_out_with_a_note():
    # Weather services have been seen to print thousands of degrees (general FAQ of the US weather service's API).
    table = read({"temperature_2m": ("°C", [5000, -273, None, 10]), "precipitation": ("mm", [-1, 0, 0, 0])})
    assert np.array_equal(table.columns["air_temperature"], [[np.nan, np.nan, np.nan, 10]], equal_nan=True)
    assert table.notes == (
        "2 values of air_temperature left out: not within -90 to 60 degC",
        "1 value of precipitation_amount left out: not within 0 to 500 mm",
    )


def test_a_short_horizon_is_noted_with_what_ends_first():
    columns = {
        "temperature_2m": ("°C", [10, 11, 12, 13]),
        "relative_humidity_2m": ("%", [80, 81, 82, None]),
        "dew_point_2m": ("°C", [7, 8, 9, None]),
        "precipitation": ("mm", [0, 0, None, None]),
    }
    table = read(columns, least_days=3)
    assert table.notes == (
        "the forecast reaches only until 2026-06-01T01:00Z, 50 min ahead: precipitation_amount ends there",
    )
    del columns["precipitation"]
    assert "relative_humidity or dew_point_temperature ends there" in read(columns, least_days=3).notes[0]


def test_humidity_in_either_of_its_forms_is_enough_for_the_horizon():
    columns = {
        "temperature_2m": ("°C", [10, 11, 12, 13]),
        "relative_humidity_2m": ("%", [80, None, None, None]),
        "dew_point_2m": ("°C", [7, 8, 9, 9]),
    }
    assert "until 2026-06-01T03:00Z" in read(columns, least_days=3).notes[0]


def test_a_forecast_that_is_past_is_noted():
    (note,) = read_answer(answer(), datetime(2026, 6, 2, tzinfo=UTC)).notes
    assert (
        note == "the forecast reaches only until 2026-06-01T03:00Z, which is past already: air_temperature ends there"
    )


def test_a_long_enough_horizon_needs_no_note():
    hours = [f"2026-06-{day:02}T{hour:02}:00" for day in range(1, 5) for hour in range(24)]
    assert read({"temperature_2m": ("°C", [10] * 96)}, times=hours, least_days=3).notes == ()


MODELS = {
    "temperature_2m_icon_d2": ("°C", [1, 2, None, None]),
    "precipitation_icon_d2": ("mm", [0, 0, None, None]),
    "temperature_2m_gfs_global": ("°C", [5, 6, 7, 8]),
    "precipitation_gfs_global": ("mm", [0, 0, 0, None]),
    "temperature_2m_gem_regional": ("undefined", [None] * 4),
    "precipitation_gem_regional": ("undefined", [None] * 4),
    "temperature_2m_long": ("°C", [9, 9, 9, 9]),  # knows the temperature to the end, but no rain at all
    "precipitation_long": ("mm", [None] * 4),
}


def test_of_several_models_the_one_that_knows_what_is_needed_longest_is_used_and_named():
    table = read(MODELS)
    assert table.columns["air_temperature"].tolist() == [[5.0, 6.0, 7.0, 8.0]]
    assert table.members == 1
    assert table.notes == ("of 4 models gfs_global is used: it knows the most hours",)


def test_one_model_can_be_asked_for():
    table = read(MODELS, model="icon_d2")
    assert np.array_equal(table.columns["air_temperature"], [[1, 2, np.nan, np.nan]], equal_nan=True)
    assert table.notes == ()


def test_a_model_that_is_not_there_is_an_error_that_lists_those_that_are():
    assert message_of(answer(MODELS), model="icon_d3") == (
        "Open-Meteo's answer has no model 'icon_d3'; it has gem_regional, gfs_global, icon_d2, long"
    )


def test_the_model_asked_for_may_come_without_its_suffix():
    # Observed: the suffix is dropped when one model alone covers the place.
    assert read(model="icon_d2").knows("air_temperature")


def test_longer_names_of_variables_are_not_taken_for_models():
    table = read(
        {
            "shortwave_radiation": ("W/m²", [100] * 4),
            "shortwave_radiation_instant": ("W/m²", [1] * 4),
            "shortwave_radiation_clear_sky": ("W/m²", [2] * 4),
            "cloud_cover_low": ("%", [3] * 4),
            "cloud_cover_high_icon_d2": ("%", [3] * 4),
            "cloud_cover_850hPa": ("%", [3] * 4),
            "temperature_2m_spread": ("K", [4] * 4),
            "temperature_2m_previous_day1": ("°C", [4] * 4),
            "wind_speed_100m": ("m/s", [5] * 4),
        }
    )
    assert {name: column.tolist() for name, column in table.columns.items()} == {
        "surface_downwelling_shortwave_flux_in_air": [[100.0] * 4]
    }
    assert table.notes == ()


def test_the_members_of_an_ensemble_become_the_members_of_the_table():
    table = read(
        {
            "temperature_2m": ("°C", [10] * 4),
            "temperature_2m_member02": ("°C", [12] * 4),
            "temperature_2m_member01": ("°C", [11] * 4),
            "wind_speed_10m": ("m/s", [3] * 4),
            "wind_speed_10m_member02": ("m/s", [5] * 4),
            "precipitation_probability": ("%", [40] * 4),
            "cloud_cover_member01": ("%", [70] * 4),
        }
    )
    assert table.members == 3
    assert np.array_equal(table.columns["cloud_area_fraction"][:, 0], [np.nan, 70.0, np.nan], equal_nan=True)
    assert table.columns["air_temperature"][:, 0].tolist() == [10.0, 11.0, 12.0]
    assert np.array_equal(table.columns["wind_speed"][:, 0], [3.0, np.nan, 5.0], equal_nan=True)
    assert table.columns["probability_of_precipitation"][:, 0].tolist() == [40.0] * 3


def test_the_members_of_several_models_are_kept_apart():
    table = read(
        {
            "temperature_2m_icon_seamless_eps": ("°C", [10] * 4),
            "temperature_2m_member01_icon_seamless_eps": ("°C", [11] * 4),
            "temperature_2m_ncep_gefs05": ("°C", [20, None, None, None]),
            "temperature_2m_member01_ncep_gefs05": ("°C", [21, None, None, None]),
        }
    )
    assert table.columns["air_temperature"][:, 0].tolist() == [10.0, 11.0]


def test_one_of_several_places_is_read():
    places = [answer({"temperature_2m": ("°C", [10 * n] * 4)}, location_id=n) for n in range(3)]
    assert read_answer(places, FETCHED, place=2).columns["air_temperature"][0, 0] == 20.0
    assert message_of(places, place=3) == "Open-Meteo's answer holds 3 place(s), so there is no place 3"


def test_an_error_body_is_said_with_its_reason():
    assert message_of({"reason": "No data is available for this location", "error": True}) == (
        "Open-Meteo refused the request: No data is available for this location"
    )


def test_columns_that_are_not_of_one_length_are_an_error_that_names_the_column():
    assert message_of(answer({"temperature_2m": ("°C", [1, 2, 3])})) == (
        "Open-Meteo's answer does not fit together: temperature_2m has 3 values for 4 times"
    )


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (None, "Open-Meteo's answer is not of the documented shape: it is no JSON object"),
        ([], "Open-Meteo's answer holds 0 place(s), so there is no place 0"),
        ({}, "Open-Meteo's answer has no hourly forecast in it"),
        (answer() | {"hourly": None}, "Open-Meteo's answer has no hourly forecast in it"),
        (answer() | {"hourly_units": None}, "Open-Meteo's answer has no hourly forecast in it"),
        (answer(times="soon"), "Open-Meteo's answer has no list of times"),
        (
            answer(offset=None),
            "Open-Meteo's answer has local times without a usable utc_offset_seconds",
        ),
        (answer(offset=10**9), "Open-Meteo's answer has local times without a usable utc_offset_seconds"),
        (answer(times=[*HOURS[:3], "noon"]), "Open-Meteo's answer has a time that is none: 'noon'"),
        (answer(times=[*HOURS[:3], None]), "Open-Meteo's answer has a time that is none: None"),
        (
            answer(times=[1_780_272_000_000] * 4, units={"time": "unixtime"}),
            "Open-Meteo's answer has a time that is none: 1780272000000",
        ),
        (
            answer({"weather_code": ("wmo code", [0] * 4)}),
            "Open-Meteo's answer holds no variable that is known here",
        ),
        (
            answer({"temperature_2m": ("°C", 10)}),
            "Open-Meteo's answer is not of the documented shape: temperature_2m is no list",
        ),
        (
            answer({"temperature_2m": ("°C", [10, "11", 12, 13])}),
            "Open-Meteo's answer has a value that is no number: temperature_2m holds '11' at 1",
        ),
        (
            answer({"temperature_2m": ("°C", [10, 11, True, 13])}),
            "Open-Meteo's answer has a value that is no number: temperature_2m holds True at 2",
        ),
        (
            answer({"temperature_2m": ("°C", [10, 11, 10**400, 13])}),
            "Open-Meteo's answer has a number in temperature_2m that is too large to read",
        ),
        (
            answer({"temperature_2m": ("°C", [10])}, times=HOURS[:1]),
            "Open-Meteo's answer holds 1 hour(s); two at the least are needed",
        ),
        (
            answer({"temperature_2m": ("°C", [])}, times=[]),
            "Open-Meteo's answer holds 0 hour(s); two at the least are needed",
        ),
        (
            answer(times=[HOURS[0]] * 4),
            "Open-Meteo's answer holds 1 hour(s); two at the least are needed",
        ),
    ],
)
def test_an_answer_of_another_shape_is_said_plainly(data, message):
    assert message_of(data) == message
