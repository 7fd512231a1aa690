"""The server in front of the push desk: the standard library's, with bounds on all that a stranger could make large."""

import json
import logging
import socket
import socketserver
import sys
import threading
import time
from contextlib import suppress
from http.server import BaseHTTPRequestHandler
from typing import Any

from dryspell.weather.sensors.attended import Attended
from dryspell.weather.sensors.backoff import Backoff
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.push import LARGEST_BODY, PushDesk, Request, Response

log = logging.getLogger(__name__)

MOST_CONNECTIONS = 16
SILENT_S = 10.0
LONGEST_S = 30.0
_DRAINED = 2**20  # bytes of a body that is too large, so that its sender reads the answer and not a reset


class PushServer:
    """Listens at an address; where that cannot be had, tries again until it can."""

    def __init__(self, address: tuple[str, int], desk: PushDesk, notices: Notices) -> None:
        self._address = address
        self._desk = desk
        self._notices = notices
        self._lock = threading.Lock()
        self._server: _Server | None = None
        self._attended = Attended("push", self._work)

    @property
    def port(self) -> int:
        """The port that is listened on; 0 while none is."""
        with self._lock:
            return self._server.server_address[1] if self._server else 0

    def start(self) -> None:
        """Begin to listen."""
        self._attended.start()

    def stop(self) -> None:
        """Ask for the end."""
        self._attended.stop()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end, and say whether it has come."""
        return self._attended.wait(timeout_s)

    def _work(self, stop: threading.Event) -> None:
        backoff = Backoff(2.0, 60.0)
        host, port = self._address
        while not stop.is_set():
            try:
                server = _Server(self._address, self._desk, stop)
            except OSError as error:
                reason = error.strerror or error
                self._notices.trouble("push", f"cannot listen on {host} port {port} for pushed readings: {reason}")
                stop.wait(backoff.wait_s())
                continue
            self._notices.over("push", f"listening on {host} port {port} for pushed readings")
            with self._lock:
                self._server = server
            try:
                while not stop.is_set():
                    server.handle_request()
                    server.end_overlong()
            finally:
                with self._lock:
                    self._server = None
                server.server_close()


class _Server(socketserver.ThreadingMixIn, socketserver.TCPServer):
    """A thread a connection, and no more of them than there is room for."""

    allow_reuse_address = True
    daemon_threads = True
    block_on_close = False
    timeout = 0.5
    request_queue_size = MOST_CONNECTIONS

    def __init__(self, address: tuple[str, int], desk: PushDesk, stop: threading.Event) -> None:
        self.desk = desk
        self.stopped = stop
        self._open: dict[socket.socket, float] = {}
        self._room = threading.Lock()
        self.address_family = socket.AF_INET6 if ":" in address[0] else socket.AF_INET
        super().__init__(address, _Handler)

    def verify_request(self, request: Any, client_address: Any) -> bool:  # noqa: ARG002  (the library calls it so)
        """Refuse a connection that there is no room for."""
        with self._room:
            if len(self._open) >= MOST_CONNECTIONS:
                return False
            self._open[request] = time.monotonic()
            return True

    def shutdown_request(self, request: Any) -> None:
        """Close a connection, and make room."""
        with self._room:
            self._open.pop(request, None)
        super().shutdown_request(request)

    def end_overlong(self) -> None:
        """Break off connections that take longer than any honest one: a drop of a byte now and then keeps them open."""
        with self._room:
            overlong = [each for each, began in self._open.items() if time.monotonic() - began > LONGEST_S]
        for each in overlong:
            with suppress(OSError):
                each.shutdown(socket.SHUT_RDWR)

    def handle_error(self, request: Any, client_address: Any) -> None:  # noqa: ARG002  (the library calls it so)
        """Say what went wrong here, but not that a sender hung up."""
        if not isinstance(sys.exception(), OSError):
            log.exception("a request with readings could not be answered")  # noqa: LOG004  (called where it is caught)


class _Handler(BaseHTTPRequestHandler):
    server: _Server
    timeout = SILENT_S

    def _answer(self) -> None:
        length = self.headers.get("Content-Length", "0").strip()
        if "Transfer-Encoding" in self.headers or not (length.isascii() and length.isdigit()):
            self._send(Response(411, {"problem": "wanted a Content-Length"}))
            return
        if len(length) > 9 or int(length) > LARGEST_BODY:
            self._send(Response(413, {"problem": f"wanted {LARGEST_BODY // 1024} KiB at the most"}))
            self._drain(min(int(length[:9]), _DRAINED))
            return
        body = self.rfile.read(int(length))
        if len(body) < int(length):
            return  # hung up in the middle
        headers = {name.lower(): value for name, value in self.headers.items()}
        request = Request(self.command, self.path, headers, body)
        if not self.server.stopped.is_set():
            self._send(self.server.desk.answer(request))

    do_GET = do_POST = do_PUT = do_PATCH = do_DELETE = _answer  # noqa: N815  (the library calls them so)

    def _drain(self, left: int) -> None:
        while left > 0 and (chunk := self.rfile.read(min(left, 2**16))):
            left -= len(chunk)

    def _send(self, response: Response) -> None:
        body = json.dumps(response.document).encode()
        self.send_response(response.status)
        for name, value in response.headers.items():
            self.send_header(name, value)
        self.send_header("Content-Type", "application/json")
        self.send_header("Content-Length", str(len(body)))
        self.send_header("Cache-Control", "no-store")
        self.end_headers()
        self.wfile.write(body)
        self.connection.shutdown(socket.SHUT_WR)

    def version_string(self) -> str:
        """Return what the server calls itself: nothing that tells its versions."""
        return "dryspell"

    def log_message(self, format: str, *args: Any) -> None:  # noqa: A002  (the library calls it so)
        """Log nothing: a request may hold a token."""
