"""The same behaviour against a real server on the loopback, where sockets, not a fake, time out and break."""

import gzip
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from dryspell.errors import WeatherError


@pytest.fixture
def serve():
    """Serve the given acts, one a request, and collect the requests' headers; the last act serves all further ones."""
    done = threading.Event()
    servers = []

    def start(*acts):
        asked = []

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                asked.append(dict(self.headers))
                acts[min(len(asked), len(acts)) - 1](self)

            def log_message(self, *_):
                pass

        server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        server.daemon_threads = False
        server.block_on_close = True
        server.silent = done
        thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.01})
        thread.start()
        servers.append((server, thread))
        return f"http://127.0.0.1:{server.server_port}/v1/forecast", asked

    yield start
    done.set()
    for server, thread in servers:
        server.shutdown()
        thread.join()
        server.server_close()


def good(handler):
    body = gzip.compress(b'{"hourly": {}}')
    handler.send_response(200)
    handler.send_header("Content-Encoding", "gzip")
    handler.send_header("Content-Length", str(len(body)))
    handler.end_headers()
    handler.wfile.write(body)


def silence(handler):
    handler.server.silent.wait(20)


def broken_off(handler):
    handler.send_response(200)
    handler.send_header("Content-Length", "5000")
    handler.end_headers()
    handler.wfile.write(b'{"hourly": {"time": [')


def chunk_broken_off(handler):
    handler.protocol_version = "HTTP/1.1"
    handler.send_response(200)
    handler.send_header("Transfer-Encoding", "chunked")
    handler.end_headers()
    handler.wfile.write(b'c8\r\n{"hourly": {"time": [')


def overloaded(handler):
    handler.send_response(503)
    handler.end_headers()
    handler.wfile.write(b"busy")


def hangs_after_the_head(handler):
    handler.send_response(200)
    handler.send_header("Content-Length", "5000")
    handler.end_headers()
    handler.wfile.write(b"{")
    handler.wfile.flush()
    handler.server.silent.wait(20)


def endless_redirect_body(handler):
    handler.send_response(302)
    handler.send_header("Location", "http://elsewhere.example/")
    handler.end_headers()
    try:
        for _ in range(64):
            handler.wfile.write(b"x" * 2**20)
    except OSError:  # the asker has hung up, as it should
        pass


def not_gzip(handler):
    handler.send_response(200)
    handler.send_header("Content-Encoding", "gzip")
    handler.end_headers()
    handler.wfile.write(b"not packed at all")


def test_troubles_of_every_kind_are_tried_again_until_the_answer_comes(serve, make_cache, slept, now):
    url, asked = serve(overloaded, broken_off, chunk_broken_off, good)
    answer = make_cache().get(url, {}, now)
    assert answer.body == b'{"hourly": {}}'
    assert slept == [1.0, 2.0, 4.0]
    assert [headers["User-Agent"].split("/")[0] for headers in asked] == ["dryspell"] * 4


def test_a_silent_server_is_given_up_after_the_timeout(serve, make_cache, slept, now):
    url, asked = serve(silence)
    with pytest.raises(WeatherError, match=r"^127\.0\.0\.1 did not answer within 0\.05 s; not asked again before"):
        make_cache(timeout=(0.05, 0.05)).get(url, {}, now)
    assert len(asked) == 4
    assert slept == [1.0, 2.0, 4.0]


def test_a_server_that_falls_silent_in_the_middle_is_given_up_after_the_timeout(serve, make_cache, now):
    url, asked = serve(hangs_after_the_head)
    with pytest.raises(WeatherError, match=r"^127\.0\.0\.1 broke off in the middle of its answer"):
        make_cache(timeout=(0.05, 0.05)).get(url, {}, now)
    assert len(asked) == 4


def test_nobody_listening_is_said_after_the_tries(make_cache, slept, now):
    server = ThreadingHTTPServer(("127.0.0.1", 0), BaseHTTPRequestHandler)
    url = f"http://127.0.0.1:{server.server_port}/"
    server.server_close()
    with pytest.raises(WeatherError, match=r"^127\.0\.0\.1 cannot be reached; not asked again before"):
        make_cache().get(url, {}, now)
    assert slept == [1.0, 2.0, 4.0]


def test_an_endless_body_behind_a_redirect_is_cut_off(serve, make_cache, now):
    url, asked = serve(endless_redirect_body)
    with pytest.raises(WeatherError, match="sent more than 8 MiB, which is no forecast"):
        make_cache().get(url, {}, now)
    assert len(asked) == 1


def test_an_answer_that_cannot_be_unpacked_is_said(serve, make_cache, now):
    url, _asked = serve(not_gzip)
    with pytest.raises(WeatherError, match=r"^127\.0\.0\.1 sent an answer that cannot be unpacked"):
        make_cache().get(url, {}, now)


def test_the_last_good_answer_outlives_the_server(serve, make_cache, now):
    url, _asked = serve(good, overloaded)
    make_cache(min_interval_s=0.0).get(url, {}, now)
    answer = make_cache(min_interval_s=0.0).get(url, {}, now)
    assert answer.body == b'{"hourly": {}}'
    assert answer.notes[0] == "127.0.0.1 is out of order (status 503)"
