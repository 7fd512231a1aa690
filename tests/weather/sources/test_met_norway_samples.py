"""The parser on recorded answers of MET Norway; what is expected of each was counted in the recordings themselves."""

import json
from datetime import UTC, datetime

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.weather.sources.met_norway import read_met_norway, read_with_percentiles
from dryspell.weather.sources.open_meteo_json import decode
from dryspell.weather.waits import fresh_for_s

pytestmark = pytest.mark.measured

FOLDER = "met-norway-locationforecast"


@pytest.fixture
def load(samples):
    def load(name):
        data = decode((samples / FOLDER / name).read_bytes(), "MET Norway")
        return data.get("data", data)

    return load


@pytest.fixture
def read(load):
    def read(name, **kwargs):
        data = load(name)
        first = datetime.fromisoformat(data["properties"]["timeseries"][0]["time"])
        return read_met_norway(data, first, **kwargs)

    return read


# First and last entry, and the first of the six-hour part, as the recordings' own list tells them.
SAMPLES = [
    ("london-complete-with-headers-2020-07-20.json", "2020-07-20T11", "2020-07-22T18", "2020-07-29T06"),
    ("newyork-compact-with-headers-2020-07-20.json", "2020-07-20T11", "2020-07-22T18", "2020-07-29T06"),
    ("nordic-inland-compact-2023-02-09.json", "2023-02-09T12", "2023-02-11T18", "2023-02-19T06"),
    ("oslo-compact-2026-02-06.json", "2026-02-06T21", "2026-02-09T00", "2026-02-16T18"),
]


@pytest.mark.parametrize(("name", "first", "switch", "last"), SAMPLES)
def test_every_recorded_forecast_is_read_in_hours_over_its_whole_span(read, name, first, switch, last):
    table = read(name)
    hours = np.arange(np.datetime64(first, "s"), np.datetime64(last, "s") + 1, 3600)
    assert np.array_equal(table.times, hours)
    assert np.array_equal(table.coarse, table.times > np.datetime64(switch, "s"))
    assert table.notes == ()
    for variable in ("air_temperature", "relative_humidity", "wind_speed", "cloud_area_fraction"):
        assert np.isfinite(table.column(variable)).all()
    assert np.isnan(table.column("precipitation_amount")[0]).tolist() == [True] + [False] * (hours.size - 1)
    assert table.knows("surface_air_pressure")
    for variable in ("wind_speed_of_gust", "probability_of_precipitation", "surface_downwelling_shortwave_flux_in_air"):
        assert not table.knows(variable)


def test_no_recorded_forecast_is_missing_from_the_list_above(samples):
    assert sorted(path.name for path in (samples / FOLDER).glob("*.json")) == sorted(sample[0] for sample in SAMPLES)


@pytest.mark.parametrize("name", [sample[0] for sample in SAMPLES])
def test_no_rain_is_counted_twice_or_lost(load, read, name):
    # One-hour amounts where there are any, six-hour amounts at the entries without.
    expected = 0.0
    for entry in load(name)["properties"]["timeseries"]:
        blocks = [entry["data"].get(span) for span in ("next_1_hours", "next_6_hours")]
        expected += next((block["details"]["precipitation_amount"] for block in blocks if block), 0.0)
    assert np.nansum(read(name).column("precipitation_amount")) == pytest.approx(expected)


@pytest.mark.parametrize("name", [sample[0] for sample in SAMPLES])
def test_at_the_stamps_of_the_recording_the_values_are_its_own(load, read, name):
    table, series = read(name), load(name)["properties"]["timeseries"]
    rows = np.searchsorted(table.times, np.array([entry["time"][:-1] for entry in series], dtype="datetime64[s]"))
    for variable in ("air_temperature", "relative_humidity", "wind_speed", "cloud_area_fraction"):
        given = [entry["data"]["instant"]["details"][variable] for entry in series]
        assert table.column(variable)[0, rows] == pytest.approx(given)


def test_the_nights_of_the_six_hour_part_go_down_to_their_stated_minimum(read):
    table = read("london-complete-with-headers-2020-07-20.json")
    # 2020-07-23: 14.8 degC at 00Z and 13.5 at 06Z, the lowest between them 11.8.
    night = (table.times >= np.datetime64("2020-07-23T00", "s")) & (table.times <= np.datetime64("2020-07-23T06", "s"))
    assert table.column("air_temperature")[0, night].min() == 11.8
    assert table.column("air_temperature")[0, night][[0, -1]].tolist() == [14.8, 13.5]


def test_the_headers_of_a_recording_give_half_an_hour_to_its_expiry(samples):
    wrapped = json.loads((samples / FOLDER / SAMPLES[0][0]).read_bytes())
    headers = wrapped["headers"]
    # 11:44:31 to 12:16:23.
    assert fresh_for_s(headers["Expires"], headers["Date"], datetime(2020, 7, 20, 11, 44, tzinfo=UTC)) == 1912.0


def test_a_forecast_is_as_old_as_it_says_and_not_as_its_fetch(read):
    table = read("london-complete-with-headers-2020-07-20.json")
    assert table.issued_at == datetime(2020, 7, 20, 1, 30, 57, tzinfo=UTC)


def test_no_recording_holds_percentiles(load):
    for name, *_ in SAMPLES:
        assert read_with_percentiles(load(name), datetime(2026, 2, 6, 21, tzinfo=UTC))[1] is None


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9, 0.999])
def test_a_recording_cut_short_is_said_to_stop_in_the_middle(samples, part):
    body = (samples / FOLDER / "oslo-compact-2026-02-06.json").read_bytes()
    with pytest.raises(WeatherError, match="MET Norway's answer stops in the middle"):
        decode(body[: int(len(body.rstrip()) * part)], "MET Norway")


@pytest.mark.parametrize("folder", ["open-meteo-forecast", "open-meteo-ensemble", "nws-gridpoints", "error-bodies"])
def test_answers_of_other_services_and_error_bodies_are_refused_plainly(samples, folder):
    for path in sorted((samples / folder).glob("*.*")):
        with pytest.raises(WeatherError, match="MET Norway"):
            read_met_norway(decode(path.read_bytes(), "MET Norway"), datetime(2026, 2, 6, 21, tzinfo=UTC))
