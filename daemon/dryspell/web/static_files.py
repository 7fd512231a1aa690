"""Styles, scripts and pictures of the page, read once; an address changes with its file."""

import gzip
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from pathlib import Path

from starlette.requests import Request
from starlette.responses import Response

from dryspell.web.refusal import refusal

FOLDER = Path(__file__).parent / "static"
TYPES = {
    ".css": "text/css; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".svg": "image/svg+xml",
    ".png": "image/png",
}
FOR_EVER = "public, max-age=31536000, immutable"


@dataclass(frozen=True)
class StaticFile:
    """A file as it is sent."""

    body: bytes
    packed: bytes | None
    kind: str
    mark: str


@cache
def files() -> dict[str, StaticFile]:
    """Return every file by its name."""
    found = {}
    for file in sorted(FOLDER.iterdir()):
        if kind := TYPES.get(file.suffix):
            body = file.read_bytes()
            packed = None if file.suffix == ".png" else gzip.compress(body, 9, mtime=0)
            found[file.name] = StaticFile(body, packed, kind, sha256(body).hexdigest()[:12])
    return found


def address_of(name: str) -> str:
    """Return where a file is found, without the prefix of the page."""
    return f"/static/{name}?v={files()[name].mark}"


def sent(request: Request, name: str, *, keep: str = FOR_EVER) -> Response:
    """Return a file as an answer."""
    file = files().get(name)
    if file is None:
        return refusal(request.scope, 404, "No file has that address.")
    headers = {"Cache-Control": keep, "ETag": f'W/"{file.mark}"', "Vary": "Accept-Encoding"}
    if f'"{file.mark}"' in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    if file.packed is not None and "gzip" in request.headers.get("accept-encoding", ""):
        return Response(file.packed, headers={**headers, "Content-Encoding": "gzip"}, media_type=file.kind)
    return Response(file.body, headers=headers, media_type=file.kind)


async def static_file(request: Request) -> Response:
    """Answer to /static/NAME."""
    return sent(request, str(request.path_params["name"]))
