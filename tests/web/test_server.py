"""The server in the daemon: it begins, leaves in time, does without its address, and gives up on whoever dawdles."""

import asyncio
import socket
import threading
import time
from concurrent.futures import ThreadPoolExecutor

import httpx
import pytest
from starlette.applications import Starlette
from starlette.responses import PlainTextResponse
from starlette.routing import Route

from dryspell.clock import FixedClock
from dryspell.config.page import PageSettings
from dryspell.web import connection, server
from dryspell.web.asked import AskedTicks
from dryspell.web.gate import Gate
from dryspell.web.guard import Guard
from dryspell.web.server import PageServer
from yard import START


async def _said(_request):
    return PlainTextResponse("here")


def page_of(listen=("127.0.0.1", 0), app=None, **more):
    app = app or Starlette(routes=[Route("/", _said)])
    return PageServer(lambda: app, PageSettings(listen=listen, **more))


@pytest.fixture
def serve():
    running = []

    def begin(page):
        running.append(page)
        page.start()
        return page

    yield begin
    for page in running:
        page.leave()
        assert page.wait(10)


def test_it_serves_and_leaves_when_it_is_told_even_with_a_browser_that_stays(serve):
    page = serve(page_of())
    assert page.wait_until_served(30)
    with httpx.Client(trust_env=False) as browser:
        assert browser.get(page.url).text == "here"
        begun = time.monotonic()
        page.leave()
        assert page.wait(3)
        assert time.monotonic() - begun < 3
    assert page.url is None


def test_no_part_of_an_answer_waits_for_the_reader_to_have_heard_the_one_before():
    # Nagle's algorithm (RFC 896) holds it back until then, and a reader may wait with that (RFC 1122, 4.2.3.2).
    with page_of()._listener() as listener:
        assert listener.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_whoever_still_waits_when_it_leaves_is_told_to_come_again_and_of_no_fault(serve, tmp_path):
    begun = threading.Event()

    async def long(_request):
        begun.set()
        await asyncio.sleep(60)

    settings = PageSettings(listen=("127.0.0.1", 0))
    gate = Gate(settings, FixedClock(START), tmp_path)
    page = serve(page_of(app=Guard(Starlette(routes=[Route("/", long)]), gate=gate, settings=settings)))
    assert page.wait_until_served(30)
    with ThreadPoolExecutor(1) as other:
        waits = other.submit(httpx.get, page.url, timeout=30, trust_env=False)
        assert begun.wait(30)
        page.leave()
        answer = waits.result(30)
    # RFC 9110, section 15.6.4: not now, and when to ask again.
    assert (answer.status_code, answer.headers["retry-after"]) == (503, "5")
    assert "is just being stopped or started anew" in answer.text
    assert answer.headers["x-frame-options"] == "DENY"
    assert page.wait(30)


def test_where_its_address_is_taken_that_is_said_once_and_it_is_served_when_it_is_free(serve, monkeypatch, caplog):
    monkeypatch.setattr(server, "TRY_AGAIN_S", 0.05)
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        page = serve(page_of(("127.0.0.1", port)))
        assert not page.wait_until_served(0.5)
    assert page.wait_until_served(30)
    said = [record.getMessage() for record in caplog.records if "cannot be served" in record.getMessage()]
    assert len(said) == 1
    assert f"127.0.0.1:{port}" in said[0]


def test_an_application_that_cannot_be_made_leaves_the_daemon_be(serve, caplog):
    def broken():
        raise ZeroDivisionError("in the middle")

    page = serve(PageServer(broken, PageSettings(listen=("127.0.0.1", 0))))
    page._thread.join(30)
    assert page.url is None
    assert "the daemon goes on without it" in caplog.text


def test_leaving_waits_for_an_application_on_its_way_which_may_be_writing_into_the_state_folder(serve):
    making, go_on = threading.Event(), threading.Event()

    def slow():
        making.set()
        go_on.wait(30)

    page = serve(PageServer(slow, PageSettings(listen=("127.0.0.1", 0))))
    assert making.wait(30)
    page.leave()
    assert not page.wait(0.05)
    go_on.set()
    assert page.wait(30)


