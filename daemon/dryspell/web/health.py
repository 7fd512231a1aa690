"""Whether the daemon does what it is there for, for whoever watches over it: green, or red with what is not well.

Everybody may ask it and it costs next to nothing; it names no piece, no place and no error. A red answer is a 503.
"""

from datetime import datetime, timedelta
from typing import Literal

from fastapi import APIRouter
from pydantic import Field
from starlette.requests import Request
from starlette.responses import Response

from dryspell.alerts.sources import FAILING_FOR
from dryspell.answers.common import Whole, edition
from dryspell.answers.part import Instant
from dryspell.config import Config
from dryspell.errors import StoreError
from dryspell.web.board import Board, Known
from dryspell.web.desk import Desk

TICKS_LEFT_OUT = 3
SHORTEST = timedelta(minutes=2)
"""No tick is missed before."""

Trouble = Literal["ticks", "sources", "store"]


class HealthDocument(Whole):
    """Whether the daemon is well."""

    schema_: Literal["dryspell.health/1"] = edition("dryspell.health/1")
    well: bool = Field(description="whether all of it is")
    trouble: list[Trouble] = Field(description="what is not")
    ticked_at: Instant | None = Field(description="the last tick; null before the first")


def router_of(board: Board, desk: Desk) -> APIRouter:
    """Return the route of it."""
    router = APIRouter(include_in_schema=False)

    @router.api_route("/health", methods=["GET", "HEAD"])
    def health(request: Request) -> Response:  # noqa: ARG001  (everybody is told the same)
        known, now = board.known, desk.clock.now()
        trouble = troubles(known, desk.config, now, store=_reads(desk))
        document = HealthDocument(generated_at=now, well=not trouble, trouble=trouble, ticked_at=known and known.at)
        status = 503 if trouble else 200
        return Response(document.model_dump_json(), status, media_type="application/json")

    return router


def troubles(known: Known | None, config: Config, now: datetime, *, store: bool) -> list[Trouble]:
    """Return what is not well.

    Parameters
    ----------
    store
        Whether the state can be read.
    """
    found: list[Trouble] = []
    longest = max(SHORTEST, TICKS_LEFT_OUT * timedelta(seconds=config.daemon.tick_s))
    if known is None or not -longest < now - known.at < longest:
        found.append("ticks")
    if known is not None and any(_is_without(known, site, now) for site in {of.site for of in config.piece.values()}):
        found.append("sources")
    return found if store else [*found, "store"]


def _is_without(known: Known, site: str, now: datetime) -> bool:
    """Say whether a site has no weather, or its sources have given none for long and none steps in."""
    here = [each for each in known.sources if each.site == site]
    failing = [each for each in here if each.failing_since and now - each.failing_since >= FAILING_FOR]
    return known.tables.get(site) is None or (bool(here) and len(failing) == len(here))


def _reads(desk: Desk) -> bool:
    try:
        desk.store.check()
    except StoreError:
        return False
    return True
