"""The whole of the page: its routes, and what stands guard before them."""

import logging

from fastapi import FastAPI
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Match

from dryspell.clock import Clock
from dryspell.config.page import PageSettings
from dryspell.errors import CoatError, StoreError
from dryspell.web import calendar, health, metrics
from dryspell.web.api.routes import DESCRIPTION, OPENAPI_URL, add_api
from dryspell.web.board import Board
from dryspell.web.desk import Desk
from dryspell.web.forms import FormError
from dryspell.web.gate import Gate
from dryspell.web.guard import Guard
from dryspell.web.pages import add_pages
from dryspell.web.refusal import refusal
from dryspell.web.shell import Shell
from dryspell.web.templating import prepare

log = logging.getLogger(__name__)

_SAID = {
    404: "No page has that address.",
    405: "That address does not take what was sent to it.",
}


def create_app(board: Board, desk: Desk, settings: PageSettings, clock: Clock) -> FastAPI:
    """Return the page as an application.

    Parameters
    ----------
    board, desk
        What is known, and what changes it.
    settings
        Where it is served, and to whom.

    Raises
    ------
    ConfigError
        Where it would be open to other machines without a token.
    """
    prepare()
    gate = Gate(settings, clock, desk.config.state_dir)
    shell = Shell(board, desk, gate, settings, clock)
    app = FastAPI(
        title="dryspell",
        description=DESCRIPTION,
        openapi_url=OPENAPI_URL,
        docs_url=None,
        redoc_url=None,
    )
    add_pages(app, shell)
    add_api(app, board, desk, asks_token=gate.asks)
    for part in (calendar, health, metrics):
        app.include_router(part.router_of(board, desk))
    _answer_errors(app)
    app.add_middleware(Guard, gate=gate, settings=settings)
    return app


def _answer_errors(app: FastAPI) -> None:
    """Answer whatever goes wrong in words of ours; what is in an error goes to the log."""

    def refused(request: Request, error: Exception) -> Response:
        if not isinstance(error, HTTPException):
            raise error
        headers = {"Allow": _allowed(request)} if error.status_code == 405 else error.headers
        return refusal(request.scope, error.status_code, _SAID.get(error.status_code, "That is refused."), headers)

    def cannot_be(request: Request, error: Exception) -> Response:
        return refusal(request.scope, 409, f"{error}.")

    def no_form(request: Request, error: Exception) -> Response:
        return refusal(request.scope, 403, str(error))

    def no_state(request: Request, error: Exception) -> Response:
        log.error("the page could not read or write the state: %s", error)  # its text names paths
        return refusal(request.scope, 503, "The record cannot be read or written now; the log of the daemon says why.")

    app.add_exception_handler(HTTPException, refused)
    app.add_exception_handler(CoatError, cannot_be)
    app.add_exception_handler(FormError, no_form)
    app.add_exception_handler(StoreError, no_state)


def _allowed(request: Request) -> str:
    """Return what an address takes: of several routes for one address the framework tells of the first."""
    here = (route for route in request.app.routes if route.matches(request.scope)[0] is not Match.NONE)
    return ", ".join(sorted({method for route in here for method in getattr(route, "methods", None) or ()}))
