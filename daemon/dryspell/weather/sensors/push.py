"""Readings that are pushed to the daemon: what to answer to a request, whatever server it came through.

`POST /v1/readings/KEY`, with KEY the sensor's and the token as a bearer token (RFC 6750, section 2.1). What it sent is
the body (JSON, a plain number, or the fields of a form) or, where there is no body, the fields of the query. The answer
is 200 once the readings are kept for good, with how many there were, and none is right as well.
"""

import hmac
from collections.abc import Collection, Mapping
from dataclasses import dataclass, field
from datetime import UTC
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from dryspell.clock import Clock
from dryspell.weather.sensors.decode import LARGEST_PAYLOAD, Arrival
from dryspell.weather.sensors.intake import Intake, NotKeptError
from dryspell.weather.sensors.notices import Notices

SCHEMA = "dryspell.readings/1"
PATH = "/v1/readings/"
LARGEST_BODY = LARGEST_PAYLOAD
AGAIN_AFTER_S = 30

_FORM = "application/x-www-form-urlencoded"
_MOST_FIELDS = 200


@dataclass(frozen=True)
class Request:
    """A request; the names of `headers` are in small letters, `target` is the path with the query."""

    method: str
    target: str
    headers: Mapping[str, str]
    body: bytes


@dataclass(frozen=True)
class Response:
    """An answer: its status, the JSON document, and headers beside the usual ones."""

    status: int
    document: Mapping[str, Any]
    headers: Mapping[str, str] = field(default_factory=dict)


class PushDesk:
    """Answers requests that bring readings.

    Parameters
    ----------
    token
        What a sender has to know.
    sensors
        The keys of the sensors whose readings are pushed.
    """

    def __init__(self, token: str, sensors: Collection[str], intake: Intake, clock: Clock, notices: Notices) -> None:
        self._token = token.encode()
        self._sensors = sensors
        self._intake = intake
        self._clock = clock
        self._notices = notices

    def answer(self, request: Request) -> Response:
        """Return the answer to a request; it never raises."""
        path, query = _parts(request.target)
        key = path.removeprefix(PATH)
        if refusal := self._refusal(request, path, key):
            return refusal
        try:
            payload = _payload(request, query)
        except ValueError as error:
            return self._refuse(400, str(error))
        return self._take(Arrival(key, payload, self._clock.now()))

    def _refusal(self, request: Request, path: str, key: str) -> Response | None:
        if not path.startswith(PATH):
            return self._refuse(404, f"there is nothing here; readings go to {PATH}KEY")
        if request.method != "POST":
            return self._refuse(405, "readings are sent with POST", Allow="POST")
        if not self._knows(request.headers.get("authorization", "")):
            self._notices.trouble("push token", "somebody pushed readings without the right token; they were refused")
            return self._refuse(401, "wanted the header Authorization: Bearer TOKEN", **{"WWW-Authenticate": "Bearer"})
        if key not in self._sensors:
            return self._refuse(404, f"there is no sensor {key[:40]!r} whose readings are pushed")
        if len(request.body) > LARGEST_BODY:
            return self._refuse(413, f"wanted {LARGEST_BODY // 1024} KiB at the most")
        return None

    def _take(self, arrival: Arrival) -> Response:
        try:
            taken = self._intake.take([arrival])
        except NotKeptError:
            text = "the readings cannot be kept now; send them again later"
            return self._refuse(503, text, **{"Retry-After": str(AGAIN_AFTER_S)})
        if taken.problems:
            return self._refuse(400, taken.problems[0])
        return Response(200, self._document(readings=taken.readings))

    def _knows(self, authorization: str) -> bool:
        scheme, _, token = authorization.strip().partition(" ")
        given = token.strip().encode("utf-8", "surrogateescape")
        return hmac.compare_digest(given, self._token) and scheme.lower() == "bearer"

    def _refuse(self, status: int, problem: str, **headers: str) -> Response:
        return Response(status, self._document(problem=problem), headers)

    def _document(self, **content: Any) -> Mapping[str, Any]:
        at = self._clock.now().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        return {"schema": SCHEMA, "generated_at": at, **content}


def _parts(target: str) -> tuple[str, str]:
    try:
        parts = urlsplit(target)
    except ValueError:
        return "", ""
    return unquote(parts.path), parts.query


def _payload(request: Request, query: str) -> Any:
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() == _FORM:
        return _fields(request.body.decode("utf-8", "replace"))
    if request.body:
        return request.body
    if not query:
        raise ValueError("there are no readings in it: wanted a body of JSON, or a query")
    return _fields(query)


def _fields(text: str) -> dict[str, str]:
    try:
        return dict(parse_qsl(text, keep_blank_values=True, max_num_fields=_MOST_FIELDS))
    except ValueError:
        raise ValueError(f"wanted {_MOST_FIELDS} fields at the most") from None
