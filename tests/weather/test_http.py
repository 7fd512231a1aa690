import json
import os
import socket
import ssl
from datetime import timedelta
from pathlib import Path

import pytest
import requests
import responses

from dryspell.errors import WeatherError
from dryspell.weather import exchange
from dryspell.weather.exchange import Refusal

URL = "https://weather.example/v1/forecast"
PARAMS = {"latitude": "54.3233", "longitude": "10.1394"}
MINUTE = timedelta(minutes=1)


@pytest.fixture
def web():
    with responses.RequestsMock(assert_all_requests_are_fired=False) as mock:
        yield mock


def only_json(body):
    try:
        json.loads(body)
    except ValueError:
        raise WeatherError("the answer stops in the middle") from None


def stored(folder):
    """The one file that is kept, as head and body."""
    (path,) = (folder / "answers").glob("*.answer")
    head, _, body = path.read_bytes().partition(b"\n")
    return path, json.loads(head)["kept"], body


def test_a_good_answer_comes_from_the_server(web, make_cache, now):
    web.get(URL, body=b"good")
    answer = make_cache().get(URL, PARAMS, now)
    assert (answer.body, answer.fetched_at, answer.from_cache, answer.status, answer.notes) == (
        b"good",
        now,
        False,
        200,
        (),
    )


def test_the_user_agent_names_the_program_and_a_contact(web, make_cache, now):
    web.get(URL, body=b"good")
    make_cache(contact="mailto:us@example.org").get(URL, PARAMS, now)
    agent = web.calls[0].request.headers["User-Agent"]
    assert agent.startswith("dryspell/")
    assert agent.endswith(" (+mailto:us@example.org)")


def test_a_contact_that_would_break_the_header_is_refused(make_cache):
    with pytest.raises(WeatherError, match="one line of plain ASCII"):
        make_cache(contact="us\r\nX-Evil: 1")


def test_every_request_has_both_timeouts(web, make_cache, now):
    web.get(URL, body=b"good")
    make_cache(timeout=(5.0, 20.0)).get(URL, PARAMS, now)
    assert web.calls[0].request.req_kwargs["timeout"] == (5.0, 20.0)


def test_one_address_is_not_fetched_again_within_the_minimum_interval(web, make_cache, now):
    web.get(URL, body=b"good")
    make_cache().get(URL, PARAMS, now)
    later = make_cache().get(URL, PARAMS, now + 29 * MINUTE)  # a new cache: a crash loop must not hammer
    assert len(web.calls) == 1
    assert (later.body, later.fetched_at, later.from_cache, later.notes) == (b"good", now, True, ())


def test_one_address_is_fetched_again_after_the_minimum_interval(web, make_cache, now):
    web.get(URL, body=b"good")
    web.get(URL, body=b"better")
    make_cache().get(URL, PARAMS, now)
    assert make_cache().get(URL, PARAMS, now + 30 * MINUTE).body == b"better"


def test_another_place_is_another_address(web, make_cache, now):
    web.get(URL, body=b"here")
    web.get(URL, body=b"there")
    cache = make_cache()
    cache.get(URL, PARAMS, now)
    assert cache.get(URL, {**PARAMS, "latitude": "55.0000"}, now).body == b"there"


def test_a_clock_that_was_put_back_does_not_stop_the_fetching(web, make_cache, now):
    web.get(URL, body=b"good")
    web.get(URL, body=b"better")
    make_cache().get(URL, PARAMS, now + timedelta(days=4000))
    assert make_cache().get(URL, PARAMS, now).body == b"better"


def test_expires_is_obeyed_beyond_the_minimum_interval(web, make_cache, now):
    # MET Norway's terms of service: no new request before Expires.
    web.get(URL, body=b"good", headers={"Expires": "Mon, 01 Jun 2026 13:00:00 GMT"})
    make_cache().get(URL, PARAMS, now)
    make_cache().get(URL, PARAMS, now + 59 * MINUTE)
    assert len(web.calls) == 1
    make_cache().get(URL, PARAMS, now + 60 * MINUTE)
    assert len(web.calls) == 2


