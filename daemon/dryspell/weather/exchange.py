"""One question to a server: timeouts, bounded retries, redirects, and a plain sentence for whatever goes wrong."""

import socket
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cache
from random import SystemRandom
from typing import TYPE_CHECKING
from urllib.parse import urljoin, urlsplit

from dryspell.errors import WeatherError
from dryspell.weather.waits import retry_after_s

if TYPE_CHECKING:
    import requests

BODY_LIMIT = 8 * 2**20  # bytes; a 51-member ensemble of 8 variables over 15 days is near 1 MB
RETRIES = 3
BACKOFF_S = 1.0
PATIENCE_S = 5.0  # a longer wait than this is left to the next call instead of being slept through

_GOOD = frozenset({200, 203, 304})
_PASSING = frozenset({429, 500, 502, 503, 504})
_REDIRECTS = frozenset({301, 302, 303, 307, 308})
_MOST_REDIRECTS = 5
_CHUNK = 1024


@dataclass(frozen=True)
class Reply:
    """What came back; the names of `headers` do not mind case."""

    status: int
    headers: Mapping[str, str]
    body: bytes


@dataclass(frozen=True)
class Refusal:
    """What a service says in the body of an error.

    Attributes
    ----------
    reason
        Its own words, empty where it has none worth showing.
    wait_s, spread_s
        How long it wants to be left alone, None where it does not say; a random part of the spread is added, so that
        many that were refused together do not come back together.
    """

    reason: str = ""
    wait_s: float | None = None
    spread_s: float = 0.0


ReadRefusal = Callable[[int, bytes, datetime], Refusal]


def no_reason(_status: int, _body: bytes, _now: datetime) -> Refusal:
    """Read nothing out of an error's body."""
    return Refusal()


NONE: Mapping[str, str] = {}


@dataclass(frozen=True)
class Question:
    """What is asked: an address, with headers.

    Attributes
    ----------
    headers
        Sent wherever a redirect leads.
    secret_headers
        Sent to the host of the address alone.
    read_refusal
        Reads the reason and the wait out of an error's body.
    """

    url: str
    headers: Mapping[str, str] = field(default_factory=dict)
    secret_headers: Mapping[str, str] = field(default_factory=dict, repr=False)
    read_refusal: ReadRefusal = no_reason

    def given(self, headers: Mapping[str, str]) -> "Question":
        """Return the question with further headers."""
        return replace(self, headers={**self.headers, **headers})

    def headers_for(self, url: str) -> dict[str, str]:
        """Return the headers to send to an address, where a redirect may have led."""
        return {**self.headers, **(self.secret_headers if _origin(url) == _origin(self.url) else {})}


def full_jitter(ceiling_s: float) -> float:
    """Return a random wait between nothing and the ceiling [s]."""
    return SystemRandom().uniform(0.0, ceiling_s)


class _PassingError(WeatherError):
    """What may have gone by the next try."""


@cache
def _session() -> "type[requests.Session]":
    """Return the kind of session to ask in, made when it is: the library takes a tenth of a second to be loaded."""
    import requests  # noqa: PLC0415

    class Session(requests.Session):
        """A session that leaves redirects alone: its own handling would read their bodies whole, without bounds."""

        def get_redirect_target(self, resp: requests.Response) -> None:  # noqa: ARG002  (the name is the library's)
            return None

    return Session


