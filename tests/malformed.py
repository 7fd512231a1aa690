"""Requests that no browser of good will sends, and how a server answers them: over a socket, byte by byte."""

import json
import random
import socket
from collections import Counter

PATIENCE_S = 1.0
"""So long the rest of what was never sent is feigned to be on its way."""
LARGEST = 256 * 1024
PATHS = (
    "/", "/plan", "/material", "/record/rail", "/piece/rail", "/login", "/static/page.css", "/static/../../etc/passwd",
    "/metrics", "/health", "/api/openapi.json", "/api/v1/windows", "/api/v1/windows/rail", "/api/v1/plan/%00",
    "/api/v1/record/rail", "/api/v1/record/rail/coats", "/api/v1/record/rail/coats/4", "/api/v1/record/rail/pot",
    "/api/v1/record/rail/coats/99999999999999999999/spoilt", "/api/v1/material?mix_c=nan", "/api/v1/review?days=1e9",
    "/api/v1/weather/site/harbour", "/api/v1/weather/piece/%2e%2e", "/calendar/site/harbour.ics",
    "/calendar/site/%2e%2e%2f.ics", "/calendar/person/", "//elsewhere.example/", "/%ff%fe",
    "/api/v1/status?" + "a=1&" * 400,
)  # fmt: skip
METHODS = ("GET", "POST", "DELETE", "PUT", "PATCH", "HEAD", "OPTIONS", "TRACE", "CONNECT", "G\u00c9T", "", "get", "PRI")
KINDS = (
    "application/json",
    "application/x-www-form-urlencoded",
    "multipart/form-data; boundary=x",
    "text/plain",
    "x",
    "",
)
VALUES = (
    None, True, 0, -1, 1e308, -1e-308, 10**400, "", "0", "\ud800", "\u0000", "x" * 3000, "\u202e", [], {}, [[]],
    "2026-06-02T09:00:00Z", "9999-12-31T23:59:60-23:59", "0000-00-00T00:00:00Z", "' OR 1=1 --", "<script>", "../../x",
)  # fmt: skip
FIELDS = (
    "at",
    "began",
    "who",
    "coating",
    "thinner_parts",
    "wet_film_um",
    "air_c",
    "note",
    "by",
    "coat",
    "form",
    "x" * 99,
)
HEADERS = (
    "Authorization: Bearer " + "x" * 5000, "Authorization: Basic !!!", "Cookie: dryspell_session=" + "\xff" * 50,
    "Cookie: " + "a=b; " * 500, 'If-None-Match: "', "Range: bytes=9999999999-", "Expect: 100-continue",
    "Transfer-Encoding: chunked", "Transfer-Encoding: gzip, chunked", "Content-Encoding: br", "Accept-Encoding: \x01",
    "Idempotency-Key: \x7f", "Idempotency-Key: " + "k" * 65, "Origin: null", "Origin: http://[", "Host: second.example",
    "X-Forwarded-For: " + "1.2.3.4, " * 200, "Upgrade: websocket", "Upgrade: h2c", "Content-Length: -1",
    "Content-Length: 99999999999999999999", "Content-Length: 1e3", "Bad Header: x", ": nothing", "A" * 20_000 + ": x",
)  # fmt: skip


def malformed(seed, count, host):
    """Yield that many requests, each as the bytes to send."""
    chance = random.Random(seed)
    for _ in range(count):
        yield chance.choices((_garbage, _odd, _odd), k=1)[0](chance, host)


def _garbage(chance, host):
    start = chance.choice(
        (b"", b"GET ", b"GET / HTTP/1.1\r\n", b"\x16\x03\x01", f"POST / HTTP/1.1\r\nHost: {host}\r\n".encode())
    )
    return start + chance.randbytes(chance.randrange(1, 400)) + b"\r\n\r\n"


def _odd(chance, host):
    body = _body(chance)
    method = chance.choice(("GET", "POST", "POST", "DELETE", chance.choice(METHODS)))
    version = chance.choices(("1.1", "1.0", "9.9", ""), weights=(20, 4, 1, 1))[0]
    lines = [f"{method} {chance.choice(PATHS)} HTTP/{version}"]
    lines += [f"Host: {chance.choices((host, 'elsewhere.example', '[::', ''), weights=(20, 1, 1, 1))[0]}"]
    lines += [f"Content-Type: {chance.choice(KINDS)}", "Connection: close"]
    lines += chance.choices((f"Content-Length: {len(body)}", "Content-Length: 3", "X: y"), weights=(8, 1, 1))
    lines += chance.sample(HEADERS, chance.choices((0, 1, 2, 5), weights=(5, 3, 1, 1))[0])
    return "\r\n".join(lines).encode("utf-8", "surrogatepass") + b"\r\n\r\n" + body


def _body(chance):
    pick = chance.randrange(6)
    if pick == 0:
        return b"[" * 30_000
    if pick == 1:
        return chance.randbytes(chance.randrange(200))
    if pick == 2:
        return b"form=x&thinner=%ff&" + b"a=1&" * chance.randrange(100)
    if pick == 3:
        return b'{"thinner_parts": NaN, "air_c": Infinity, "air_c": -Infinity, "note": "\\ud800"}'
    fields = {chance.choice(FIELDS): chance.choice(VALUES) for _ in range(chance.randrange(5))}
    text = json.dumps(fields).encode()
    return text if pick == 4 else text[: chance.randrange(len(text))]


def statuses(address, requests):
    """Return how often each status was answered; 0 is none: closed without a word, or left to wait for the rest."""
    found = Counter()
    for request in requests:
        found[ask(address, request)] += 1
    return found


def ask(address, request):
    """Send the bytes of a request and return the status of the answer, 0 where there is none."""
    with socket.create_connection(address, timeout=PATIENCE_S) as connection:
        try:
            connection.sendall(request)
            answer = b""
            while len(answer) < LARGEST and (more := connection.recv(65536)):
                answer += more
        except OSError:
            return 0
    first = answer.partition(b"\r\n")[0].split()
    return int(first[1]) if len(first) > 1 and first[1].isdigit() else 0
