import json
from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
import responses

from dryspell.errors import WeatherError
from dryspell.weather.sources.open_meteo import OpenMeteo, read_refusal

URL = "https://api.open-meteo.com/v1/forecast"
START = 1_780_272_000  # 2026-06-01T00:00Z


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def source(make_cache):
    return OpenMeteo(54.32331, -10.13944, make_cache())


def forecast(first=10.0, days=16, **columns):
    hours = days * 24
    written = {
        "temperature_2m": ("°C", [first] * hours),
        "relative_humidity_2m": ("%", [80] * hours),
        "precipitation": ("mm", [0.0] * hours),
        "wind_speed_10m": ("m/s", [3.0] * hours),
        **columns,
    }
    return {
        "utc_offset_seconds": 0,
        "hourly_units": {"time": "unixtime", **{name: unit for name, (unit, _) in written.items()}},
        "hourly": {
            "time": [START + 3600 * hour for hour in range(hours)],
            **{name: values for name, (_, values) in written.items()},
        },
    }


def test_it_names_itself_and_whom_to_credit(source):
    assert source.name == "open-meteo"
    assert "Open-Meteo.com" in source.attribution
    assert "CC BY 4.0" in source.attribution


def test_one_request_asks_for_everything_in_utc_and_metres_a_second(web, source, now):
    web.get(URL, json=forecast())
    source.fetch(now)
    query = parse_qs(urlsplit(web.calls[0].request.url).query)
    assert query.pop("hourly")[0].split(",") == [
        "temperature_2m",
        "relative_humidity_2m",
        "dew_point_2m",
        "wind_speed_10m",
        "wind_gusts_10m",
        "precipitation",
        "precipitation_probability",
        "shortwave_radiation",
        "direct_radiation",
        "diffuse_radiation",
        "cloud_cover",
        "surface_pressure",
    ]
    assert query == {
        "latitude": ["54.3233"],
        "longitude": ["-10.1394"],
        "wind_speed_unit": ["ms"],
        "timeformat": ["unixtime"],
        "timezone": ["GMT"],
        "forecast_days": ["16"],
        "past_days": ["2"],
        "cell_selection": ["land"],
    }


def test_a_boat_afloat_prefers_a_cell_of_water(web, make_cache, now):
    web.get("https://weather.example/om/v1/forecast", json=forecast())
    OpenMeteo(54, 10, make_cache(), base_url="https://weather.example/om/", sea=True).fetch(now)
    assert "cell_selection=sea" in web.calls[0].request.url


def test_the_table_carries_the_age_of_the_fetch_also_out_of_the_store(web, source, now):
    web.get(URL, json=forecast())
    assert source.fetch(now).issued_at == now
    later = source.fetch(now + timedelta(minutes=20))
    assert later.issued_at == now
    assert later.notes == ()
    assert len(web.calls) == 1


@pytest.mark.parametrize(
    ("body", "message"),
    [
        (b"", "Open-Meteo sent an empty answer"),
        (b"<html>502</html>", "Open-Meteo sent a web page instead of a forecast"),
        (b"nan", 'Open-Meteo has no forecast for this place (it answered "nan")'),
        (json.dumps(forecast()).encode()[:700], "Open-Meteo's answer stops in the middle, after 700 characters"),
        (
            json.dumps(forecast()).encode()[:704] + b"Unexpected error",
            "Open-Meteo's answer is broken off by other text: Unexpected error",
        ),
        (b'{"error":true,"reason":"out of order"}', "Open-Meteo refused the request: out of order"),
        (
            json.dumps(forecast(precipitation=("mm", [0.0]))).encode(),
            "Open-Meteo's answer does not fit together: precipitation has 1 values for 384 times",
        ),
    ],
)
def test_a_200_that_is_no_forecast_is_said_and_leaves_the_last_good_forecast_in_use(web, source, now, body, message):
    web.get(URL, body=body)
    with pytest.raises(WeatherError) as caught:
        source.fetch(now)
    assert str(caught.value) == f"{message}; not asked again before 2026-06-01T12:05Z"
    web.reset()
    web.get(URL, json=forecast(first=17.0))
    source.fetch(now + timedelta(hours=1))
    web.reset()
    web.get(URL, body=body)
    table = source.fetch(now + timedelta(hours=3))
    assert table.columns["air_temperature"][0, 0] == 17.0
    assert table.issued_at == now + timedelta(hours=1)
    assert table.notes == (message, "the answer of 2026-06-01T13:00Z is used instead, 2 h old")


