"""What stands before every page: by what name it is asked for, from which page, how much, and by whom."""

import logging

import pytest
from pydantic import SecretStr
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from asgi import AsgiClient
from dryspell.clock import FixedClock
from dryspell.config.page import PageSettings
from dryspell.web.gate import COOKIE, Gate
from dryspell.web.guard import LARGEST_BODY, LONGEST_PATH, LONGEST_QUERY, MOST_HEADERS, Guard
from yard import START

TOKEN = "b1f2-a-token-that-nobody-guesses"


async def _said(request):
    size = len(await request.body())
    return PlainTextResponse(f"in: {request.state.let_in}, {size} bytes")


async def _fault(_request):
    raise ZeroDivisionError("a secret of /home/ada")


def client_of(tmp_path, **page):
    settings = PageSettings(**page)
    routes = [
        Route(path, _said, methods=["GET", "POST"])
        for path in ("/", "/api/v1/x", "/health", "/static/x", "/calendar/a.ics")
    ]
    app = Starlette(routes=[*routes, Route("/fault", _fault), Route("/login", _said)])
    gate = Gate(settings, FixedClock(START), tmp_path)
    app.add_middleware(Guard, gate=gate, settings=settings)
    client = AsgiClient(app)
    client.gate = gate
    return client


@pytest.fixture
def client(tmp_path):
    return client_of(tmp_path)


@pytest.fixture
def asked(tmp_path):
    return client_of(tmp_path, token=SecretStr(TOKEN))


@pytest.mark.parametrize(
    "host", ["127.0.0.1:8417", "localhost", "localhost:8417", "[::1]:8417", "LOCALHOST.", "127.0.0.1"]
)
def test_names_of_this_machine_are_answered(client, host):
    assert client.get("/", headers={"host": host}).status_code == 200


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost.evil.example", "127.0.0.1.evil.example", "192.168.1.5", "", "[::1", "a b"]
)
def test_any_other_name_is_refused_so_that_no_strangers_page_can_stand_in_for_this_one(client, host):
    answer = client.get("/", headers={"host": host})
    assert answer.status_code == 403
    assert "in: " not in answer.text


def test_names_that_are_told_are_answered(tmp_path):
    client = client_of(tmp_path, hosts=["varnish.lan"])
    assert client.get("/", headers={"host": "Varnish.LAN:8417"}).status_code == 200
    assert client.get("/", headers={"host": "other.lan"}).status_code == 403


def test_a_proxy_may_ask_by_another_name_than_the_browser_does(tmp_path):
    client = client_of(tmp_path, hosts=["varnish.lan"])
    assert client.post("/", headers={"origin": "https://varnish.lan"}).status_code == 200
    assert client.post("/", headers={"origin": "https://other.lan"}).status_code == 403


def test_beyond_loopback_addresses_are_answered_and_names_still_have_to_be_told(tmp_path):
    client = client_of(tmp_path, listen=("0.0.0.0", 8417), token=SecretStr(TOKEN))
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert client.get("/", headers={"host": "192.168.1.5:8417", **bearer}).status_code == 200
    assert client.get("/", headers={"host": "evil.example", **bearer}).status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://evil.example"},
        {"origin": "null"},
        {"origin": ""},
        {"origin": "http://127.0.0.1:9999"},
        {"origin": "http://[::1"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site", "origin": "http://127.0.0.1:8417"},
    ],
)
def test_a_change_that_another_page_asks_for_is_refused(client, headers):
    assert client.post("/", headers=headers).status_code == 403
    assert client.get("/", headers=headers).status_code == 200


@pytest.mark.parametrize(
    "headers",
    [{}, {"origin": "http://127.0.0.1:8417"}, {"sec-fetch-site": "same-origin"}, {"sec-fetch-site": "none"},
     {"origin": "https://127.0.0.1:8417", "sec-fetch-site": "same-origin"}],
)  # fmt: skip
def test_a_change_from_a_page_of_ours_or_from_a_program_goes_through(client, headers):
    assert client.post("/", headers=headers).status_code == 200


@pytest.mark.parametrize(
    ("ask", "status"),
    [
        ({"url": "/" + "x" * LONGEST_PATH}, 414),
        ({"url": "/?" + "x" * (LONGEST_QUERY + 1)}, 414),
        ({"url": "/", "headers": {f"x-{k}": "1" for k in range(MOST_HEADERS)}}, 431),
        ({"url": "/", "headers": {"content-length": str(LARGEST_BODY + 1)}}, 413),
        ({"url": "/", "headers": {"content-length": "-1"}}, 413),
        ({"url": "/", "headers": {"content-length": "9" * 4000}}, 413),
        ({"url": "/%00"}, 404),
    ],
)
def test_what_is_larger_than_anything_here_is_refused(client, ask, status):
    assert client.get(**ask).status_code == status


