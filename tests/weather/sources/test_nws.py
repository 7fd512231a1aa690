import logging
from datetime import UTC, datetime, timedelta

import pytest
import responses

from dryspell import __version__
from dryspell.errors import WeatherError
from dryspell.weather.sources.nws import NwsGrid, read_refusal

HOST = "https://api.weather.gov"
POINTS = f"{HOST}/points/30.1235,-85"
GRID = f"{HOST}/gridpoints/TAE/58,65"
MOVED = f"{HOST}/gridpoints/TAE/59,65"


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


@pytest.fixture
def source(make_cache):
    return NwsGrid(30.12346, -85.0, make_cache())


@pytest.fixture
def mapped(web):
    """The service, knowing the place and its forecast."""
    web.get(POINTS, json=mapping(GRID))
    web.get(GRID, json=forecast())
    return web


def mapping(grid):
    return {"properties": {"gridId": "TAE", "gridX": 58, "gridY": 65, "forecastGridData": grid}}


def forecast(first=20.0):
    values = [{"validTime": "2026-06-01T06:00:00+00:00/P8D", "value": first}]
    return {
        "properties": {
            "updateTime": "2026-06-01T11:12:13+00:00",
            "temperature": {"uom": "wmoUnit:degC", "values": values},
        }
    }


def problem(kind, detail, status, base="https://api.weather.gov/problems/"):
    return {"type": f"{base}{kind}", "title": kind, "status": status, "detail": detail, "correlationId": "31cc296c"}


def message_of(source, now):
    with pytest.raises(WeatherError) as caught:
        source.fetch(now)
    return str(caught.value)


def asked(web):
    return [call.request.url for call in web.calls]


def test_it_names_itself_and_whom_to_credit(source):
    assert source.name == "nws"
    assert "National Weather Service" in source.attribution


def test_it_asks_for_the_grid_of_the_place_and_then_for_its_forecast(mapped, source, now):
    table = source.fetch(now)
    assert asked(mapped) == [POINTS, GRID]
    assert table.column("air_temperature")[0, 0] == 20.0
    assert table.issued_at == datetime(2026, 6, 1, 11, 12, 13, tzinfo=UTC)
    assert table.notes == ()
    for call in mapped.calls:
        assert call.request.headers["User-Agent"] == f"dryspell/{__version__} (+https://example.org/us)"
        assert call.request.headers["Accept"] == "application/geo+json"


@pytest.mark.parametrize(
    ("latitude", "longitude", "place"),
    [
        (-14.27, -170.702, "-14.27,-170.702"),  # Samoa, south of the equator
        (52.7125, 174.11361, "52.7125,174.1136"),  # the Aleutians, beyond the date line
        (51.96, -179.99999, "51.96,-180"),
        (71.29060, -156.78870, "71.2906,-156.7887"),  # the north coast of Alaska
    ],
)
def test_places_are_written_without_decimals_that_the_service_would_redirect_for(
    web, make_cache, now, latitude, longitude, place
):
    web.get(f"{HOST}/points/{place}", json=mapping(GRID))
    web.get(GRID, json=forecast())
    assert NwsGrid(latitude, longitude, make_cache()).fetch(now).knows("air_temperature")


def test_another_host_can_be_asked_and_no_other_is(web, make_cache, now):
    web.get("http://127.0.0.1:8080/points/30,-85", json=mapping(GRID))
    web.get("http://127.0.0.1:8080/gridpoints/TAE/58,65", json=forecast())
    NwsGrid(30.0, -85.0, make_cache(), base_url="http://127.0.0.1:8080/").fetch(now)
    assert all(url.startswith("http://127.0.0.1:8080/") for url in asked(web))


def test_without_a_contact_nobody_is_asked(web, make_cache, now):
    message = message_of(NwsGrid(30.0, -85.0, make_cache(contact="")), now)
    assert message == 'the NWS answers only those it can reach: set contact = "you@example.org" in the configuration'
    assert asked(web) == []


def test_the_grid_of_a_place_is_asked_for_once_a_week(mapped, source, now):
    for hours in (0, 1, 24, 167):
        source.fetch(now + timedelta(hours=hours))
    assert asked(mapped).count(POINTS) == 1
    assert asked(mapped).count(GRID) == 4
    source.fetch(now + timedelta(days=7))
    assert asked(mapped).count(POINTS) == 2


def test_a_clock_that_was_put_back_has_the_grid_asked_for_again(mapped, source, now):
    source.fetch(now)
    source.fetch(now - timedelta(days=1))
    assert asked(mapped).count(POINTS) == 2


def test_where_the_service_fails_the_grid_known_before_serves_and_says_so(mapped, source, now):
    source.fetch(now)
    mapped.replace(responses.GET, POINTS, status=500)
    table = source.fetch(now + timedelta(days=7))
    assert table.knows("air_temperature")
    assert table.notes[0] == "api.weather.gov is out of order (status 500)"
    mapped.replace(responses.GET, POINTS, json=mapping(GRID))
    source.fetch(now + timedelta(days=7, hours=1))
    assert asked(mapped)[-2:] == [POINTS, GRID]


