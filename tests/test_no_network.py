"""No test reaches beyond loopback, and one that would is found out. Addresses are those of RFC 5737 and RFC 3849."""

import contextlib
import socket
import subprocess
import sys
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest
import requests

from guard import no_network

FAR, FAR_V6 = "192.0.2.1", "2001:db8::1"


@pytest.fixture
def found_out():
    """Return what this test was refused, and forget it at its end: here that is what is wanted."""
    before = len(no_network.refused)
    yield lambda: no_network.refused[before:]
    del no_network.refused[before:]


def connect_ex(host):
    with socket.socket() as plain:
        plain.connect_ex((host, 80))


def send(host):
    with socket.socket(type=socket.SOCK_DGRAM) as datagram:
        datagram.sendto(b"?", (host, 53))


WAYS = {
    "a connection": lambda: socket.create_connection((FAR, 80), timeout=1),
    "a connection over IPv6": lambda: socket.create_connection((FAR_V6, 80), timeout=1),
    "a connection that hides its error": lambda: connect_ex(FAR),
    "a datagram": lambda: send(FAR),
    "a look-up": lambda: socket.getaddrinfo("weather.example", 443),
    "an old look-up": lambda: socket.gethostbyname("weather.example"),
    "a request": lambda: requests.get("https://weather.example/", timeout=1),
}


@pytest.mark.parametrize("way", WAYS)
def test_whoever_reaches_out_is_stopped(found_out, way):
    with pytest.raises(no_network.ReachedOutError):
        WAYS[way]()
    assert len(found_out()) == 1


def test_reaching_out_is_noted_where_the_error_is_caught(found_out):
    with contextlib.suppress(BaseException):
        connect_ex(FAR)
    assert found_out() == [f"socket.connect to {FAR}"]


def test_a_python_that_a_test_starts_ends_where_it_reaches_out():
    code = f"import socket\ntry: socket.create_connection(('{FAR}', 80), 1)\nexcept BaseException: pass"
    child = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, timeout=60)
    assert child.returncode == no_network.EXIT_CODE
    assert child.stderr == f"no test may reach beyond loopback: socket.getaddrinfo to {FAR}\n"


def test_loopback_is_open(found_out):
    class Handler(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", 0), Handler) as server:
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        for host in ("127.0.0.1", "localhost"):
            assert requests.get(f"http://{host}:{server.server_port}/", timeout=5).status_code == 204
        server.shutdown()
        thread.join()
    assert found_out() == []
