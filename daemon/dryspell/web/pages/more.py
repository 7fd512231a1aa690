"""The other pages, how the page looks to whoever looks, and logging in and out."""

from typing import Any
from urllib.parse import urlsplit

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dryspell.web.calendar import feeds_of
from dryspell.web.forms import read_form
from dryspell.web.gate import COOKIE
from dryspell.web.guard import client_of, session_of
from dryspell.web.refusal import refusal
from dryspell.web.sessions import LASTS
from dryspell.web.shell import THEME_COOKIE, THEMES, UNITS, UNITS_COOKIE, Shell, View

YEAR_S = 365 * 86_400
NOT_IT = "That is not the token. It stands where token_env or token_file of the configuration says."


class _Door:
    """Logs in and out, and keeps how the page looks to somebody."""

    def __init__(self, shell: Shell) -> None:
        self._shell = shell
        self._root = shell.settings.prefix

    async def more(self, request: Request) -> Response:
        return await self._shell.page(request, "more.html", self._chosen)

    def _chosen(self, view: View) -> dict[str, Any]:
        config, gate = view.config, self._shell.gate
        names = [*(site.name for site in config.site.values()), *(person.name for person in config.person.values())]
        keys = {feed: gate.feed_key(feed) for feed in feeds_of(config)}
        addresses = [f"{view.root}{feed}?key={key}" if key else f"{view.root}{feed}" for feed, key in keys.items()]
        shown = {"units": view.units, "theme": view.theme}
        return {"shown": shown, "calendars": list(zip(names, addresses, strict=True))}

    async def look(self, request: Request) -> Response:
        fields = await read_form(request, self._shell.gate)
        answer = RedirectResponse(f"{self._root}/more", 303)
        for name, cookie, known in (("units", UNITS_COOKIE, UNITS), ("theme", THEME_COOKIE, THEMES)):
            if fields.get(name) in known:
                self._set(request, answer, cookie, fields[name], YEAR_S)
        return answer

    async def login(self, request: Request) -> Response:
        gate = self._shell.gate
        wanted = _own(request.query_params.get("next", "/"))
        if not gate.asks or gate.is_session(session_of(request.headers)):
            return RedirectResponse(f"{self._root}{wanted}", 303)
        if request.method != "POST":
            return await self._asked(request, wanted)
        fields = await read_form(request, gate, of_login=True)
        wanted, client = _own(fields.get("next", "/")), client_of(request.scope)
        if rest_s := gate.rest_s(client):
            text = "The token was wrong too often. Wait a few minutes, and try it again."
            return refusal(request.scope, 429, text, {"Retry-After": f"{rest_s:.0f}"})
        if not gate.is_token(fields.get("token", ""), client):
            return await self._asked(request, wanted, NOT_IT)
        answer = RedirectResponse(f"{self._root}{wanted}", 303)
        self._set(request, answer, COOKIE, await run_in_threadpool(gate.begin), int(LASTS.total_seconds()))
        return answer

    async def logout(self, request: Request) -> Response:
        gate = self._shell.gate
        fields = await read_form(request, gate)
        if fields.get("everywhere") == "yes":
            await run_in_threadpool(gate.end_all)
        else:
            await run_in_threadpool(gate.end, session_of(request.headers))
        answer = RedirectResponse(f"{self._root}/login", 303)
        answer.delete_cookie(COOKIE, path=f"{self._root}/", httponly=True, samesite="strict")
        answer.headers["Clear-Site-Data"] = '"cache", "storage"'
        return answer

    async def _asked(self, request: Request, wanted: str, problem: str = "") -> Response:
        filled = {"problem": problem, "wanted": wanted, "mark": self._shell.gate.login_token}
        return await self._shell.once(request, "login.html", lambda _: filled, status=403 if problem else 200)

    def _set(self, request: Request, answer: Response, name: str, value: str, lasts_s: int) -> None:
        answer.set_cookie(
            name,
            value,
            max_age=lasts_s,
            path=f"{self._root}/",
            secure=request.url.scheme == "https",
            httponly=True,
            samesite="strict",
        )


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""
    door = _Door(shell)
    return [
        ("/more", ["GET"], door.more),
        ("/look", ["POST"], door.look),
        ("/login", ["GET", "POST"], door.login),
        ("/logout", ["POST"], door.logout),
    ]


def _own(wanted: str) -> str:
    """Return where to go after logging in: a path of ours, whatever an address says."""
    try:
        parts = urlsplit(wanted)
    except ValueError:  # such as https://[
        return "/"
    is_own = (
        wanted.startswith("/") and not wanted.startswith(("//", "/\\")) and not parts.netloc and wanted.isprintable()
    )
    return wanted if is_own and "\\" not in wanted and len(wanted) < 500 else "/"