def test_a_changed_copy_is_asked_for_with_the_stored_headers_letter_by_letter(web, make_cache, now):
    modified = "Mon, 01 Jun 2026 11:58:00 GMT"
    web.get(URL, body=b"good", headers={"ETag": 'W/"a-1"', "Last-Modified": modified})
    web.get(URL, status=304)
    make_cache().get(URL, PARAMS, now)
    answer = make_cache().get(URL, PARAMS, now + 31 * MINUTE)
    sent = web.calls[1].request.headers
    assert (sent["If-None-Match"], sent["If-Modified-Since"]) == ('W/"a-1"', modified)
    assert (answer.body, answer.fetched_at, answer.from_cache, answer.notes) == (b"good", now, True, ())


def test_an_answer_that_has_not_changed_starts_a_new_interval(web, make_cache, now):
    web.get(URL, body=b"good", headers={"ETag": '"a"'})
    web.get(URL, status=304, headers={"ETag": '"b"'})
    web.get(URL, status=304)
    make_cache().get(URL, PARAMS, now)
    make_cache().get(URL, PARAMS, now + 31 * MINUTE)
    make_cache().get(URL, PARAMS, now + 60 * MINUTE)
    assert len(web.calls) == 2
    make_cache().get(URL, PARAMS, now + 61 * MINUTE)
    assert web.calls[2].request.headers["If-None-Match"] == '"b"'


def test_not_modified_without_a_stored_body_asks_again(web, make_cache, now):
    web.get(URL, status=304)
    web.get(URL, body=b"good")
    answer = make_cache().get(URL, PARAMS, now)
    assert answer.body == b"good"
    assert web.calls[1].request.headers["Cache-Control"] == "no-cache"
    assert "If-None-Match" not in web.calls[1].request.headers


def test_not_modified_for_ever_without_a_stored_body_is_said(web, make_cache, now):
    web.get(URL, status=304)
    with pytest.raises(WeatherError, match=r"weather.example says its answer has not changed, but no answer is stored"):
        make_cache().get(URL, PARAMS, now)
    assert len(web.calls) == 2


@pytest.mark.parametrize("status", [429, 500, 502, 503, 504])
def test_a_passing_trouble_is_tried_again(web, make_cache, slept, now, status):
    web.get(URL, status=status)
    web.get(URL, status=status)
    web.get(URL, body=b"good")
    assert make_cache().get(URL, PARAMS, now).body == b"good"
    assert slept == [1.0, 2.0]


@pytest.mark.parametrize(
    ("failure", "message"),
    [
        (
            requests.exceptions.ConnectTimeout("https://weather.example/?apikey=s3cret"),
            "weather.example cannot be reached",
        ),
        (requests.exceptions.ConnectionError("s3cret"), "weather.example cannot be reached"),
        (requests.exceptions.ReadTimeout("s3cret"), "weather.example did not answer within 20 s"),
    ],
)
def test_a_lost_connection_is_tried_three_times_more_and_then_said(web, make_cache, slept, now, failure, message):
    web.get(URL, body=failure)
    with pytest.raises(WeatherError) as caught:
        make_cache().get(URL, PARAMS, now)
    assert str(caught.value) == f"{message}; not asked again before 2026-06-01T12:05Z"
    assert len(web.calls) == 4
    assert slept == [1.0, 2.0, 4.0]


def test_the_pauses_between_tries_are_random_up_to_their_ceiling(web, make_cache, slept, now):
    web.get(URL, status=503)
    with pytest.raises(WeatherError):
        make_cache(jitter=lambda ceiling: 0.25 * ceiling).get(URL, PARAMS, now)
    assert slept == [0.25, 0.5, 1.0]


def test_the_jitter_stays_between_nothing_and_its_ceiling():
    draws = [exchange.full_jitter(8.0) for _ in range(200)]
    assert min(draws) >= 0.0
    assert max(draws) <= 8.0
    assert len(set(draws)) > 100


