"""The server in front of the page: in a thread of the daemon with a loop of its own, neither waits for the other."""

import logging
import socket
import sys
import threading
import time
from collections.abc import Callable

import uvicorn
from starlette.types import ASGIApp

from dryspell.config.page import PageSettings
from dryspell.web.connection import PatientConnection

log = logging.getLogger(__name__)

MOST_CONNECTIONS = 500
LARGEST_HEAD = 16 * 1024
TRY_AGAIN_S = 30.0
LOOK_S = 0.05
SWITCH_S = 0.0001
"""How long a thread that reckons keeps the interpreter from one that answers; each answer asks for it several times."""
NOT_SERVED = "the page cannot be served at %s:%d (%s); it is tried again, and the daemon goes on meanwhile"


class PageServer:
    """Serves the page until it is told to leave.

    Where its address is taken that is said once, and it is tried again: the daemon goes on without a page.

    Parameters
    ----------
    make_app
        Makes what answers, in the server's own thread, since what that imports is slow; None where it is too late.
    settings
        With an address to listen on.
    """

    def __init__(self, make_app: Callable[[], ASGIApp | None], settings: PageSettings) -> None:
        self._make_app = make_app
        self._settings = settings
        self._leaving = threading.Event()
        self._server: uvicorn.Server | None = None
        self._thread: threading.Thread | None = None
        self._address: tuple[str, int] | None = None

    @property
    def url(self) -> str | None:
        """Where the page is served; None where it is not (yet)."""
        if self._address is None:
            return None
        host, port = self._address
        host = {"0.0.0.0": "127.0.0.1", "::": "[::1]"}.get(host, f"[{host}]" if ":" in host else host)  # noqa: S104  (how a browser on this machine reaches it)
        return f"http://{host}:{port}{self._settings.prefix}/"

    @property
    def is_leaving(self) -> bool:
        """Whether it was told to leave."""
        return self._leaving.is_set()

    def start(self) -> None:
        """Begin to serve."""
        self._thread = threading.Thread(target=self._run, name="the page", daemon=True)
        self._thread.start()

    def leave(self) -> None:
        """Begin to leave."""
        self._leaving.set()
        if self._server is not None:
            self._server.should_exit = True

    def wait(self, timeout_s: float) -> bool:
        """Wait after `leave` until nothing is served or on its way to be, or for `timeout_s`; say which."""
        if self._thread is None:
            return True
        self._thread.join(timeout_s)
        return not self._thread.is_alive()

    def wait_until_served(self, timeout_s: float) -> bool:
        """Wait until the page is served, or for `timeout_s`; say which."""
        until = time.monotonic() + timeout_s
        while self.url is None and time.monotonic() < until and not self._leaving.is_set():
            time.sleep(LOOK_S)
        return self.url is not None

    def _run(self) -> None:
        try:
            listener = self._listener()
            if listener is not None:
                with listener:
                    self._serve(listener)
        except Exception:
            log.exception("the page is not served any more; the daemon goes on without it")
        finally:
            self._address = None

    def _serve(self, listener: socket.socket) -> None:
        app = self._make_app()
        if app is None or self.is_leaving:
            return
        config = uvicorn.Config(
            app,
            loop="asyncio",
            http=PatientConnection,
            ws="none",
            lifespan="off",
            log_config=None,
            access_log=False,
            server_header=False,
            proxy_headers=bool(self._settings.proxies),
            forwarded_allow_ips=list(self._settings.proxies),
            limit_concurrency=MOST_CONNECTIONS,
            h11_max_incomplete_event_size=LARGEST_HEAD,
            timeout_graceful_shutdown=1,
        )
        self._server = uvicorn.Server(config)
        self._server.should_exit = self.is_leaving
        self._address = listener.getsockname()[:2]
        sys.setswitchinterval(min(SWITCH_S, sys.getswitchinterval()))
        log.info("the page is at %s", self.url)
        self._server.run(sockets=[listener])

    def _listener(self) -> socket.socket | None:
        """Return a socket that listens, as soon as there can be one; None when it is time to leave."""
        if self._settings.listen is None:
            return None
        host, port = self._settings.listen
        said = ""
        while not self._leaving.is_set():
            try:
                family = socket.getaddrinfo(host, port, type=socket.SOCK_STREAM)[0][0]
                listener = socket.create_server((host, port), family=family, backlog=256)
                # For all that it accepts. asyncio does it for sockets that it makes itself; without it the second part
                # of an answer, on a connection that stays, waits 40 ms for the reader's word on the first.
                listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            except OSError as error:
                problem = error.strerror or str(error)
                if problem != said:
                    log.error(NOT_SERVED, host, port, problem)  # noqa: TRY400  (no fault of the program: no traceback)
                said = problem
            else:
                return listener
            self._leaving.wait(TRY_AGAIN_S)
        return None
