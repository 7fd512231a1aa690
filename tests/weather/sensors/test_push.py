"""What is answered to pushed readings; bearer tokens and their refusal after RFC 6750."""

import pytest

from dryspell.weather.sensors.push import LARGEST_BODY, PushDesk, Request
from weather.sensors.bench import NOON, sensor

TOKEN = "correct horse battery"
BEARER = {"authorization": f"Bearer {TOKEN}"}


@pytest.fixture
def desk(make_intake, clock, notices):
    intake = make_intake(sensor("gate", air_temperature="t"), sensor("mast", air_temperature="t"))
    return PushDesk(TOKEN, {"gate"}, intake, clock, notices)


@pytest.fixture
def post(desk):
    def ask(target="/v1/readings/gate", body=b'{"t": 20}', *, method="POST", headers=BEARER, **more):
        return desk.answer(Request(method, target, headers | more, body))

    return ask


def test_readings_are_taken_in_and_counted(post, sink):
    answer = post()
    assert answer.status == 200
    assert answer.document == {"schema": "dryspell.readings/1", "generated_at": "2026-06-01T12:00:00Z", "readings": 1}
    assert [(each.sensor, each.at, each.value) for each in sink.readings] == [("gate", NOON, 20)]


def test_readings_may_stand_in_the_query_or_in_a_form(post, sink):
    assert post("/v1/readings/gate?t=21.5&battery=low", b"").status == 200
    form = {"content-type": "application/x-www-form-urlencoded; charset=utf-8"}
    assert post(body=b"t=22.5&x=%20", **form).status == 200
    assert sink.values == [21.5, 22.5]


def test_no_reading_in_it_is_right_as_well(post):
    answer = post(body=b'{"t": null}')
    assert (answer.status, answer.document["readings"]) == (200, 0)


@pytest.mark.parametrize(
    "authorization",
    [
        "",
        "Bearer",
        "Bearer wrong",
        f"Basic {TOKEN}",
        TOKEN,
        f"Bearer {TOKEN}x",
        f"Bearer {TOKEN[:-1]}",
        "Bearer \udcff",
    ],
)
def test_without_the_token_nothing_is_told_nor_taken(post, sink, logged, authorization):
    for target in ("/v1/readings/gate", "/v1/readings/nobody"):
        answer = post(target, headers={"authorization": authorization})
        assert answer.status == 401
        assert answer.headers == {"WWW-Authenticate": "Bearer"}
    assert sink.readings == []
    assert len(logged.records) == 1
    assert TOKEN not in logged.text


def test_the_scheme_does_not_mind_case(post):
    assert post(headers={"authorization": f"bearer {TOKEN}"}).status == 200


@pytest.mark.parametrize(
    ("how", "status", "problem"),
    [
        ({"target": "/v1/readings/mast"}, 404, "there is no sensor 'mast' whose readings are pushed"),
        ({"target": "/v1/readings/"}, 404, "there is no sensor '' whose"),
        ({"target": "/"}, 404, "there is nothing here; readings go to /v1/readings/KEY"),
        ({"target": "//[x"}, 404, "there is nothing here"),
        ({"method": "GET"}, 405, "readings are sent with POST"),
        ({"body": b""}, 400, "there are no readings in it"),
        ({"body": b"\xff"}, 400, "the payload is not text in UTF-8"),
        ({"target": "/v1/readings/gate?" + "a&" * 300, "body": b""}, 400, "wanted 200 fields at the most"),
        ({"body": b"1" * (LARGEST_BODY + 1)}, 413, "wanted 64 KiB at the most"),
    ],
)
def test_what_is_not_right_is_refused_in_words(post, sink, how, status, problem):
    answer = post(**how)
    assert answer.status == status
    assert answer.document["problem"].startswith(problem)
    assert sink.readings == []


def test_what_cannot_be_kept_is_to_be_sent_again(post, sink):
    sink.refuses = True
    answer = post()
    assert (answer.status, answer.headers) == (503, {"Retry-After": "30"})
    sink.refuses = False
    assert post().status == 200