@pytest.mark.parametrize("status", [400, 401, 403, 404, 410, 422])
def test_a_refusal_is_not_tried_again(web, make_cache, slept, now, status):
    web.get(URL, status=status)
    with pytest.raises(
        WeatherError, match=rf"^weather.example refused the request \(status {status}\); not asked again"
    ):
        make_cache().get(URL, PARAMS, now)
    assert len(web.calls) == 1
    assert slept == []


def test_a_refusal_that_says_for_how_long_is_heeded(web, make_cache, slept, now):
    web.get(URL, status=403)
    with pytest.raises(WeatherError, match="not asked again before 2026-06-01T13:00Z"):
        make_cache().get(URL, PARAMS, now, read_refusal=lambda *_: Refusal("", 3600.0))
    web.get(URL + "2", status=403, headers={"Retry-After": "7200"})
    with pytest.raises(WeatherError, match="not asked again before 2026-06-01T14:00Z"):
        make_cache().get(URL + "2", PARAMS, now, read_refusal=lambda *_: Refusal("", 3600.0))
    assert slept == []


@pytest.mark.parametrize("status", [204, 300, 600])
def test_a_status_that_nobody_expects_is_no_answer(web, make_cache, now, status):
    web.get(URL, status=status, body=b"")
    with pytest.raises(
        WeatherError, match=f"weather.example answered with a status that was not expected \\({status}\\)"
    ):
        make_cache().get(URL, PARAMS, now)


def requests_error(kind, cause):
    """An error of requests as it comes of one of Python's own below it."""
    error = kind("https://weather.example/?apikey=s3cret")
    error.__cause__ = cause
    return error


def test_a_certificate_that_cannot_be_trusted_is_said_at_once(web, make_cache, slept, now):
    web.get(URL, body=requests_error(requests.exceptions.SSLError, ssl.SSLCertVerificationError("self-signed")))
    with pytest.raises(WeatherError, match=r"^the certificate of weather.example cannot be trusted; "):
        make_cache().get(URL, PARAMS, now)
    assert slept == []


def test_a_name_that_is_not_known_is_said_after_the_tries(web, make_cache, slept, now):
    unknown = socket.gaierror(socket.EAI_NONAME, "Name or service not known")
    web.get(URL, body=requests_error(requests.exceptions.ConnectionError, unknown))
    with pytest.raises(
        WeatherError, match=r"^weather.example cannot be found: its name is unknown here, as without internet; "
    ):
        make_cache().get(URL, PARAMS, now)
    assert slept == [1.0, 2.0, 4.0]


def test_the_reason_in_an_error_body_is_shown(web, make_cache, now):
    web.get(URL, status=400, body=b"no such variable")
    with pytest.raises(WeatherError, match=r"refused the request \(status 400\): no such variable; not asked again"):
        make_cache().get(URL, PARAMS, now, read_refusal=lambda _status, body, _now: Refusal(body.decode()))


def test_a_short_retry_after_is_slept_through(web, make_cache, slept, now):
    web.get(URL, status=429, headers={"Retry-After": "3"})
    web.get(URL, body=b"good")
    assert make_cache().get(URL, PARAMS, now).body == b"good"
    assert slept == [3.0 + 1.0]


def test_a_server_that_keeps_asking_for_a_moment_gets_a_real_pause(web, make_cache, slept, now):
    web.get(URL, status=503, headers={"Retry-After": "0"})
    with pytest.raises(WeatherError) as caught:
        make_cache().get(URL, PARAMS, now)
    assert slept == [1.0, 2.0, 4.0]
    assert caught.value.retry_after_s == 300.0