def test_a_body_of_untold_length_is_cut_off(client):
    async def parts():
        for _ in range(10):
            yield b"x" * (LARGEST_BODY // 8)

    assert client.post("/", content=parts()).status_code == 413
    assert client.post("/", content=b"x" * LARGEST_BODY).text == f"in: True, {LARGEST_BODY} bytes"


def test_every_answer_bounds_what_a_browser_may_do_with_it(client):
    for path in ("/", "/not-there", "/fault", "/static/x"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "same-origin"
        assert "server" not in headers
        assert "access-control-allow-origin" not in headers


def test_a_fault_is_told_to_the_log_alone(client, caplog):
    with caplog.at_level(logging.ERROR, "dryspell"):
        answer = client.get("/fault")
    assert answer.status_code == 500
    for word in ("secret", "ada", "Traceback", "ZeroDivision", "/home"):
        assert word not in answer.text
    assert "ZeroDivisionError" in caplog.text


def test_without_a_token_that_is_asked_for_everybody_at_this_machine_is_let_in(client):
    assert client.get("/").text.startswith("in: True")


def test_a_person_who_is_not_let_in_is_shown_where_to_log_in(asked):
    answer = asked.get("/record/rail?coat=4")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/login?next=%2Frecord%2Frail%3Fcoat%3D4"
    assert asked.post("/").status_code == 401


def test_a_program_that_is_not_let_in_is_told_what_is_wanted(asked):
    answer = asked.get("/api/v1/x")
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert answer.headers["content-type"].startswith("application/problem+json")


@pytest.mark.parametrize("scheme", ["Bearer", "bearer"])
def test_a_program_with_the_token_is_let_in(asked, scheme):
    assert asked.get("/api/v1/x", headers={"authorization": f"{scheme} {TOKEN}"}).status_code == 200


@pytest.mark.parametrize("given", ["Bearer wrong", "Bearer", f"Basic {TOKEN}", TOKEN, f"Bearer {TOKEN}x"])
def test_any_other_word_lets_no_program_in(asked, given):
    assert asked.get("/api/v1/x", headers={"authorization": given}).status_code == 401


def test_programs_that_guess_are_left_out_for_a_while_even_with_the_right_token(asked):
    for _ in range(5):
        asked.get("/api/v1/x", headers={"authorization": "Bearer guess"})
    answer = asked.get("/api/v1/x", headers={"authorization": f"Bearer {TOKEN}"})
    assert answer.status_code == 429
    assert int(answer.headers["retry-after"]) > 0


def test_a_session_lets_in_and_the_token_as_a_cookie_does_not(asked):
    assert asked.get("/", headers={"cookie": f"{COOKIE}={asked.gate.begin()}"}).status_code == 200
    assert asked.get("/", headers={"cookie": f"{COOKIE}={TOKEN}"}).status_code == 303


def test_everybody_may_see_what_looks_the_same_for_all_and_how_it_does_in_a_word(asked):
    assert asked.get("/static/x").status_code == 200
    assert asked.get("/login").status_code == 200
    assert asked.get("/health").text.startswith("in: False")


def test_the_key_of_a_feed_opens_that_feed(asked):
    key = asked.gate.feed_key("/calendar/a.ics")
    assert asked.get(f"/calendar/a.ics?key={key}").status_code == 200
    assert asked.get(f"/api/v1/x?key={key}").status_code == 401
    assert asked.get("/calendar/a.ics?key=wrong").status_code == 401
    assert asked.get(f"/calendar/a.ics?key={key}&key={key}").status_code == 401
    assert asked.get("/calendar/a.ics?" + "&".join(["a=1"] * 50)).status_code == 401


def test_behind_a_prefix_paths_are_told_with_it(tmp_path):
    client = client_of(tmp_path, prefix="/varnish", token=SecretStr(TOKEN))
    assert client.get("/varnish/").headers["location"] == "/varnish/login?next=%2F"
    assert client.get("/").headers["location"] == "/varnish/login?next=%2F"
    bearer = {"authorization": f"Bearer {TOKEN}"}
    assert client.get("/varnish/", headers=bearer).status_code == 200
    assert client.get("/", headers=bearer).status_code == 200