def test_a_grid_that_is_gone_is_looked_for_anew_at_once(mapped, source, now):
    source.fetch(now)
    mapped.replace(responses.GET, POINTS, json=mapping(MOVED))
    mapped.replace(responses.GET, GRID, json=problem("NotFound", "Not Found", 404), status=404)
    mapped.get(MOVED, json=forecast(first=25.0))
    table = source.fetch(now + timedelta(hours=1))
    assert table.column("air_temperature")[0, 0] == 25.0
    assert table.notes == ()
    assert asked(mapped)[2:] == [GRID, POINTS, MOVED]
    source.fetch(now + timedelta(hours=2))
    assert asked(mapped)[5:] == [MOVED]


def test_a_grid_that_is_gone_without_another_is_said(web, source, now):
    web.get(POINTS, json=mapping(GRID))
    web.get(GRID, json=problem("NotFound", "Not Found", 404), status=404)
    assert message_of(source, now).startswith("api.weather.gov refused the request (status 404): Not Found")
    assert asked(web) == [POINTS, GRID]


def test_a_grid_that_is_gone_leaves_its_last_forecast_in_use(mapped, source, now):
    source.fetch(now)
    mapped.replace(responses.GET, GRID, status=404)
    mapped.replace(responses.GET, POINTS, status=403)
    table = source.fetch(now + timedelta(hours=1))
    assert table.column("air_temperature")[0, 0] == 20.0
    assert any("status 404" in note for note in table.notes)
    assert table.issued_at == datetime(2026, 6, 1, 11, 12, 13, tzinfo=UTC)


def test_a_grid_that_is_gone_leaves_its_last_forecast_in_use_even_where_no_grid_can_be_found(
    mapped, make_cache, now, tmp_path
):
    source = NwsGrid(30.12346, -85.0, make_cache())
    source.fetch(now)
    for path in (tmp_path / "answers").iterdir():
        if b"/points/" in path.read_bytes():
            path.unlink()
    mapped.replace(responses.GET, GRID, status=404)
    mapped.replace(responses.GET, POINTS, status=404)
    assert source.fetch(now + timedelta(hours=1)).column("air_temperature")[0, 0] == 20.0


def test_a_grid_that_is_gone_and_a_place_that_is_no_longer_known_are_said(web, source, now):
    web.get(POINTS, json=mapping(GRID))
    web.get(GRID, status=503)
    message_of(source, now)
    web.replace(responses.GET, GRID, status=404)
    web.replace(responses.GET, POINTS, body="<html>")
    assert "status 404" in message_of(source, now + timedelta(hours=1))


@pytest.mark.parametrize("base", ["https://api.weather.gov/problems/", "urn:noaa:nws:api:"])
def test_a_place_outside_the_us_is_said_plainly(web, source, now, base):
    body = problem("InvalidPoint", "Unable to provide data for requested point 30.1235,-85", 404, base)
    web.get(POINTS, json=body, status=404, content_type="application/problem+json")
    assert message_of(source, now).startswith(
        "api.weather.gov refused the request (status 404): the place is outside the US, which is all that this service "
        "has forecasts for; not asked again before"
    )


def test_a_problem_is_said_in_its_own_words_and_its_id_goes_to_the_log(web, source, now, caplog):
    web.get(POINTS, json=mapping(GRID))
    detail = "The requested forecast grid was issued 2026-05-29T11:36:27+00:00 and has expired."
    web.get(GRID, json=problem("ForecastGridExpired", detail, 503), status=503)
    with caplog.at_level(logging.INFO):
        message = message_of(source, now)
    assert message.startswith(f"api.weather.gov is out of order (status 503): {detail}; not asked again before")
    assert "31cc296c" not in message
    assert "the NWS answered 503, ForecastGridExpired, correlation id 31cc296c" in caplog.messages
    # Tried four times in all, and left alone then.
    assert asked(web).count(GRID) == 4


@pytest.mark.parametrize(
    ("status", "body", "reason"),
    [
        (403, b"<html>Access Denied</html>", "it wants to know who asks: check the contact in the configuration"),
        (500, b"<html>oops</html>", ""),
        (500, b"[1]", ""),
        (500, b"{}", ""),
        (500, b'{"title": "Unexpected Problem", "type": 3}', "Unexpected Problem"),
    ],
)
def test_an_error_without_a_problem_in_it_is_said_by_its_status(status, body, reason, now):
    assert read_refusal(status, body, now).reason == reason


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("", "The NWS sent an empty answer"),
        ("<html>", "The NWS sent a web page instead of a forecast"),
        ('{"properties": {"updateT', "The NWS's answer stops in the middle"),
        ('{"properties": {}}', "The NWS's answer has no grid forecast in it"),
    ],
)
def test_a_200_that_is_no_forecast_is_said_and_leaves_the_last_good_forecast_in_use(mapped, source, now, body, message):
    source.fetch(now)
    mapped.replace(responses.GET, GRID, body=body)
    table = source.fetch(now + timedelta(hours=2))
    assert table.column("air_temperature")[0, 0] == 20.0
    assert table.notes[0].startswith(message)