@pytest.mark.parametrize("header", ["7200", "Mon, 01 Jun 2026 14:00:00 GMT"])
@pytest.mark.parametrize("status", [429, 503])
def test_a_long_retry_after_is_kept_for_later_and_not_slept_on(web, make_cache, slept, now, header, status):
    web.get(URL, status=status, headers={"Retry-After": header})
    with pytest.raises(WeatherError) as caught:
        make_cache().get(URL, PARAMS, now)
    assert str(caught.value).endswith("; not asked again before 2026-06-01T14:00Z")
    assert caught.value.retry_after_s == 7200.0
    assert slept == []
    with pytest.raises(WeatherError, match="not asked again before 2026-06-01T14:00Z") as caught:
        make_cache().get(URL, PARAMS, now + 60 * MINUTE)
    assert caught.value.retry_after_s == 3600.0
    assert len(web.calls) == 1


def test_a_429_with_retry_after_serves_the_last_good_answer_with_its_age_and_the_reason(web, make_cache, now):
    web.get(URL, body=b"good")
    web.get(URL, status=429, headers={"Retry-After": "7200"})
    make_cache().get(URL, PARAMS, now)
    for later in (now + 190 * MINUTE, now + 200 * MINUTE):  # the second is answered without asking
        answer = make_cache().get(URL, PARAMS, later)
        assert (answer.body, answer.fetched_at, answer.from_cache) == (b"good", now, True)
        assert answer.notes[0] == "weather.example has had too many requests (status 429)"
    assert answer.notes[1] == "the answer of 2026-06-01T12:00Z is used instead, 3 h 20 min old"
    assert len(web.calls) == 2


def test_an_absurd_retry_after_is_cut_to_about_a_day(web, make_cache, now):
    web.get(URL, status=429, headers={"Retry-After": "9" * 400})
    with pytest.raises(WeatherError) as caught:
        make_cache().get(URL, PARAMS, now)
    assert caught.value.retry_after_s == 25 * 3600.0


def test_a_wait_read_from_the_body_counts_where_there_is_no_retry_after(web, make_cache, slept, now):
    web.get(URL, status=429)
    with pytest.raises(WeatherError, match="not asked again before 2026-06-01T12:02Z"):
        make_cache().get(URL, PARAMS, now, read_refusal=lambda *_: Refusal("busy", 90.0, 30.0))
    assert slept == []


def test_each_failure_in_a_row_doubles_the_pause_up_to_the_interval(web, make_cache, now):
    web.get(URL, status=403)
    cache = make_cache()
    pauses = []
    for _ in range(5):
        with pytest.raises(WeatherError) as caught:
            cache.get(URL, PARAMS, now)
        pauses.append(caught.value.retry_after_s)
        now += timedelta(seconds=caught.value.retry_after_s)
    assert pauses == [300.0, 600.0, 1200.0, 1800.0, 1800.0]
    assert len(web.calls) == 5


def test_a_good_answer_ends_the_row_of_failures(web, make_cache, now):
    web.get(URL, status=403)
    web.get(URL, status=403)
    web.get(URL, body=b"good")
    web.get(URL, status=403)
    cache = make_cache()
    for minute in (0, 5):
        with pytest.raises(WeatherError):
            cache.get(URL, PARAMS, now + minute * MINUTE)
    assert cache.get(URL, PARAMS, now + 15 * MINUTE).notes == ()
    cache.get(URL, PARAMS, now + 45 * MINUTE)
    cache.get(URL, PARAMS, now + 49 * MINUTE)
    assert len(web.calls) == 4
    cache.get(URL, PARAMS, now + 50 * MINUTE)
    assert len(web.calls) == 5


def test_a_body_that_fails_the_check_does_not_replace_the_last_good_answer(web, make_cache, slept, now):
    web.get(URL, body=b"[1, 2]")
    web.get(URL, body=b"[1, ")
    make_cache().get(URL, PARAMS, now, check=only_json)
    answer = make_cache().get(URL, PARAMS, now + 31 * MINUTE, check=only_json)
    assert answer.body == b"[1, 2]"
    assert answer.notes == (
        "the answer stops in the middle",
        "the answer of 2026-06-01T12:00Z is used instead, 31 min old",
    )
    assert slept == []


