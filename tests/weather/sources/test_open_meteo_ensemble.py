"""The ensemble service: every member on the member axis, whatever its columns are called, and odds counted from it."""

import json
from datetime import UTC, datetime
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import responses

from dryspell.errors import WeatherError
from dryspell.weather.sources.open_meteo import decode
from dryspell.weather.sources.open_meteo_ensemble import OpenMeteoEnsemble, chance_of_rain, read_ensemble

URL = "https://ensemble-api.open-meteo.com/v1/ensemble"
START = 1_780_272_000  # 2026-06-01T00:00Z
FETCHED = datetime(2026, 6, 1, 12, tzinfo=UTC)
RAIN, CHANCE, AIR = "precipitation_amount", "probability_of_precipitation", "air_temperature"
UNITS = {
    "temperature_2m": "°C",
    "relative_humidity_2m": "%",
    "wind_speed_10m": "m/s",
    "precipitation": "mm",
    "cloud_cover": "%",
}


def ensemble(members=31, hours=240, *, suffix="", ends=None, drop=(), names=UNITS):
    """An answer of several days, in the shape of the recorded ones of an hour or two: the control bare, then members.

    Member m is m tenths of a degree warmer than the control, and has a millimetre of rain in the first m hours a day.
    """
    hourly = {"time": [START + 3600 * hour for hour in range(hours)]}
    for name in names:
        for member in range(members):
            values = [_value(name, member, hour) for hour in range(hours)]
            if ends is not None:
                values[ends:] = [None] * (hours - ends)
            if (name, member) not in drop and name not in drop:
                hourly[f"{name}{f'_member{member:02}' if member else ''}{suffix}"] = values
    units = {column: _unit(column) for column in hourly}
    return {"utc_offset_seconds": 0, "hourly_units": units, "hourly": hourly}


def _unit(column):
    return next((unit for name, unit in UNITS.items() if column.startswith(name)), "unixtime")


def _value(name, member, hour):
    values = {"temperature_2m": 10 + member / 10, "precipitation": 1.0 if hour % 24 < member else 0.0}
    return values.get(name, 50.0 if UNITS[name] == "%" else 3.0)


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def test_one_request_asks_one_model_for_all_its_members(web, make_cache, now):
    web.get(URL, json=ensemble())
    source = OpenMeteoEnsemble(54.32331, -10.13944, make_cache(), model="ncep_gefs025", forecast_days=10, sea=True)
    table = source.fetch(now)
    assert (source.name, source.attribution) == ("open-meteo-ensemble", table.attribution)
    assert (table.source, table.members, table.issued_at) == ("Open-Meteo ensemble", 31, now)
    query = parse_qs(urlsplit(web.calls[0].request.url).query)
    # A chance of rain is no variable of members, and a name that is none is answered with a refusal of the whole.
    assert "precipitation_probability" not in query.pop("hourly")[0]
    assert query == {
        "latitude": ["54.3233"],
        "longitude": ["-10.1394"],
        "models": ["ncep_gefs025"],
        "wind_speed_unit": ["ms"],
        "timeformat": ["unixtime"],
        "timezone": ["GMT"],
        "forecast_days": ["10"],
        "past_days": ["2"],
        "cell_selection": ["sea"],
    }


def test_a_key_is_sent_in_a_header_to_the_host_that_is_set(web, make_cache, now):
    web.get("https://customer-ensemble-api.open-meteo.com/v1/ensemble", json=ensemble(members=2))
    host = "https://customer-ensemble-api.open-meteo.com/"
    OpenMeteoEnsemble(54, 10, make_cache(), base_url=host, api_key="s3cret").fetch(now)
    (call,) = web.calls
    assert call.request.headers["X-Api-Key"] == "s3cret"
    assert "s3cret" not in call.request.url


@pytest.mark.parametrize("members", [3, 21, 40, 51, 64])
def test_how_many_members_there_are_is_read_from_the_columns(members):
    table = read_ensemble(ensemble(members, hours=48), FETCHED)
    assert table.members == members
    assert table.column(AIR)[:, 0] == pytest.approx([10 + member / 10 for member in range(members)])
    assert not any("members" in note for note in table.notes)


def test_over_a_hundred_members_come_in_their_order():
    table = read_ensemble(ensemble(101, hours=3), FETCHED)
    assert table.column(AIR)[:, 0] == pytest.approx(np.arange(101) / 10 + 10)


@pytest.mark.parametrize("suffix", ["_icon_seamless_eps", "_ecmwf_ifs025_ensemble", "_meteoswiss_icon_ch1_ensemble"])
def test_the_name_of_the_model_may_be_translated_and_stand_behind_every_column(suffix):
    table = read_ensemble(ensemble(5, hours=48, suffix=suffix), FETCHED)
    assert table.members == 5
    assert set(table.columns) == {"relative_humidity", "wind_speed", "cloud_area_fraction", RAIN, CHANCE, AIR}


def test_of_two_models_the_one_that_reaches_further_is_taken_with_its_own_members():
    short = ensemble(51, hours=96, suffix="_ecmwf_ifs025_ensemble", ends=60)
    long = ensemble(40, hours=96, suffix="_icon_seamless_eps")
    both = {**long, **{part: short[part] | long[part] for part in ("hourly", "hourly_units")}}
    table = read_ensemble(both, FETCHED)
    assert table.members == 40
    assert np.isfinite(table.column(AIR)).all()
    assert table.notes[0] == "of 2 models icon_seamless_eps is used: it knows the most hours"


