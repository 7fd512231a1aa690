from datetime import UTC, datetime, timedelta
from urllib.parse import parse_qs, urlsplit

import numpy as np
import pytest
import responses

from dryspell import __version__
from dryspell.errors import WeatherError
from dryspell.weather.sources.met_norway import MetNorway, read_refusal

URL = "https://api.met.no/weatherapi/locationforecast/2.0/complete"
MODIFIED = "Mon, 01 Jun 2026 11:58:03 GMT"


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def source(make_cache):
    return MetNorway(59.91391, 10.75224, make_cache())


def forecast(first=10.0, days=9):
    stamps = [datetime(2026, 6, 1, 12, tzinfo=UTC) + timedelta(hours=hour) for hour in range(days * 24)]
    return {
        "type": "Feature",
        "geometry": {"type": "Point", "coordinates": [10.7522, 59.9139, 5]},
        "properties": {
            "meta": {
                "updated_at": "2026-06-01T11:31:07Z",
                "units": {
                    "air_temperature": "celsius",
                    "air_temperature_percentile_90": "celsius",
                    "relative_humidity": "%",
                    "wind_speed": "m/s",
                    "precipitation_amount": "mm",
                    "air_pressure_at_sea_level": "hPa",
                },
            },
            "timeseries": [
                {
                    "time": f"{stamp:%Y-%m-%dT%H:%M:%SZ}",
                    "data": {
                        "instant": {
                            "details": {
                                "air_temperature": first,
                                "air_temperature_percentile_90": first + 2.0,
                                "relative_humidity": 80.0,
                                "wind_speed": 3.0,
                                "air_pressure_at_sea_level": 1013.25,
                            }
                        },
                        "next_1_hours": {"details": {"precipitation_amount": 0.0}},
                    },
                }
                for stamp in stamps
            ],
        },
    }


def headers(minutes=31):
    expires = datetime(2026, 6, 1, 12, tzinfo=UTC) + timedelta(minutes=minutes)
    return {
        "Date": "Mon, 01 Jun 2026 12:00:00 GMT",
        "Last-Modified": MODIFIED,
        "Expires": f"{expires:%a, %d %b %Y %H:%M:%S} GMT",
    }


def message_of(source, now):
    with pytest.raises(WeatherError) as caught:
        source.fetch(now)
    return str(caught.value)


def test_it_names_itself_and_whom_to_credit(source):
    assert source.name == "met-norway"
    assert "Data from MET Norway" in source.attribution
    assert "CC BY 4.0" in source.attribution


def test_a_request_has_four_decimals_and_says_how_to_reach_us(web, source, now):
    web.get(URL, json=forecast())
    source.fetch(now)
    request = web.calls[0].request
    assert parse_qs(urlsplit(request.url).query) == {"lat": ["59.9139"], "lon": ["10.7522"]}
    assert request.headers["User-Agent"] == f"dryspell/{__version__} (+https://example.org/us)"


@pytest.mark.parametrize(
    ("latitude", "longitude", "query"),
    [
        (-53.1638, -70.9171, {"lat": ["-53.1638"], "lon": ["-70.9171"]}),
        (-16.50, 180.0, {"lat": ["-16.5"], "lon": ["180"]}),
        (-16.50, -179.99999, {"lat": ["-16.5"], "lon": ["-180"]}),
        (78.22334, 15.64689, {"lat": ["78.2233"], "lon": ["15.6469"]}),
        (0.0, -0.00001, {"lat": ["0"], "lon": ["0"]}),
    ],
)
def test_places_in_the_south_at_the_date_line_and_near_the_pole_are_asked_for(
    web, make_cache, now, latitude, longitude, query
):
    web.get(URL, json=forecast())
    MetNorway(latitude, longitude, make_cache()).fetch(now)
    assert parse_qs(urlsplit(web.calls[0].request.url).query) == query


def test_a_height_is_asked_for_in_whole_metres_and_the_pressure_brought_there(web, make_cache, now):
    web.get(URL, json=forecast())
    table = MetNorway(59.9139, 10.7522, make_cache(), elevation_m=499.6).fetch(now)
    assert parse_qs(urlsplit(web.calls[0].request.url).query)["altitude"] == ["500"]
    # At 10 degC 500 m are worth 59.3 hPa: 1013.25 (283.15 / (283.15 + 3.25)) ^ 5.2559, by hand.
    assert table.column("surface_air_pressure")[0, 0] == pytest.approx(954.3, abs=0.3)


def test_another_host_can_be_asked(web, make_cache, now):
    web.get("http://127.0.0.1:8080/weatherapi/locationforecast/2.0/complete", json=forecast())
    assert MetNorway(59.9, 10.7, make_cache(), base_url="http://127.0.0.1:8080/").fetch(now).source == "MET Norway"