def test_a_body_that_fails_the_check_is_an_error_where_nothing_is_stored(web, make_cache, now):
    web.get(URL, body=b"[1, ")
    with pytest.raises(
        WeatherError, match=r"^the answer stops in the middle; not asked again before 2026-06-01T12:05Z$"
    ):
        make_cache().get(URL, PARAMS, now, check=only_json)


def test_a_service_in_trial_or_soon_to_end_is_used_and_noted(web, make_cache, now):
    # Status 203 by MET Norway's documentation of status codes.
    web.get(URL, status=203, body=b"good")
    answer = make_cache().get(URL, PARAMS, now)
    assert (answer.body, answer.status) == (b"good", 203)
    assert answer.notes == ("weather.example marks this service as in trial or soon to end (status 203)",)


def test_a_body_larger_than_the_cap_is_refused(web, make_cache, now, monkeypatch):
    monkeypatch.setattr(exchange, "BODY_LIMIT", 2**21)
    web.get(URL, body=b"x" * (2**21 + 1))
    with pytest.raises(WeatherError, match=r"^weather.example sent more than 2 MiB, which is no forecast; "):
        make_cache().get(URL, PARAMS, now)


def test_an_answer_that_drips_in_for_ever_is_given_up(web, make_cache, now):
    seconds = iter(range(0, 100_000, 40))
    web.get(URL, body=b"x" * 4096)
    with pytest.raises(WeatherError, match=r"^the answer of weather.example took longer than 60 s; "):
        make_cache(monotonic=lambda: next(seconds)).get(URL, PARAMS, now)


def test_a_redirect_to_https_is_followed(web, make_cache, now):
    web.get(URL, status=302, headers={"Location": "https://other.example/v1"})
    web.get("https://other.example/v1", body=b"good")
    assert make_cache().get(URL, PARAMS, now).body == b"good"


def test_a_redirect_on_the_same_plain_host_is_followed(web, make_cache, now):
    web.get("http://weather.local/a", status=301, headers={"Location": "/b"})
    web.get("http://weather.local/b", body=b"good")
    assert make_cache().get("http://weather.local/a", {}, now).body == b"good"


@pytest.mark.parametrize(
    ("start", "target"),
    [
        (URL, "http://weather.example/v1"),  # down from https
        ("http://weather.local/a", "http://other.local/b"),
        (URL, "ftp://weather.example/v1"),
        (URL, "file:///etc/passwd"),
        (URL, "https://[broken"),
    ],
)
def test_a_redirect_anywhere_else_is_not_followed(web, make_cache, now, start, target):
    web.get(start, status=302, headers={"Location": target})
    with pytest.raises(WeatherError, match="redirects to an address that is not followed, because it is not https"):
        make_cache().get(start, {}, now)
    assert len(web.calls) == 1


def test_a_redirect_to_nowhere_is_said(web, make_cache, now):
    web.get(URL, status=302)
    with pytest.raises(WeatherError, match=r"^weather.example redirects, but does not say where; "):
        make_cache().get(URL, {}, now)


def test_redirects_without_end_are_given_up(web, make_cache, now):
    web.get(URL, status=307, headers={"Location": URL})
    with pytest.raises(WeatherError, match=r"^weather.example redirects without end; "):
        make_cache().get(URL, {}, now)


@pytest.mark.parametrize(
    "url",
    ["weather.example", "ftp://weather.example/", "https://", "https://[broken", "http://a b/", "http://x:99999999/"],
)
def test_an_address_that_is_none_is_said_plainly(make_cache, now, url):
    with pytest.raises(WeatherError, match="is not a web address; write one such as https://host"):
        make_cache().get(url, {}, now)


