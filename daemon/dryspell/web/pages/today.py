"""Today: each piece, whether it can be coated, until when, what is in the way, and what comes next."""

from typing import Any

from starlette.requests import Request
from starlette.responses import Response

from dryspell.web.cards import card_of, in_order
from dryspell.web.charts.pictures import hours_picture
from dryspell.web.notices import notice_of
from dryspell.web.shell import Shell, View

MANY = 3
"""More cards than these are not seen without scrolling far: a list of them, a line each, stands before them."""


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""

    async def today(request: Request) -> Response:
        notice = notice_of(request, shell.config)
        return await shell.page(request, "today.html", lambda view: fill(view) | {"notice": notice}, args=notice)

    return [("/", ["GET"], today)]


def fill(view: View) -> dict[str, Any]:
    """Return what is shown of today."""
    known = view.known
    if known is None:
        return {"cards": [], "many": MANY, "known": None, "credits": [], "pictures": {}}
    by_piece = {outlook.piece: outlook for outlook in known.outlooks}
    cards = in_order(card_of(piece, by_piece.get(key), view) for key, piece in known.config.piece.items())
    mine = [
        outlook.weather.attribution for outlook in known.outlooks if outlook.weather and outlook.weather.attribution
    ]
    pictures = {} if view.is_stale else {card.key: hours_picture(view, card.key) for card in cards}
    return {"cards": cards, "many": MANY, "known": known, "credits": list(dict.fromkeys(mine)), "pictures": pictures}