def test_the_end_of_a_model_is_unknown_and_said():
    table = read_ensemble(ensemble(4, hours=240, ends=182), FETCHED)
    assert np.isfinite(table.column(AIR)[:, :182]).all()
    assert np.isnan(table.column(AIR)[:, 182:]).all()
    assert np.isnan(table.column(CHANCE)[:, 182:]).all()
    assert read_ensemble(ensemble(4, hours=48), FETCHED).notes[-1].startswith("the forecast reaches only until")


def test_a_variable_that_the_model_does_not_have_stays_unknown():
    # ICON-EU-EPS has no humidity (Open-Meteo's page on ensembles).
    table = read_ensemble(ensemble(4, hours=96, drop=("relative_humidity_2m",)), FETCHED)
    assert not table.knows("relative_humidity")
    assert table.knows(AIR)


def test_a_member_that_lacks_a_variable_is_unknown_there_and_takes_the_chance_with_it():
    table = read_ensemble(ensemble(4, hours=96, drop=(("precipitation", 2),)), FETCHED)
    assert np.isnan(table.column(RAIN)).all(axis=1).tolist() == [False, False, True, False]
    assert not table.knows(CHANCE)


def test_the_chance_of_rain_is_the_share_of_members_with_more_than_a_tenth_of_a_millimetre():
    # Member m has rain in the first m hours of a day: 30 of 31 in the first, 29 in the second, none in the last.
    chance = read_ensemble(ensemble(), FETCHED).column(CHANCE)
    assert chance.shape == (31, 240)
    assert (chance == chance[0]).all()
    assert chance[0, :3] == pytest.approx([100 * 30 / 31, 100 * 29 / 31, 100 * 28 / 31])
    assert chance[0, 23] == pytest.approx(100 * 7 / 31)


def test_a_tenth_of_a_millimetre_itself_is_no_rain():
    # Open-Meteo states the chance of "more than 0.1 mm" in the hour before (its documentation).
    chance = chance_of_rain(np.array([[0.1, 0.0, np.nan], [0.11, 0.0, 3.0], [0.2, 0.0, 3.0], [0.0, 0.0, 3.0]]))
    assert np.array_equal(chance, [[50.0, 0.0, np.nan]] * 4, equal_nan=True)


def test_a_single_member_is_said_to_show_no_odds():
    table = read_ensemble(ensemble(1, hours=96), FETCHED)
    assert table.notes[-1] == "the ensemble has a single member: it shows no odds"
    assert not table.knows(CHANCE)


def test_a_refusal_serves_the_last_good_answer(web, make_cache, now):
    web.get(URL, json=ensemble(3, hours=240))
    web.get(URL, status=400, json={"error": True, "reason": "No data is available for this location"})
    source = OpenMeteoEnsemble(54, 10, make_cache(min_interval_s=0.0))
    source.fetch(now)
    again = source.fetch(now)
    assert again.members == 3
    assert again.notes[0].endswith("(status 400): No data is available for this location")


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (json.dumps(ensemble(3, hours=48)).encode()[:-40], "stops in the middle"),
        (b'{"hourly": {"time": []}, "hourly_units": {"time": "unixtime"}}', "no variable that is known here"),
        (json.dumps(ensemble(3, hours=48, ends=0)).encode(), "every value is missing"),
        (b"[]", "holds 0 place"),
    ],
)
def test_an_answer_that_is_no_ensemble_is_refused_plainly(web, make_cache, now, body, message):
    web.get(URL, body=body)
    with pytest.raises(WeatherError, match=message):
        OpenMeteoEnsemble(54, 10, make_cache()).fetch(now)


# Members, columns and the first temperature or radiation of the last member, counted in the recordings.
RECORDED = {
    "ems-21members-2h-2026-10-03.json": (21, 2),
    "bavaria-radiation-40members-6h-trimmed-2026-07-11.json": (40, 6),
}


@pytest.mark.measured
@pytest.mark.parametrize("name", RECORDED)
def test_every_recorded_ensemble_is_read_with_all_its_members(samples, name):
    data = decode((samples / "open-meteo-ensemble" / name).read_bytes())
    members, hours = RECORDED[name]
    table = read_ensemble(data, FETCHED)
    assert (table.members, table.times.size) == (members, hours)
    (last,) = [c for c in data["hourly"] if c.endswith(f"_member{members - 1:02}") and not c.startswith("weather")][:1]
    read = next(values for column, values in table.columns.items() if column != CHANCE)
    assert read[-1].tolist() == data["hourly"][last]


@pytest.mark.measured
def test_the_recordings_of_one_hour_are_refused_for_being_too_short(samples):
    short = {path.name for path in (samples / "open-meteo-ensemble").glob("*.json")} - set(RECORDED)
    assert len(short) == 2
    for name in short:
        with pytest.raises(WeatherError, match="holds 1 hour"):
            read_ensemble(decode((samples / "open-meteo-ensemble" / name).read_bytes()), FETCHED)
