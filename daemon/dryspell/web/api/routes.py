"""The routes under /api/v1, and the document that tells of them."""

from typing import Any

from fastapi import APIRouter, FastAPI
from fastapi.exceptions import RequestValidationError
from starlette.requests import Request
from starlette.responses import Response

from dryspell.web.api.changing import changing_routes
from dryspell.web.api.problem import ALWAYS, Problem, RefusedError, fields_of, problem
from dryspell.web.api.reading import reading_routes
from dryspell.web.board import Board
from dryspell.web.desk import Desk

PREFIX = "/api/v1"
OPENAPI_URL = "/api/openapi.json"
DESCRIPTION = (
    "What dryspell knows of every piece, and the record of its coats. Every number has its unit in its key, every "
    "instant is UTC with Z, what is not known is null. dryspell advises and promises nothing: the data sheet, local "
    "rules and qualified people decide."
)


def router_of(board: Board, desk: Desk) -> APIRouter:
    """Return every route under /api/v1."""
    router = APIRouter(prefix=PREFIX, responses=dict(ALWAYS))
    router.include_router(reading_routes(board, desk), tags=["read"])
    router.include_router(changing_routes(board, desk), tags=["change"])
    return router


def add_api(app: FastAPI, board: Board, desk: Desk, *, asks_token: bool) -> None:
    """Add the routes to an application, and answer what goes wrong with them by problem documents.

    Parameters
    ----------
    asks_token
        Whether a token is asked for: the document that tells of the routes then says so.
    """
    app.include_router(router_of(board, desk))

    def refused(_request: Request, error: Exception) -> Response:
        if not isinstance(error, RefusedError):
            raise error
        return error.answer()

    def not_read(_request: Request, error: Exception) -> Response:
        if not isinstance(error, RequestValidationError):
            raise error
        errors = error.errors()
        if any(each["type"] == "json_invalid" for each in errors):
            return problem(400, "what was sent is no JSON")
        return problem(422, "what was sent cannot be read; `errors` says what is wrong", fields_of(errors))

    app.add_exception_handler(RefusedError, refused)
    app.add_exception_handler(RequestValidationError, not_read)
    make = app.openapi

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            document = make()
            schemas = document["components"]["schemas"]
            _without_the_frameworks_own(document)
            schemas[Problem.__name__] = Problem.model_json_schema(
                mode="serialization", ref_template="#/components/schemas/{model}"
            )
            schemas.update(schemas[Problem.__name__].pop("$defs", {}))
            if asks_token:
                document["components"]["securitySchemes"] = {"token": {"type": "http", "scheme": "bearer"}}
                document["security"] = [{"token": []}]
            app.openapi_schema = document
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]  # as FastAPI's documentation has it


def _without_the_frameworks_own(document: dict[str, Any]) -> None:
    """Take out the answers that FastAPI would give and this page does not: problem documents are in their place."""
    own = [document["components"]["schemas"].pop(name, None) for name in ("HTTPValidationError", "ValidationError")]
    for operation in (each for path in document["paths"].values() for each in path.values() if any(own)):
        if "application/json" in operation["responses"].get("422", {}).get("content", {}):
            del operation["responses"]["422"]
