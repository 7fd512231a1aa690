"""The parser on recorded answers of the service; what is expected of each was counted in the recordings themselves."""

import json
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from dryspell.errors import WeatherError
from dryspell.weather.sources.open_meteo import decode, read_answer, read_refusal

pytestmark = pytest.mark.measured

FETCHED = datetime(2026, 2, 6, 12, 0, tzinfo=UTC)


@pytest.fixture
def load(samples):
    return lambda name: decode((samples / name).read_bytes())


@pytest.fixture
def read(load):
    return lambda name, **kwargs: read_answer(load(f"open-meteo-forecast/{name}"), FETCHED, **kwargs)


def known(table, name):
    return int(np.isfinite(table.column(name)).sum())


def utc(stamp):
    return np.datetime64(stamp, "s")


# Hours, first and last instant in UTC, and columns, as the recordings' own list gives them.
@pytest.mark.parametrize(
    ("name", "hours", "first", "last", "columns"),
    [
        ("multimodel-12models-adriatic-2025-11-24.json", 168, "2025-11-24T00:00", "2025-11-30T23:00", 9),
        ("newyork-14d-gmt-current-hourly-daily-2025-12-28.json", 336, "2025-12-28T00:00", "2026-01-10T23:00", 7),
        ("newyork-localtime-iso-2026-02-06.json", 168, "2026-02-06T05:00", "2026-02-13T04:00", 3),
        ("munich-legacy-names-unixtime-2026-02-06.json", 168, "2026-02-06T23:00", "2026-02-13T22:00", 3),
        ("bucharest-metric-2026-01-15.json", 192, "2026-01-14T22:00", "2026-01-22T21:00", 4),
        ("bucharest-imperial-2026-01-15.json", 192, "2026-01-14T22:00", "2026-01-22T21:00", 4),
        ("uk-12-locations-list-ecmwf-2024-01-26.json", 240, "2024-01-26T00:00", "2024-02-04T23:00", 1),
        ("adelaide-halfhour-offset-2026-07-16.json", 72, "2026-07-15T14:30", "2026-07-18T13:30", 4),
        ("saopaulo-localtime-2023-10-25.json", 168, "2023-10-25T03:00", "2023-11-01T02:00", 1),
        ("pyrenees-2models-short-horizon-2026-07-14.json", 72, "2026-07-13T22:00", "2026-07-16T21:00", 2),
        ("enschede-day16-all-null-tail-2026-10-18.json", 4, "2026-10-18T20:00", "2026-10-18T23:00", 1),
        ("enschede-satellite-radiation-3h-2026-09-30.json", 3, "2026-09-30T10:00", "2026-09-30T12:00", 1),
    ],
)
def test_every_recorded_forecast_is_read_over_its_whole_span(read, name, hours, first, last, columns):
    table = read(name)
    assert (table.times.size, table.times[0], table.times[-1]) == (hours, utc(first), utc(last))
    assert len(table.columns) == columns
    assert table.members == 1
    assert not any("gap" in note or "order" in note or "left out" in note for note in table.notes)


def test_no_recorded_forecast_is_missing_from_the_list_above(samples):
    assert len(list((samples / "open-meteo-forecast").glob("*.json"))) == 12


def test_the_values_are_those_of_the_recording(load, read):
    name = "newyork-14d-gmt-current-hourly-daily-2025-12-28.json"
    hourly = load(f"open-meteo-forecast/{name}")["hourly"]
    table = read(name)
    assert table.columns["air_temperature"][0].tolist() == hourly["temperature_2m"]
    assert table.columns["precipitation_amount"][0].tolist() == hourly["precipitation"]
    assert table.columns["wind_speed"][0] == pytest.approx([speed / 3.6 for speed in hourly["wind_speed_10m"]])


def test_imperial_and_metric_recordings_agree_within_their_rounding(read):
    metric, imperial = read("bucharest-metric-2026-01-15.json"), read("bucharest-imperial-2026-01-15.json")
    assert np.array_equal(metric.times, imperial.times)
    # Each is rounded to a tenth of its unit: half of 0.1 °C and of 0.1 °F; half of 0.1 km/h and of 0.1 mile an hour.
    bounds = {
        "air_temperature": 0.05 + 0.05 * 5 / 9,
        "wind_speed": 0.05 / 3.6 + 0.05 * 0.44704,
        "wind_speed_of_gust": 0.05 / 3.6 + 0.05 * 0.44704,
        "relative_humidity": 0.0,
    }
    assert set(bounds) == set(metric.columns) == set(imperial.columns)
    for name, bound in bounds.items():
        assert np.abs(metric.columns[name] - imperial.columns[name]).max() <= bound + 1e-9, name