def test_one_that_is_told_to_leave_before_it_has_begun_begins_nothing(serve):
    page = page_of()
    page.leave()
    serve(page)
    page._thread.join(30)
    assert page.url is None


@pytest.mark.parametrize(
    ("listen", "begins"),
    [(("0.0.0.0", 1), "http://127.0.0.1:1/"), (("::", 1), "http://[::1]:1/"), (("::1", 1), "http://[::1]:1/")],
)
def test_an_address_is_told_as_a_browser_on_this_machine_reaches_it(listen, begins):
    page = page_of()
    page._address = listen
    assert page.url == begins


@pytest.mark.parametrize(
    "sent", [b"", b"GET / HT", b"POST / HTTP/1.1\r\nHost: localhost\r\nContent-Length: 9\r\n\r\nabc"]
)
def test_whoever_does_not_come_to_an_end_is_cut_off(serve, monkeypatch, sent):
    monkeypatch.setattr(connection, "ASK_WITHIN_S", 0.3)
    page = serve(page_of())
    assert page.wait_until_served(30)
    with socket.create_connection(page._address, timeout=20) as slow:
        slow.sendall(sent)
        try:
            while slow.recv(1000):
                pass
        except ConnectionResetError:
            pass


def test_whoever_does_not_take_an_answer_is_cut_off(serve, monkeypatch):
    monkeypatch.setattr(connection, "TAKE_WITHIN_S", 0.3)
    gone = threading.Event()

    async def large(_scope, receive, send):
        await send({"type": "http.response.start", "status": 200, "headers": []})
        for _ in range(1000):
            await send({"type": "http.response.body", "body": b"x" * 100_000, "more_body": True})
            if (await _soon(receive)) == "http.disconnect":
                break
        gone.set()

    async def _soon(receive):
        import asyncio

        try:
            return (await asyncio.wait_for(receive(), 0.01))["type"]
        except TimeoutError:
            return ""

    page = serve(page_of(app=large))
    assert page.wait_until_served(30)
    with socket.create_connection(page._address, timeout=20) as slow:
        slow.sendall(b"GET / HTTP/1.1\r\nHost: localhost\r\n\r\n")
        assert gone.wait(30)


def test_who_is_asked_through_a_proxy_that_is_trusted_is_the_one_behind_it(serve):
    async def who(request):
        return PlainTextResponse(f"{request.client.host} {request.url.scheme}")

    app = Starlette(routes=[Route("/", who)])
    forwarded = {"x-forwarded-for": "192.168.1.9", "x-forwarded-proto": "https"}
    for proxies, said in (
        (["127.0.0.1"], "192.168.1.9 https"),
        ([], "127.0.0.1 http"),
        (["10.0.0.1"], "127.0.0.1 http"),
    ):
        page = serve(page_of(app=app, proxies=proxies))
        assert page.wait_until_served(30)
        assert httpx.get(page.url, headers=forwarded, trust_env=False).text == said


def test_those_who_ask_for_a_tick_while_one_runs_share_the_next_one():
    ticks, in_tick, go_on = [], threading.Event(), threading.Event()

    def tick():
        ticks.append(1)
        in_tick.set()
        go_on.wait(30)

    asked = AskedTicks(tick)
    first = threading.Thread(target=asked.ask, args=(30,))
    first.start()
    assert in_tick.wait(30)
    others = [threading.Thread(target=asked.ask, args=(30,)) for _ in range(5)]
    for other in others:
        other.start()
    while asked._asked < 6:
        time.sleep(0.01)
    go_on.set()
    for thread in (first, *others):
        thread.join(30)
    assert len(ticks) == 2
    asked.leave()
    assert asked.wait(30)


def test_whoever_asks_for_a_tick_does_not_wait_for_ever_and_a_failing_one_is_logged(caplog):
    go_on = threading.Event()
    slow = AskedTicks(lambda: go_on.wait(30))
    assert not slow.ask(0.05)
    go_on.set()
    assert slow.ask(30)
    slow.leave()
    assert slow.wait(30)

    def fail():
        raise OSError("the disk is full")

    failing = AskedTicks(fail)
    assert failing.ask(30)
    assert "the disk is full" in caplog.text
    failing.leave()
