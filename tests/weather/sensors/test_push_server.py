"""The door for pushed readings, with honest senders and others."""

import json
import socket
import threading

import pytest
import requests

from dryspell.weather.sensors import push_server
from dryspell.weather.sensors.push import PushDesk
from dryspell.weather.sensors.push_server import PushServer
from weather.sensors.bench import sensor, until

TOKEN = "correct horse battery"
BEARER = {"Authorization": f"Bearer {TOKEN}"}


@pytest.fixture
def desk(make_intake, clock, notices):
    return PushDesk(TOKEN, {"gate"}, make_intake(sensor("gate", air_temperature="t")), clock, notices)


@pytest.fixture
def listen(desk, notices, monkeypatch):
    """Listen at an address, and return the server once it does."""
    servers = []
    monkeypatch.setattr(push_server._Server, "timeout", 0.02)

    def start(host="127.0.0.1", port=0):
        server = PushServer((host, port), desk, notices)
        servers.append(server)
        server.start()
        return server

    yield start
    for server in servers:
        server.stop()
    assert all(server.wait(10) for server in servers)


@pytest.fixture
def server(listen):
    server = listen()
    until(lambda: server.port)
    return server


@pytest.fixture
def url(server):
    return f"http://127.0.0.1:{server.port}/v1/readings/gate"


def talk(server, data, *, timeout=20):
    """Send bytes as they are, and return all that comes back until the other side hangs up."""
    with socket.create_connection(("127.0.0.1", server.port), timeout=timeout) as sock:
        sock.sendall(data)
        answer = b""
        while chunk := sock.recv(4096):
            answer += chunk
        return answer


def test_readings_are_taken_in(url, sink):
    answer = requests.post(url, json={"t": 20}, headers=BEARER, timeout=20)
    assert (answer.status_code, answer.json()["readings"]) == (200, 1)
    assert answer.headers["Content-Type"] == "application/json"
    assert answer.headers["Server"] == "dryspell"
    assert sink.values == [20]


def test_200_is_said_only_when_the_readings_are_kept(url, sink):
    sink.refuses = True
    answer = requests.post(url, json={"t": 20}, headers=BEARER, timeout=20)
    assert (answer.status_code, answer.headers["Retry-After"]) == (503, "30")


def test_the_wrong_token_and_other_methods_are_refused(url):
    answer = requests.post(url, json={"t": 20}, timeout=20)
    assert (answer.status_code, answer.headers["WWW-Authenticate"]) == (401, "Bearer")
    assert requests.get(url, headers=BEARER, timeout=20).headers["Allow"] == "POST"


@pytest.mark.parametrize("size", [2**16 + 1, 2**20])
def test_a_body_that_is_too_large_is_refused_and_its_sender_hears_it(url, sink, size):
    answer = requests.post(url, data=b"1" * size, headers=BEARER, timeout=20)
    assert answer.status_code == 413
    assert sink.readings == []


@pytest.mark.parametrize(
    ("head", "status"),
    [
        ("POST /v1/readings/gate HTTP/1.1\r\nTransfer-Encoding: chunked", 411),
        ("POST /v1/readings/gate HTTP/1.1\r\nContent-Length: -5", 411),
        ("POST /v1/readings/gate HTTP/1.1\r\nContent-Length: 99999999999999999999", 413),
        ("POST /v1/readings/gate HTTP/1.1\r\n" + "A: b\r\n" * 200 + "C: d", 431),
        ("POST " + "x" * 70_000 + " HTTP/1.1", 414),
        ("BREW /pot HTTP/1.1", 501),
    ],
)
def test_requests_that_are_none_are_refused(server, sink, head, status):
    answer = talk(server, head.encode() + b"\r\n\r\n")
    assert answer.startswith(f"HTTP/1.0 {status} ".encode())
    assert sink.readings == []


def test_a_sender_that_hangs_up_in_the_middle_leaves_nothing_behind(server, url, sink, logged):
    head = f"POST /v1/readings/gate HTTP/1.1\r\nAuthorization: Bearer {TOKEN}\r\nContent-Length: 9\r\n\r\n"
    with socket.create_connection(("127.0.0.1", server.port)) as sock:
        sock.sendall(head.encode() + b'{"t')
    assert requests.post(url, json={"t": 20}, headers=BEARER, timeout=20).status_code == 200
    assert sink.values == [20]
    assert "Traceback" not in logged.text


def test_senders_that_say_nothing_are_sent_away_and_keep_nobody_out(server, url, sink, monkeypatch):
    monkeypatch.setattr(push_server, "LONGEST_S", 0.2)
    silent = [socket.create_connection(("127.0.0.1", server.port)) for _ in range(push_server.MOST_CONNECTIONS + 4)]
    for sock in silent:
        sock.settimeout(20)
        assert sock.recv(10) == b""  # hung up on
        sock.close()
    until(lambda: _taken(url))
    assert sink.values == [20]


def _taken(url):
    try:
        return requests.post(url, json={"t": 20}, headers=BEARER, timeout=20).status_code == 200
    except requests.ConnectionError:  # there is no room yet
        return False


def test_a_port_that_is_taken_is_said_and_tried_again(listen, monkeypatch, logged):
    monkeypatch.setattr(push_server, "Backoff", lambda *_: type("Soon", (), {"wait_s": lambda _self: 0.05})())
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        server = listen(port=port)
        until(lambda: logged.records)
        assert f"cannot listen on 127.0.0.1 port {port} for pushed readings: Address already in use" in logged.text
    until(lambda: server.port)
    until(lambda: "listening on" in logged.text)


def test_two_senders_at_once_are_both_heard(url, sink):
    def send(number):
        requests.post(url, data=json.dumps({"t": number}), headers=BEARER, timeout=20)

    threads = [threading.Thread(target=send, args=(number,)) for number in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert sorted(sink.values) == list(range(8))
