"""The parser on recorded answers of the NWS; what is expected of each was counted in the recordings themselves."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.weather.sources.nws import read_nws, read_points, read_refusal
from dryspell.weather.sources.open_meteo_json import decode

pytestmark = pytest.mark.measured

FOLDER = "nws-gridpoints"


@pytest.fixture
def load(samples):
    return lambda name: decode((samples / FOLDER / name).read_bytes(), "The NWS")


@pytest.fixture
def read(load):
    def read(name, **kwargs):
        data = load(name)
        made_at = datetime.fromisoformat(data["properties"]["updateTime"])
        return read_nws(data, made_at + timedelta(minutes=10), **kwargs)

    return read


def last_known(table, name):
    return table.times[np.flatnonzero(np.isfinite(table.column(name)[0]))[-1]]


# First row; the end of temperature and of rain (the end of the last interval), and of the table; degC and mm as given:
# the temperature of the first hour, and the sum of all rain.
GRIDS = [
    ("bmx-59-84-2024-02-20", "2024-02-20T09", "2024-02-28T01", "2024-02-28T12", "2024-02-28T12", 20 / 9),
    ("lzk-83-73-2024-02-20", "2024-02-20T11", "2024-02-28T13", "2024-02-25T00", "2024-02-28T13", 20 / 9),
    ("tae-58-65-2022-02-04", "2022-02-03T21", "2022-02-11T11", "2022-02-10T12", "2022-02-11T12", 205 / 9),
    ("tbw-93-38-2022-02-03", "2022-02-03T13", "2022-02-11T01", "2022-02-11T06", "2022-02-11T06", 160 / 9),
]


@pytest.mark.parametrize(("name", "first", "air_ends", "rain_ends", "ends", "air_c"), GRIDS)
def test_every_recorded_grid_is_read_in_hours_with_the_end_of_each_layer(
    read, name, first, air_ends, rain_ends, ends, air_c
):
    table = read(f"gridpoint-{name}.json")
    hours = np.arange(np.datetime64(first, "s"), np.datetime64(ends, "s") + 1, 3600)
    assert np.array_equal(table.times, hours)
    # The last instant of a layer is an hour before its end, the last hour's rain stands at its end.
    assert last_known(table, "air_temperature") == np.datetime64(air_ends, "s") - 3600
    assert last_known(table, "precipitation_amount") == np.datetime64(rain_ends, "s")
    assert table.column("air_temperature")[0, 0] == pytest.approx(air_c)
    for variable in ("relative_humidity", "dew_point_temperature", "wind_speed", "wind_speed_of_gust"):
        assert table.knows(variable)
    for variable in ("surface_air_pressure", "surface_downwelling_shortwave_flux_in_air"):
        assert not table.knows(variable)


def test_no_recorded_grid_is_missing_from_the_list_above(samples):
    names = sorted(path.name for path in (samples / FOLDER).glob("gridpoint-*.json"))
    assert names == sorted(f"gridpoint-{grid[0]}.json" for grid in GRIDS)


@pytest.mark.parametrize("name", [grid[0] for grid in GRIDS])
def test_no_rain_is_counted_twice_or_lost(load, read, name):
    given = load(f"gridpoint-{name}.json")["properties"]["quantitativePrecipitation"]["values"]
    total = np.nansum(read(f"gridpoint-{name}.json").column("precipitation_amount"))
    assert total == pytest.approx(sum(entry["value"] for entry in given))


def test_rain_that_ends_days_before_the_temperature_is_noted(read):
    table = read("gridpoint-lzk-83-73-2024-02-20.json")
    assert any("until 2024-02-25T00:00Z" in note and "precipitation_amount" in note for note in table.notes)
    after = table.times > np.datetime64("2024-02-25T00", "s")
    assert np.isnan(table.column("precipitation_amount")[0, after]).all()
    assert np.isfinite(table.column("probability_of_precipitation")[0, after]).all()


def test_wind_that_was_merged_over_twenty_hours_is_taken_apart(load, read):
    wind = load("gridpoint-tbw-93-38-2022-02-03.json")["properties"]["windSpeed"]["values"]
    (merged,) = [entry for entry in wind if entry["validTime"].endswith("/PT20H")]
    table = read("gridpoint-tbw-93-38-2022-02-03.json")
    first = np.datetime64(datetime.fromisoformat(merged["validTime"].split("/")[0]).replace(tzinfo=None), "s")
    row = int(np.searchsorted(table.times, first))
    assert table.column("wind_speed")[0, row : row + 20] == pytest.approx(merged["value"] / 3.6)


def test_a_recording_fetched_half_a_day_late_says_how_old_it_is(load):
    data = load("gridpoint-tae-58-65-2022-02-04.json")
    table = read_nws(data, datetime(2022, 2, 4, 16, 0, tzinfo=UTC))
    assert table.issued_at == datetime(2022, 2, 4, 3, 15, 41, tzinfo=UTC)
    assert "the forecast was made 12 h 44 min before it was fetched" in table.notes


@pytest.mark.parametrize(
    ("name", "path"),
    [
        ("points-30--85-tae.json", "/gridpoints/TAE/58,65"),
        ("points-washington-lwx-2026-02-06.json", "/gridpoints/LWX/97,71"),
    ],
)
def test_every_recorded_place_tells_its_grid(load, name, path):
    assert read_points(load(name)) == path


def test_the_hourly_product_and_the_places_are_no_grid_forecast(load):
    for name in ("hourly-periods-washington-2026-02-06.json", "points-30--85-tae.json"):
        with pytest.raises(WeatherError, match="The NWS's answer"):
            read_nws(load(name), datetime(2026, 2, 6, 22, tzinfo=UTC))


@pytest.mark.parametrize(
    ("name", "status", "reason"),
    [
        (
            "nws-404-invalid-point.json",
            404,
            "the place is outside the US, which is all that this service has forecasts for",
        ),
        (
            "nws-404-marine-not-supported.json",
            404,
            "it has no forecast for a place on the water; try one a little inland",
        ),
        (
            "nws-400-invalid-parameter.json",
            400,
            "Parameter \"point\" is invalid: '39.7456,-20000' does not appear to be a valid coordinate",
        ),
        (
            "nws-503-forecast-grid-expired.json",
            503,
            "The requested forecast grid was issued 2020-02-11T11:36:27+00:00 and has expired.",
        ),
        (
            "nws-503-unavailable.json",
            503,
            "The resource you requested is currently unavailable. Please try again later.",
        ),
    ],
)
def test_every_recorded_error_body_gives_its_reason(samples, name, status, reason):
    body = (samples / "error-bodies" / name).read_bytes()
    assert read_refusal(status, body, datetime(2026, 2, 6, tzinfo=UTC)).reason == reason


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9, 0.999])
def test_a_recording_cut_short_is_said_to_stop_in_the_middle(samples, part):
    body = (samples / FOLDER / "gridpoint-tae-58-65-2022-02-04.json").read_bytes()
    with pytest.raises(WeatherError, match="The NWS's answer stops in the middle"):
        decode(body[: int(len(body.rstrip()) * part)], "The NWS")


@pytest.mark.parametrize(
    "folder", ["open-meteo-forecast", "open-meteo-ensemble", "met-norway-locationforecast", "error-bodies"]
)
def test_answers_of_other_services_and_error_bodies_are_refused_plainly(samples, folder):
    for path in sorted((samples / folder).glob("*.*")):
        with pytest.raises(WeatherError, match="The NWS"):
            read_nws(decode(path.read_bytes(), "The NWS"), datetime(2026, 2, 6, tzinfo=UTC))