class Exchange:
    """Asks servers, politely and with bounds.

    Parameters
    ----------
    user_agent
        How we name ourselves.
    timeout
        To connect and to wait for each piece of the answer [s].
    total_s
        The longest that one answer may take to come in [s].
    retries
        How many more times to try what may have gone by then.
    sleep, jitter, monotonic
        How to wait between tries; how long, given the ceiling; the stopwatch behind `total_s`.
    """

    def __init__(
        self,
        user_agent: str,
        *,
        timeout: tuple[float, float] = (5.0, 20.0),
        total_s: float = 60.0,
        retries: int = RETRIES,
        sleep: Callable[[float], object] = time.sleep,
        jitter: Callable[[float], float] = full_jitter,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._headers = {"User-Agent": user_agent, "Accept": "application/json"}
        self._timeout = timeout
        self._total_s = total_s
        self._retries = retries
        self._sleep = sleep
        self._jitter = jitter
        self._monotonic = monotonic

    def ask(self, question: Question, now: datetime) -> Reply:
        """Return a reply of status 200, 203 or 304.

        Tries again, three times at the most and after growing random pauses, only where there was a connection error, a
        timeout, or status 429, 500, 502, 503 or 504.

        Raises
        ------
        WeatherError
            One plain sentence; `retry_after_s` is how long the server asked to be left alone, if that is too long to
            sleep on.
        """
        tried = 0
        # A session of its own for each question: requests does not promise that sessions may be shared by threads.
        with _session()() as session:
            while True:
                try:
                    return self._try(session, question, now)
                except _PassingError as error:
                    asked_s = error.retry_after_s or 0.0
                    if asked_s > PATIENCE_S:
                        raise
                    if tried == self._retries:
                        raise WeatherError(str(error)) from None
                    self._sleep(asked_s + self._jitter(BACKOFF_S * 2**tried))
                tried += 1

    def _try(self, session: "requests.Session", question: Question, now: datetime) -> Reply:
        reply = self._follow(session, question)
        if reply.status in _GOOD:
            return reply
        refusal = question.read_refusal(reply.status, reply.body, now)
        message = _status_text(_host(question.url), reply.status) + (f": {refusal.reason}" if refusal.reason else "")
        asked_s = retry_after_s(reply.headers.get("Retry-After"), reply.headers.get("Date"), now)
        if asked_s is None and refusal.wait_s is not None:
            asked_s = refusal.wait_s + self._jitter(refusal.spread_s)
        kind = _PassingError if reply.status in _PASSING else WeatherError
        raise kind(message, retry_after_s=asked_s)

    def _follow(self, session: "requests.Session", question: Question) -> Reply:
        url = question.url
        for _ in range(_MOST_REDIRECTS + 1):
            reply = self._once(session, url, question.headers_for(url))
            if reply.status not in _REDIRECTS:
                return reply
            url = _redirected(url, reply.headers.get("Location", ""))
        raise WeatherError(f"{_host(url)} redirects without end")

    def _once(self, session: "requests.Session", url: str, headers: Mapping[str, str]) -> Reply:
        import ssl  # noqa: PLC0415  (with requests: as for the session)

        import requests  # noqa: PLC0415

        # The texts of requests' own errors hold the whole address, with any key in it: they are not passed on.
        host = _host(url)
        try:
            with session.get(url, headers={**self._headers, **headers}, timeout=self._timeout, stream=True) as response:
                return Reply(response.status_code, response.headers, self._body(response, host))
        except requests.exceptions.SSLError as error:
            if _comes_of(error, ssl.SSLCertVerificationError):
                raise WeatherError(f"the certificate of {host} cannot be trusted") from None
            raise WeatherError(f"no secure connection to {host} can be made") from None
        except requests.exceptions.ReadTimeout:
            raise _PassingError(f"{host} did not answer within {self._timeout[1]:g} s") from None
        except (requests.exceptions.ConnectionError, requests.exceptions.Timeout) as error:
            if _comes_of(error, socket.gaierror):
                raise _PassingError(f"{host} cannot be found: its name is unknown here, as without internet") from None
            raise _PassingError(f"{host} cannot be reached") from None
        except requests.exceptions.ContentDecodingError:
            raise WeatherError(f"{host} sent an answer that cannot be unpacked") from None
        except requests.exceptions.RequestException:
            raise WeatherError(f"{host} cannot be asked: the address is not a web address") from None

    def _body(self, response: "requests.Response", host: str) -> bytes:
        import requests  # noqa: PLC0415  (as for the session)

        until = self._monotonic() + self._total_s
        body = bytearray()
        try:
            for chunk in response.iter_content(_CHUNK):
                body += chunk
                if len(body) > BODY_LIMIT:
                    raise WeatherError(f"{host} sent more than {BODY_LIMIT // 2**20} MiB, which is no forecast")
                if self._monotonic() > until:
                    raise _PassingError(f"the answer of {host} took longer than {self._total_s:g} s")
        except (requests.exceptions.ConnectionError, requests.exceptions.ChunkedEncodingError):
            raise _PassingError(f"{host} broke off in the middle of its answer") from None
        return bytes(body)


def _comes_of(error: BaseException | None, kind: type[BaseException]) -> bool:
    """Say whether an error of that kind is at the bottom of this one."""
    while error is not None:
        if isinstance(error, kind):
            return True
        error = error.__cause__ or error.__context__
    return False


def _origin(url: str) -> tuple[str, str | None, int | None]:
    parts = urlsplit(url)
    return parts.scheme, parts.hostname, parts.port


def _status_text(host: str, status: int) -> str:
    if status == 429:
        return f"{host} has had too many requests (status 429)"
    if 400 <= status < 500:
        return f"{host} refused the request (status {status})"
    if 500 <= status < 600:
        return f"{host} is out of order (status {status})"
    return f"{host} answered with a status that was not expected ({status})"


def _redirected(url: str, location: str) -> str:
    """Return where a redirect leads; only to https, or from plain http to plain http on the same host."""
    if not location:
        raise WeatherError(f"{_host(url)} redirects, but does not say where")
    try:
        target = urljoin(url, location)
        old, new = urlsplit(url), urlsplit(target)
        allowed = new.scheme == "https" or (new.scheme == old.scheme and new.hostname == old.hostname)
    except ValueError:
        allowed = False
    if not allowed:
        raise WeatherError(f"{_host(url)} redirects to an address that is not followed, because it is not https")
    return target


def _host(url: str) -> str:
    try:
        return urlsplit(url).hostname or "the weather service"
    except ValueError:
        return "the weather service"
