"""Devices that are asked over HTTP, against a server on the loopback."""

import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from dryspell.weather.sensors.model import Poll
from dryspell.weather.sensors.poll import PollWay
from weather.sensors.bench import NOON, sensor, until


@pytest.fixture
def device():
    """A device: `answers` are (status, body) in turn, the last one for good; `asked` are the headers it got."""

    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            self.server.asked.append(dict(self.headers))
            status, body = self.server.answers[min(len(self.server.asked), len(self.server.answers)) - 1]
            self.send_response(status)
            if status == 302:
                self.send_header("Location", body.decode())
            self.send_header("Content-Length", str(len(body)))
            self.end_headers()
            self.wfile.write(body)

        def log_message(self, *_):
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    server.asked, server.answers = [], [(200, b'{"t": 20}')]
    server.url = f"http://127.0.0.1:{server.server_port}/state?key=hunter2"
    thread = threading.Thread(target=server.serve_forever, args=(0.01,))
    thread.start()
    yield server
    server.shutdown()
    thread.join()
    server.server_close()


@pytest.fixture
def poll(make_intake, clock, notices):
    """Ask a device again and again until the test is over."""
    ways = []

    def start(url, **how):
        settings = Poll.model_validate({"url": url} | how).model_copy(update={"every_s": 0.02})
        way = PollWay("shed", settings, make_intake(sensor("shed", settings, air_temperature="t")), clock, notices)
        ways.append(way)
        way.start()

    yield start
    for way in ways:
        way.stop()
    assert all(way.wait(10) for way in ways)


def test_a_device_is_asked_at_once_and_at_its_interval(device, poll, sink):
    device.answers = [(200, b'{"t": 20}'), (200, b'{"t": 21}')]
    poll(device.url)
    sink.wait_for(20, 21)
    assert [(each.sensor, each.at) for each in sink.readings[:2]] == [("shed", NOON)] * 2
    assert device.asked[0]["User-Agent"].startswith("dryspell/")
    assert "Authorization" not in device.asked[0]


@pytest.mark.parametrize(("header", "value"), [("Authorization", "Bearer hunter2"), ("X-Key", "hunter2")])
def test_a_token_is_sent_in_the_header_that_was_named(device, poll, sink, header, value):
    poll(device.url, header=header, token="hunter2")
    sink.wait_for(20)
    assert device.asked[0][header] == value


def test_a_token_follows_no_redirect_to_another_host(device, poll, notices):
    device.answers = [(302, device.url.replace("127.0.0.1", "localhost").encode())]
    poll(device.url, token="hunter2")
    until(notices.current)
    assert "redirects to an address that is not followed" in notices.current()["shed http"]
    assert all(each["Host"].startswith("127.0.0.1") for each in device.asked)


def test_trouble_with_a_device_is_said_once_without_secrets_until_it_answers_again(device, poll, sink, logged):
    device.answers = [(401, b"no"), (404, b"gone"), (404, b"gone"), (200, b"<html>"), (200, b'{"t": 22}')]
    poll(device.url, token="hunter2")
    sink.wait_for(22)
    said = [record.getMessage() for record in logged.records]
    assert said == [
        "sensor shed: 127.0.0.1 refused the request (status 401)",
        "sensor shed: 127.0.0.1 refused the request (status 404)",
        "sensor shed: answers again",
        "sensor shed: air_temperature: there is no t in the payload, which is not JSON",
        "sensor shed: air_temperature has values again",
    ]
    assert "hunter2" not in logged.text


def test_a_device_that_is_off_is_said(poll, notices, monkeypatch):
    monkeypatch.setattr("dryspell.weather.exchange.BACKOFF_S", 0.0)
    server = ThreadingHTTPServer(("127.0.0.1", 0), BaseHTTPRequestHandler)
    url = f"http://127.0.0.1:{server.server_port}/"
    server.server_close()
    poll(url)
    until(notices.current)
    assert notices.current() == {"shed http": "sensor shed: 127.0.0.1 cannot be reached"}
