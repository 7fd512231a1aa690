"""Stands before everything: who asks, by what name, from which page, and how much.

What gets through has a host of ours (against DNS rebinding), is no change asked for by a page of somebody else's, is
bounded in size, and comes from somebody who is let in. Every answer gets the headers that bound what a browser does.
"""

import asyncio
import logging
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from ipaddress import ip_address
from urllib.parse import parse_qs, quote, urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from dryspell.config.page import PageSettings
from dryspell.web.gate import COOKIE, Gate
from dryspell.web.refusal import is_for_programs, path_of, refusal

log = logging.getLogger(__name__)

LONGEST_PATH = 500
LONGEST_QUERY = 2000
MOST_HEADERS = 60
LARGEST_BODY = 64 * 1024
SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
OPEN = ("/static/", "/login", "/manifest.webmanifest", "/worker.js", "/favicon.ico")
"""What everybody may see: how to log in, and what looks the same for all."""
OWN_CARE = ("/health",)
"""What looks by itself, at `request.state.let_in`, how much to tell whom."""

NOT_BY_THAT_NAME = "This page is not known by that name. Its names stand under hosts in [page] of the configuration."
LEAVES = "The daemon is just being stopped or started anew; ask again in a moment."

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; font-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


class TooLargeError(Exception):
    """More was sent than is taken."""


class Guard:
    """An ASGI middleware; `scope["state"]["let_in"]` says behind it whether who asks was let in."""

    def __init__(self, app: ASGIApp, *, gate: Gate, settings: PageSettings) -> None:
        self._app = app
        self._gate = gate
        self._settings = settings
        self._hosts = {"localhost", "127.0.0.1", "::1", *settings.hosts, *(settings.listen or ())[:1]}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or let it through."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
        if scope["type"] != "http":
            return
        scope["root_path"] = self._settings.prefix
        headers = Headers(scope=scope)
        outgoing = _Outgoing(send)
        answer = self._unlike_ours(scope, headers) or self._too_much(scope, headers)
        if answer is None:
            scope.setdefault("state", {})["let_in"] = self._is_let_in(scope, headers)
            answer = self._not_let_in(scope, headers)
        if answer is not None:
            await answer(scope, receive, outgoing)
            return
        try:
            await self._app(scope, _bounded(receive), outgoing)
        except asyncio.CancelledError:  # the server leaves; by itself it would tell of a fault
            await outgoing.unless_begun(refusal(scope, 503, LEAVES, {"Retry-After": "5"}), scope, receive)
            raise
        except TooLargeError:
            await outgoing.unless_begun(_too_large(scope), scope, receive)
        except Exception:
            log.exception("the page failed at %s", path_of(scope))
            text = "That is a fault of the program; the log of the daemon tells more."
            await outgoing.unless_begun(refusal(scope, 500, text), scope, receive)

    def _unlike_ours(self, scope: Scope, headers: Headers) -> Response | None:
        """Refuse what comes by a name, or from a page, that is not ours."""
        if not self._is_host(headers.getlist("host")):
            return refusal(scope, 403, NOT_BY_THAT_NAME)
        if scope["method"] not in SAFE_METHODS and not self._is_from_here(headers):
            return refusal(scope, 403, "A page of somebody else's has asked for that; nothing was changed.")
        return None

    def _too_much(self, scope: Scope, headers: Headers) -> Response | None:
        """Refuse what is larger than anything that is asked for here."""
        if len(scope["path"]) > LONGEST_PATH or len(scope["query_string"]) > LONGEST_QUERY:
            return refusal(scope, 414, "The address asked for is longer than any of this page.")
        if len(scope["headers"]) > MOST_HEADERS:
            return refusal(scope, 431, "The request has more headers than are looked at.")
        if "\0" in scope["path"]:
            return refusal(scope, 404, "No page has that address.")
        length = headers.get("content-length", "0")
        if not length.isascii() or not length.isdigit() or int(length[:20]) > LARGEST_BODY:
            return _too_large(scope)
        return None

    def _is_host(self, given: list[str]) -> bool:
        """Say whether that is a name of ours, or an address: no stranger's page can come by one of those."""
        if len(given) != 1:
            return False
        try:
            host = (urlsplit(f"//{given[0]}").hostname or "").rstrip(".")
        except ValueError:
            return False
        if host in self._hosts:
            return True
        try:
            return bool(ip_address(host)) and not self._settings.is_loopback
        except ValueError:
            return False

    def _is_from_here(self, headers: Headers) -> bool:
        """Say whether a change is asked for by a page of ours, or by no page at all."""
        site = headers.get("sec-fetch-site")
        if site is not None and site not in ("same-origin", "none"):
            return False
        origin = headers.get("origin")
        if origin is None:
            return True
        # The scheme is that of a proxy's other side, and a proxy may ask by another name than the browser did.
        try:
            asked = urlsplit(origin)
        except ValueError:
            return False
        is_same = asked.netloc != "" and asked.netloc.lower() == headers.get("host", "").lower()
        return is_same or asked.hostname in self._settings.hosts

    def _is_let_in(self, scope: Scope, headers: Headers) -> bool:
        if not self._gate.asks or self._gate.is_session(session_of(headers)):
            return True
        client = client_of(scope)
        scheme, _, token = headers.get("authorization", "").partition(" ")
        if scheme.lower() == "bearer" and not self._gate.rest_s(client):
            return self._gate.is_token(token.strip(), client)
        path = path_of(scope)
        if path.startswith("/calendar"):
            return self._gate.is_feed_key(path, _key_of(scope))
        return False

    def _not_let_in(self, scope: Scope, headers: Headers) -> Response | None:
        path = path_of(scope)
        if scope["state"]["let_in"] or _begins(path, OPEN) or _begins(path, OWN_CARE):
            return None
        if self._gate.rest_s(client_of(scope)) and "authorization" in headers:
            wait = {"Retry-After": f"{self._gate.rest_s(client_of(scope)):.0f}"}
            return refusal(scope, 429, "The token was wrong too often; wait a few minutes.", wait)
        if is_for_programs(scope):
            text = "Wanted the header Authorization: Bearer TOKEN."
            return refusal(scope, 401, text, {"WWW-Authenticate": "Bearer"})
        root = self._settings.prefix
        if scope["method"] in ("GET", "HEAD"):
            query = scope["query_string"].decode("ascii", "replace")
            wanted = quote(path + (f"?{query}" if query else ""), safe="")
            return RedirectResponse(f"{root}/login?next={wanted}", 303)
        return refusal(scope, 401, "You are not logged in any more, and nothing was changed. Log in and do it again.")