def test_a_half_hour_offset_puts_local_full_hours_on_utc_half_hours(read):
    table = read("adelaide-halfhour-offset-2026-07-16.json")
    seconds = table.times.astype(np.int64)
    assert set((seconds % 3600).tolist()) == {1800}
    assert set(np.diff(seconds).tolist()) == {3600}


def test_unix_stamps_agree_with_the_local_midnight_they_begin_at(load, read):
    name = "munich-legacy-names-unixtime-2026-02-06.json"
    data = load(f"open-meteo-forecast/{name}")
    table = read(name)
    assert table.times.astype(np.int64).tolist() == data["hourly"]["time"]
    assert table.times[0] + np.timedelta64(data["utc_offset_seconds"], "s") == utc("2026-02-07T00:00")
    assert table.columns["relative_humidity"][0].tolist() == data["hourly"]["relativehumidity_2m"]


# Good hours of temperature, rain and cloud, counted in the recording.
@pytest.mark.parametrize(
    ("model", "temperature", "rain", "cloud"),
    [
        ("ecmwf_ifs025", 168, 168, 168),
        ("icon_d2", 55, 55, 55),
        ("italia_meteo_arpae_icon_2i", 73, 73, 73),
        ("dmi_harmonie_arome_europe", 63, 63, 63),
        ("knmi_harmonie_arome_europe", 66, 66, 66),
        ("meteofrance_arpege_europe", 103, 103, 103),
        ("cma_grapes_global", 123, 121, 120),
        ("gem_regional", 0, 0, 0),
        ("bom_access_global", 0, 0, 0),
    ],
)
def test_each_model_of_an_answer_ends_where_it_ends(read, model, temperature, rain, cloud):
    table = read("multimodel-12models-adriatic-2025-11-24.json", model=model)
    names = ("air_temperature", "precipitation_amount", "cloud_area_fraction")
    assert tuple(known(table, name) for name in names) == (temperature, rain, cloud)


def test_of_twelve_models_one_that_reaches_to_the_end_is_used(read):
    table = read("multimodel-12models-adriatic-2025-11-24.json")
    assert [known(table, name) for name in table.columns] == [168] * 9
    assert table.notes[0] == "of 12 models ecmwf_ifs025 is used: it knows the most hours"


def test_a_model_that_covers_another_place_is_all_unknown_and_said_so(read):
    table = read("multimodel-12models-adriatic-2025-11-24.json", model="gem_regional")
    assert table.notes == ("every value is missing",)


def test_a_regional_model_has_a_short_horizon(load):
    data = load("open-meteo-forecast/multimodel-12models-adriatic-2025-11-24.json")
    table = read_answer(data, datetime(2025, 11, 24, 6, 0, tzinfo=UTC), model="cma_grapes_global", least_days=7)
    assert table.notes == (
        "the forecast reaches only until 2025-11-29T00:00Z, 4 days 18 h ahead: precipitation_amount ends there",
    )


def test_scattered_nulls_of_cloud_stay_unknown_where_they_are(load, read):
    name = "newyork-14d-gmt-current-hourly-daily-2025-12-28.json"
    written = load(f"open-meteo-forecast/{name}")["hourly"]["cloud_cover"]
    cloud = read(name).columns["cloud_area_fraction"][0]
    assert np.isnan(cloud).tolist() == [value is None for value in written]
    assert int(np.isnan(cloud).sum()) == 24


def test_a_null_tail_ends_the_horizon_and_not_the_table(read):
    table = read("pyrenees-2models-short-horizon-2026-07-14.json")
    assert table.times.size == 72
    assert known(table, "air_temperature") == 66
    assert np.isnan(table.columns["air_temperature"][0, -6:]).all()


def test_the_end_of_day_sixteen_is_all_unknown_and_said_so(read):
    table = read("enschede-day16-all-null-tail-2026-10-18.json")
    assert not table.knows("air_temperature")
    assert table.notes == ("every value is missing",)


