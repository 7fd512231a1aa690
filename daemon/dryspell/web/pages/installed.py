"""What a telephone asks for to keep the page as it keeps a program: a manifest, pictures, and what keeps copies."""

from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from dryspell.web.shell import Shell
from dryspell.web.static_files import address_of, sent, static_file

REVALIDATE = "no-cache"
SIZES = (192, 512)


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""
    root = shell.settings.prefix

    async def manifest(_: Request) -> Response:
        icons = [
            {"src": f"{root}{address_of(f'icon-{size}.png')}", "sizes": f"{size}x{size}", "type": "image/png"}
            for size in SIZES
        ]
        document = {
            "name": "dryspell",
            "short_name": "dryspell",
            "description": "Can I coat?",
            "id": f"{root}/",
            "start_url": f"{root}/",
            "scope": f"{root}/",
            "display": "standalone",
            "background_color": "#f5f2ea",
            "theme_color": "#0b3a46",
            "icons": icons,
        }
        headers = {"Cache-Control": REVALIDATE}
        return JSONResponse(document, headers=headers, media_type="application/manifest+json")

    async def worker(request: Request) -> Response:
        return sent(request, "worker.js", keep=REVALIDATE)

    async def favicon(request: Request) -> Response:
        return sent(request, "icon-192.png")

    return [
        ("/static/{name}", ["GET"], static_file),
        ("/manifest.webmanifest", ["GET"], manifest),
        ("/worker.js", ["GET"], worker),
        ("/favicon.ico", ["GET"], favicon),
    ]