def test_an_answer_of_nulls_alone_is_no_forecast(web, source, now):
    empty = {name: (None, [None] * 384) for name in forecast()["hourly"] if name != "time"}
    web.get(URL, json=forecast(**empty))
    with pytest.raises(WeatherError, match=r"^Open-Meteo knows nothing for this place: every value is missing; "):
        source.fetch(now)


def test_a_horizon_well_short_of_what_was_asked_for_is_noted(web, source, now):
    web.get(URL, json=forecast(days=5))
    assert source.fetch(now).notes == (
        "the forecast reaches only until 2026-06-05T23:00Z, 4 days 11 h ahead: air_temperature ends there",
    )


def test_a_refused_request_is_said_with_the_reason(web, source, slept, now):
    web.get(URL, status=400, json={"error": True, "reason": "Latitude must be in range of -90 to 90°. Given: 91.0."})
    with pytest.raises(WeatherError) as caught:
        source.fetch(now)
    assert str(caught.value) == (
        "api.open-meteo.com refused the request (status 400): Latitude must be in range of -90 to 90°. Given: 91.0.;"
        " not asked again before 2026-06-01T12:05Z"
    )
    assert slept == []


def test_a_502_in_html_is_tried_again_and_then_said_without_the_page(web, source, slept, now):
    web.get(URL, status=502, body=b"<html><h1>502 Bad Gateway</h1></html>")
    with pytest.raises(WeatherError, match=r"^api\.open-meteo\.com is out of order \(status 502\); not asked again"):
        source.fetch(now)
    assert slept == [1.0, 2.0, 4.0]


# The wordings of Open-Meteo's rate limiter; its counters are set back each minute, each full hour and at midnight UTC.
@pytest.mark.parametrize(
    ("reason", "until"),
    [
        ("Minutely API request limit exceeded. Please try again in one minute.", "2026-06-01T12:41Z"),
        ("Hourly API request limit exceeded. Please try again in the next hour.", "2026-06-01T13:02Z"),
        ("Daily API request limit exceeded. Please try again tomorrow.", "2026-06-02T00:02Z"),
        ("Too many concurrent requests", "2026-06-01T12:40Z"),
    ],
)
def test_a_429_without_retry_after_waits_as_its_wording_says(web, source, slept, reason, until):
    web.get(URL, status=429, json={"error": True, "reason": reason})
    with pytest.raises(WeatherError) as caught:
        source.fetch(datetime(2026, 6, 1, 12, 40, tzinfo=UTC))
    assert str(caught.value) == (
        f"api.open-meteo.com has had too many requests (status 429): {reason}; not asked again before {until}"
    )
    assert slept == []


def test_a_429_with_a_retry_after_of_a_proxy_waits_as_that_says(web, source, now):
    reason = "Daily API request limit exceeded. Please try again tomorrow."
    web.get(URL, status=429, json={"error": True, "reason": reason}, headers={"Retry-After": "600"})
    with pytest.raises(WeatherError, match="not asked again before 2026-06-01T12:10Z"):
        source.fetch(now)


def test_a_429_of_unknown_wording_is_tried_again_with_growing_pauses(web, source, slept, now):
    web.get(URL, status=429, json={"error": True, "reason": "not so fast"})
    with pytest.raises(WeatherError, match="not so fast"):
        source.fetch(now)
    assert slept == [1.0, 2.0, 4.0]


def test_only_a_429_is_read_as_a_wait(now):
    body = b'{"error":true,"reason":"Daily limit of places exceeded"}'
    assert read_refusal(400, body, now).wait_s is None
    assert read_refusal(429, b"<html>", now).reason == ""