def test_each_of_twelve_places_is_read(load, read):
    name = "uk-12-locations-list-ecmwf-2024-01-26.json"
    places = load(f"open-meteo-forecast/{name}")
    for place in range(12):
        values = read(name, place=place).columns["air_temperature"][0].tolist()
        assert values == places[place]["hourly"]["temperature_2m"]


def test_only_the_radiation_at_the_ground_is_read_of_a_satellite_answer(load, read):
    name = "enschede-satellite-radiation-3h-2026-09-30.json"
    written = load(f"open-meteo-forecast/{name}")["hourly"]["shortwave_radiation"]
    assert read(name).columns["surface_downwelling_shortwave_flux_in_air"][0].tolist() == written


@pytest.mark.parametrize(
    ("name", "members"),
    [("ems-21members-2h-2026-10-03.json", 21), ("bavaria-radiation-40members-6h-trimmed-2026-07-11.json", 40)],
)
def test_a_recorded_ensemble_has_its_members_control_first(load, name, members):
    data = load(f"open-meteo-ensemble/{name}")
    table = read_answer(data, FETCHED)
    assert table.members == members
    hourly = data["hourly"]
    first = next(column for column in hourly if column != "time")
    values = next(iter(table.columns.values()))
    assert values[0].tolist() == hourly[first]
    assert values[7].tolist() == hourly[f"{first}_member07"]


def test_the_members_of_two_recorded_ensembles_are_kept_apart(load):
    data = load("open-meteo-ensemble/ems-2models-91columns-1h-2026-10-03.json")
    # The recording holds one hour; a table needs two.
    hourly = data["hourly"]
    hourly["time"] = [*hourly["time"], "2026-10-03T19:00"]
    for column in hourly:
        if column != "time":
            hourly[column] = hourly[column] * 2
    models = {column.split("temperature_2m_")[1] for column in hourly if column != "time" and "member" not in column}
    sizes = {model: read_answer(data, FETCHED, model=model).members for model in models}
    assert sorted(sizes.values()) == [40, 51]


def test_a_recorded_ensemble_of_one_hour_is_said_to_be_too_short(load):
    with pytest.raises(WeatherError, match="holds 1 hour"):
        read_answer(load("open-meteo-ensemble/amsterdam-31members-1h-2026-07-11.json"), FETCHED)


@pytest.mark.parametrize(
    ("name", "status", "reason", "wait_s"),
    [
        (
            "open-meteo-400-bad-variable.json",
            400,
            "Cannot initialize WeatherVariable from invalid String value tempeture_2m for key hourly",
            None,
        ),
        (
            "open-meteo-400-reason-first.json",
            400,
            "Cannot initialize IconSurfaceVariable from invalid String value winddiren_10m for key hourly",
            None,
        ),
        (
            "open-meteo-429-minutely.json",
            429,
            "Minutely API request limit exceeded. Please try again in one minute.",
            60.0,
        ),
        (
            "open-meteo-429-hourly.json",
            429,
            "Hourly API request limit exceeded. Please try again in the next hour.",
            3720.0,
        ),
        (
            "open-meteo-429-daily.json",
            429,
            "Daily API request limit exceeded. Please try again tomorrow.",
            timedelta(hours=12, minutes=2).total_seconds(),
        ),
        ("open-meteo-429-concurrent.json", 429, "Too many concurrent requests", 5.0),
        ("open-meteo-502-nginx.html", 502, "", None),
    ],
)
def test_every_recorded_error_body_gives_its_reason_and_its_wait(samples, name, status, reason, wait_s):
    refusal = read_refusal(status, (samples / "error-bodies" / name).read_bytes(), FETCHED)
    assert (refusal.reason, refusal.wait_s) == (reason, wait_s)


@pytest.mark.parametrize("part", [0.1, 0.5, 0.9, 0.999])
def test_a_recording_cut_short_is_said_to_stop_in_the_middle(samples, part):
    body = (samples / "open-meteo-forecast" / "saopaulo-localtime-2023-10-25.json").read_bytes()
    with pytest.raises(WeatherError, match="stops in the middle"):
        decode(body[: int(len(body.rstrip()) * part)])


@pytest.mark.parametrize("folder", ["met-norway-locationforecast", "nws-gridpoints"])
def test_answers_of_other_services_are_refused_plainly(samples, folder):
    for path in sorted((samples / folder).glob("*.json")):
        with pytest.raises(WeatherError, match="has no hourly forecast in it"):
            read_answer(json.loads(path.read_bytes()), FETCHED)