def test_a_key_is_sent_but_neither_stored_nor_shown(web, make_cache, tmp_path, now):
    with_password = URL.replace("weather", "me:pass1@weather")
    web.get(with_password, status=401, body=b"the key s3cret is wrong")
    with pytest.raises(WeatherError) as caught:
        make_cache().get(
            with_password,
            {**PARAMS, "apikey": "s3cret"},
            now,
            read_refusal=lambda _status, body, _now: Refusal(body.decode()),
        )
    assert "apikey=s3cret" in web.calls[0].request.url
    assert "the key … is wrong" in str(caught.value)
    path, head, _body = stored(tmp_path)
    assert head["url"] == f"{URL}?latitude=54.3233&longitude=10.1394"
    written = path.name.encode() + path.read_bytes()
    assert b"s3cret" not in written
    assert b"pass1" not in written


def test_a_key_in_a_header_goes_to_the_host_asked_alone_and_is_neither_stored_nor_shown(web, make_cache, tmp_path, now):
    key = {"X-Api-Key": "s3cret"}
    web.get(URL, status=302, headers={"Location": "https://weather.example/v2"})
    web.get("https://weather.example/v2", status=302, headers={"Location": "https://other.example/v1"})
    web.get("https://other.example/v1", status=401, body=b"s3cret is no key")
    with pytest.raises(WeatherError) as caught:
        make_cache().get(
            URL,
            PARAMS,
            now,
            headers={"Accept": "application/geo+json"},
            secret_headers=key,
            read_refusal=lambda _status, body, _now: Refusal(body.decode()),
        )
    assert "… is no key" in str(caught.value)
    sent = [call.request.headers for call in web.calls]
    assert [headers.get("X-Api-Key") for headers in sent] == ["s3cret", "s3cret", None]
    assert [headers["Accept"] for headers in sent] == ["application/geo+json"] * 3
    path, _head, _body = stored(tmp_path)
    assert b"s3cret" not in path.read_bytes()


@pytest.mark.parametrize("target", ["http://weather.local:81/a", "https://weather.local/a"])
def test_a_key_does_not_go_to_another_port_or_scheme_of_the_host(web, make_cache, now, target):
    web.get("http://weather.local/a", status=301, headers={"Location": target})
    web.get(target, body=b"good")
    make_cache().get("http://weather.local/a", {}, now, secret_headers={"X-Api-Key": "s3cret"})
    assert [call.request.headers.get("X-Api-Key") for call in web.calls] == ["s3cret", None]


def test_an_answer_that_changes_seldom_is_kept_for_as_long_as_told(web, make_cache, now):
    web.get(URL, body=b"good")
    web.get(URL, status=503)
    week_s = 7 * 86400.0
    make_cache().get(URL, PARAMS, now, keep_s=week_s)
    assert make_cache().get(URL, PARAMS, now + timedelta(days=6.9), keep_s=week_s).body == b"good"
    assert len(web.calls) == 1
    # The pause after a failure is that of every address.
    assert make_cache().get(URL, PARAMS, now + timedelta(days=7), keep_s=week_s).notes[0].endswith("(status 503)")
    make_cache().get(URL, PARAMS, now + timedelta(days=7, minutes=5), keep_s=week_s)
    assert len(web.calls) == 9


def test_what_is_stored_holds_the_headers_the_time_and_the_address(web, make_cache, tmp_path, now):
    headers = {"ETag": '"a"', "Last-Modified": "yesterday", "Expires": "0"}
    web.get(URL, body=b"good", headers=headers)
    make_cache().get(URL, PARAMS, now)
    _path, head, body = stored(tmp_path)
    assert body == b"good"
    assert [head[name] for name in ("etag", "last_modified", "expires")] == list(headers.values())
    assert head["fetched_at"] == "2026-06-01T12:00:00Z"


def damages():
    return {
        "empty": lambda _old: b"",
        "half a head": lambda old: old[:40],
        "half a body": lambda old: old[:-1],
        "another body": lambda old: old[:-1] + b"!",
        "no JSON": lambda _old: b"\x00\xff\xfe nonsense",
        "another shape": lambda _old: b'{"kept": 7}\nbody',
        "naive times": lambda old: old.replace(b'T12:00:00Z"', b'T12:00:00"'),
    }


