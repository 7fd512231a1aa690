"""What is answered where there is nothing to show: a page for people, a document for programs."""

from collections.abc import Mapping

from starlette.responses import HTMLResponse, Response
from starlette.types import Scope

from dryspell.web.api.problem import problem as document_of
from dryspell.web.templating import render

FOR_PROGRAMS = ("/api/", "/metrics", "/health", "/calendar")

TITLES: Mapping[int, str] = {
    400: "That cannot be read",
    401: "A token is needed",
    403: "Refused",
    404: "There is nothing here",
    405: "Not in that way",
    409: "That cannot be",
    413: "Too much at once",
    414: "The address is too long",
    422: "That cannot be read",
    429: "Too many tries",
    431: "Too much at once",
    500: "Something went wrong",
    503: "Not just now",
}


def path_of(scope: Scope) -> str:
    """Return the path of a request without the prefix of the page."""
    path, prefix = str(scope.get("path", "")), str(scope.get("root_path", ""))
    return path.removeprefix(prefix) if prefix and path.startswith(f"{prefix}/") else path


def is_for_programs(scope: Scope) -> bool:
    """Say whether a program asks, rather than a person."""
    return path_of(scope).startswith(FOR_PROGRAMS)


def refusal(scope: Scope, status: int, problem: str, headers: Mapping[str, str] | None = None) -> Response:
    """Return an answer that says what is the matter, in the form that whoever asks can read."""
    if is_for_programs(scope):
        return document_of(status, problem, headers=headers)
    html = render(
        "refusal.html",
        title=TITLES.get(status, "Refused"),
        problem=problem,
        status=status,
        root=scope.get("root_path", ""),
    )
    return HTMLResponse(html, status, headers)