def test_without_a_contact_nobody_is_asked(web, make_cache, now):
    message = message_of(MetNorway(59.9, 10.7, make_cache(contact="")), now)
    assert message == 'MET Norway answers only those it can reach: set contact = "you@example.org" in the configuration'
    assert len(web.calls) == 0


def test_the_table_is_as_old_as_the_service_says(web, source, now):
    web.get(URL, json=forecast(), headers=headers())
    table = source.fetch(now)
    assert table.issued_at == datetime(2026, 6, 1, 11, 31, 7, tzinfo=UTC)
    assert table.notes == ()
    assert source.fetch(now + timedelta(minutes=5)).issued_at == table.issued_at


def test_the_spread_of_the_service_comes_with_its_forecast(web, source, now):
    web.get(URL, json=forecast())
    table, percentiles = source.fetch_with_percentiles(now)
    assert np.array_equal(percentiles.times, table.times)
    assert np.all(percentiles.high["air_temperature"] == 12.0)


def test_nobody_is_asked_before_the_answer_expires_and_then_with_the_stamp_as_it_was_sent(web, make_cache, now):
    web.get(URL, json=forecast(), headers=headers(minutes=50))
    source = MetNorway(59.9139, 10.7522, make_cache(min_interval_s=600.0))
    source.fetch(now)
    source.fetch(now + timedelta(minutes=49))
    assert len(web.calls) == 1
    web.replace(responses.GET, URL, status=304, headers=headers(minutes=90))
    table = source.fetch(now + timedelta(minutes=51))
    assert web.calls[1].request.headers["If-Modified-Since"] == MODIFIED
    assert table.issued_at == datetime(2026, 6, 1, 11, 31, 7, tzinfo=UTC)
    assert table.notes == ()
    # The 304 brought an Expires of its own.
    source.fetch(now + timedelta(minutes=89))
    assert len(web.calls) == 2


def test_a_status_of_203_is_used_and_noted(web, source, now):
    web.get(URL, json=forecast(), status=203)
    table = source.fetch(now)
    assert table.knows("air_temperature")
    assert table.notes == ("api.met.no marks this service as in trial or soon to end (status 203)",)


@pytest.mark.parametrize(
    ("status", "said"),
    [
        (400, "refused the request (status 400): it does not understand what it was asked"),
        (403, "refused the request (status 403): it wants to know who asks, and does not accept how we name ourselves"),
        (404, "refused the request (status 404): there is no such forecast: check the address of the service"),
        (422, "refused the request (status 422): the place is outside the area it has forecasts for"),
        (429, "has had too many requests (status 429): it wants to be left alone for a while"),
        (500, "is out of order (status 500)"),
    ],
)
def test_a_refusal_is_said_plainly_and_its_page_is_not(web, source, now, status, said):
    web.get(URL, body="<html><h1>Go away</h1></html>", status=status, content_type="text/html")
    message = message_of(source, now)
    assert message.startswith(f"api.met.no {said}")
    assert "; not asked again before 2026-06-01T1" in message
    assert "Go away" not in message
    assert len(web.calls) == (4 if status == 500 else 1)


@pytest.mark.parametrize("status", [403, 429])
def test_after_being_shut_out_or_throttled_nobody_is_asked_for_an_hour_at_the_least(web, source, now, status):
    web.get(URL, status=status)
    message_of(source, now)
    message_of(source, now + timedelta(minutes=59))
    assert len(web.calls) == 1


def test_only_being_shut_out_or_throttled_is_read_as_a_wait(now):
    assert read_refusal(403, b"", now).wait_s == 3600.0
    assert read_refusal(422, b"", now).wait_s is None
    assert read_refusal(503, b"", now).reason == ""


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("", "MET Norway sent an empty answer"),
        ("<html>", "MET Norway sent a web page instead of a forecast"),
        ('{"type": "Feature", "prop', "MET Norway's answer stops in the middle"),
        ('{"type": "Feature"}', "MET Norway's answer has no forecast in it"),
    ],
)
def test_a_200_that_is_no_forecast_is_said_and_leaves_the_last_good_forecast_in_use(web, source, now, body, message):
    web.get(URL, json=forecast(first=11.0))
    source.fetch(now)
    web.replace(responses.GET, URL, body=body)
    table = source.fetch(now + timedelta(hours=2))
    assert table.column("air_temperature")[0, 0] == 11.0
    assert table.notes[0].startswith(message)
    assert table.issued_at == datetime(2026, 6, 1, 11, 31, 7, tzinfo=UTC)