def session_of(headers: Headers) -> str:
    """Return the name of the session that a request says it is of."""
    try:
        cookie = SimpleCookie(headers.get("cookie", "")[:4096]).get(COOKIE)
    except CookieError:
        return ""
    return cookie.value if cookie else ""


def client_of(scope: Scope) -> str:
    """Return the address that a request comes from."""
    client = scope.get("client")
    return str(client[0]) if client else "unknown"


def _key_of(scope: Scope) -> str:
    try:
        given = parse_qs(scope["query_string"].decode("ascii", "replace"), max_num_fields=20).get("key", [])
    except ValueError:
        return ""
    return given[0] if len(given) == 1 else ""


def _begins(path: str, beginnings: Iterable[str]) -> bool:
    return any(path == begin.rstrip("/") or path.startswith(begin if begin.endswith("/") else f"{begin}/")
               for begin in beginnings)  # fmt: skip


def _too_large(scope: Scope) -> Response:
    return refusal(scope, 413, f"Wanted {LARGEST_BODY // 1024} KiB at the most.", {"Connection": "close"})


def _bounded(receive: Receive) -> Receive:
    taken = 0

    async def bounded() -> Message:
        nonlocal taken
        message = await receive()
        taken += len(message.get("body", b""))
        if taken > LARGEST_BODY:
            raise TooLargeError
        return message

    return bounded


class _Outgoing:
    """Sends an answer on, with the headers that every one has."""

    def __init__(self, send: Send) -> None:
        self._send = send
        self._begun = False

    async def __call__(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            self._begun = True
            headers = MutableHeaders(scope=message)
            for name, value in HEADERS.items():
                headers.setdefault(name, value)
            headers.setdefault("Cache-Control", "no-store")
        await self._send(message)

    async def unless_begun(self, answer: Response, scope: Scope, receive: Receive) -> None:
        """Send another answer where none has begun."""
        if not self._begun:
            await answer(scope, receive, self)