@pytest.mark.parametrize("damage", damages())
def test_a_damaged_file_is_ignored_with_a_note(web, make_cache, tmp_path, now, damage):
    web.get(URL, body=b"good")
    web.get(URL, body=b"better")
    make_cache().get(URL, PARAMS, now)
    path, _head, _body = stored(tmp_path)
    path.write_bytes(damages()[damage](path.read_bytes()))
    answer = make_cache().get(URL, PARAMS, now + MINUTE)
    assert answer.body == b"better"
    assert answer.notes == (f"the stored answer {path} is damaged and is ignored",)
    assert make_cache().get(URL, PARAMS, now + 2 * MINUTE).notes == ()


def test_a_file_that_cannot_be_read_is_ignored_with_a_note(web, make_cache, tmp_path, now):
    web.get(URL, body=b"good")
    make_cache().get(URL, PARAMS, now)
    path, _head, _body = stored(tmp_path)
    path.unlink()
    path.mkdir()
    answer = make_cache().get(URL, PARAMS, now)
    assert answer.body == b"good"
    assert answer.notes[0].startswith(f"the stored answer {path} cannot be read and is ignored: ")


def test_a_folder_that_cannot_be_written_costs_the_copy_but_not_the_answer(web, make_cache, tmp_path, now):
    (tmp_path / "file").write_text("in the way")
    web.get(URL, body=b"good")
    answer = make_cache(folder=tmp_path / "file").get(URL, PARAMS, now)
    assert answer.body == b"good"
    assert len(answer.notes) == 2  # neither could be read there, nor kept
    assert answer.notes[1].startswith(f"the answer could not be kept in {tmp_path / 'file'}: ")


def test_a_write_that_fails_leaves_the_old_file_whole_and_no_litter(web, make_cache, tmp_path, now, monkeypatch):
    web.get(URL, body=b"good")
    web.get(URL, body=b"better")
    make_cache().get(URL, PARAMS, now)
    path, _head, _body = stored(tmp_path)
    before = path.read_bytes()

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("pathlib.Path.replace", full)
    answer = make_cache().get(URL, PARAMS, now + 31 * MINUTE)
    assert answer.body == b"better"
    assert answer.notes == (f"the answer could not be kept in {path.parent}: No space left on device",)
    assert list(path.parent.iterdir()) == [path]
    assert path.read_bytes() == before


def test_a_folder_that_is_made_for_the_copies_is_for_its_owner_alone(web, make_cache, tmp_path, now):
    web.get(URL, body=b"good")
    folder = tmp_path / "state" / "weather"
    make_cache(folder=folder).get(URL, PARAMS, now)
    (copy,) = folder.iterdir()
    modes = [path.stat().st_mode & 0o777 for path in (folder.parent, folder, copy)]
    assert modes == [0o700, 0o700, 0o600]


@pytest.fixture
def given_away(monkeypatch):
    """Be root for the store of answers, and collect what is given to whom instead of giving it."""
    given = []
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    monkeypatch.setattr(os, "chown", lambda path, *owner, **_: given.append((Path(path).name, owner)))
    monkeypatch.setattr(os, "fchown", lambda _handle, *owner: given.append(("answer", owner)))
    return given


def test_what_root_keeps_belongs_to_the_owner_of_the_folder(web, make_cache, tmp_path, now, given_away):
    web.get(URL, body=b"good")
    (tmp_path / "home").mkdir()
    owner = ((tmp_path / "home").stat().st_uid, (tmp_path / "home").stat().st_gid)
    make_cache(folder=tmp_path / "home" / "state" / "weather").get(URL, PARAMS, now)
    assert given_away == [("state", owner), ("weather", owner), ("answer", owner)]


def test_nobody_but_root_gives_files_away(web, make_cache, tmp_path, now, given_away, monkeypatch):
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    web.get(URL, body=b"good")
    make_cache(folder=tmp_path / "state" / "weather").get(URL, PARAMS, now)
    assert given_away == []
