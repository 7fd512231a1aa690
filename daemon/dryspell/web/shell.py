"""What every page has in common: who looks at it and how, its frame, and the bytes that are kept of it.

A page is made once for each way it can be looked at and kept until a tick, a change or the next minute makes it old:
two hundred readers cost no more than one.
"""

import gzip
from collections import OrderedDict
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from typing import Any, Literal

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import Response

from dryspell.clock import Clock, SystemClock
from dryspell.config import Config
from dryspell.config.page import PageSettings
from dryspell.outlook.figures import Units
from dryspell.web.board import Board, Known
from dryspell.web.desk import Desk
from dryspell.web.gate import Gate
from dryspell.web.reviews import Reviews
from dryspell.web.static_files import address_of
from dryspell.web.templating import render
from dryspell.web.together import Together

Theme = Literal["auto", "light", "dark"]
THEMES: tuple[Theme, ...] = ("auto", "light", "dark")
UNITS: tuple[Units, ...] = ("metric", "us")
UNITS_COOKIE, THEME_COOKIE = "dryspell_units", "dryspell_theme"
MOST_KEPT = 256
STALE_AFTER = timedelta(minutes=15)
NEARLY_NOW = timedelta(seconds=5)
TICKS_LEFT_OUT = 3
"""What is known is stale when so many ticks were left out, and it is a quarter of an hour old at least."""


@dataclass(frozen=True)
class View:
    """How somebody looks at a page.

    Attributes
    ----------
    known
        What was known at the last tick; None before the first.
    now
        When they look.
    units, theme
        As they have chosen.
    root
        What the paths of the page begin with.
    """

    known: Known | None
    now: datetime
    units: Units
    theme: Theme
    root: str
    config: Config
    desk: Desk
    form_token: str
    asks: bool
    path: str

    @property
    def is_live(self) -> bool:
        """Whether the clock here is that of the world, so that a browser may count down by its own."""
        return abs(self.now - SystemClock().now()) < NEARLY_NOW

    @property
    def is_stale(self) -> bool:
        """Whether what is known is too old to go by."""
        if self.known is None:
            return True
        limit = max(STALE_AFTER, timedelta(seconds=TICKS_LEFT_OUT * self.config.daemon.tick_s))
        return abs(self.now - self.known.at) > limit


@dataclass(frozen=True)
class Kept:
    """The bytes of a page, packed: whoever does not take them so has them unpacked, which few ask for."""

    packed: bytes
    etag: str


Fill = Callable[[View], dict[str, Any]]
"""Returns what a template is filled in with."""


class Shell:
    """Makes pages and keeps them.

    Parameters
    ----------
    board, desk, gate, settings, clock
        As for `dryspell.web.app.create_app`.
    """

    def __init__(self, board: Board, desk: Desk, gate: Gate, settings: PageSettings, clock: Clock) -> None:
        self.board = board
        self.desk = desk
        self.gate = gate
        self.settings = settings
        self.clock = clock
        self.reviews = Reviews(desk)
        self._kept: OrderedDict[Hashable, tuple[Hashable, Kept]] = OrderedDict()
        self._together = Together[Kept]()

    @property
    def config(self) -> Config:
        """The configuration as it was read."""
        return self.desk.config

    def view(self, request: Request) -> View:
        """Return how a request looks at a page."""
        units = request.cookies.get(UNITS_COOKIE, "")
        theme = request.cookies.get(THEME_COOKIE, "")
        return View(
            known=self.board.known,
            now=self.clock.now(),
            units=next((known for known in UNITS if known == units), self.config.alerting.units),
            theme=next((known for known in THEMES if known == theme), "auto"),
            root=self.settings.prefix,
            config=self.config,
            desk=self.desk,
            form_token=self.gate.form_token,
            asks=self.gate.asks,
            path=request.url.path.removeprefix(self.settings.prefix),
        )

    async def page(
        self,
        request: Request,
        template: str,
        fill: Fill,
        *,
        args: Hashable = (),
    ) -> Response:
        """Return a page that looks the same for everybody who looks at it in the same way.

        Parameters
        ----------
        fill
            Is called in a thread when there is none that can be used yet.
        args
            What the page hangs on beside its path, the state, and how it is looked at; few, for each is kept.
        """
        view = self.view(request)
        key = (view.path, args, view.units, view.theme)
        stamp = (self.board.version, self.desk.changes, int(view.now.timestamp()) // 60)
        at_hand = self._kept.get(key)
        if at_hand is not None and at_hand[0] == stamp:
            return _answer(request, at_hand[1])

        def keep(kept: Kept) -> None:
            for old in [each for each, (of, _) in self._kept.items() if of != stamp]:
                del self._kept[old]
            self._kept[key] = (stamp, kept)
            self._kept.move_to_end(key)
            while len(self._kept) > MOST_KEPT:
                self._kept.popitem(last=False)

        return _answer(request, await self._together.do((key, stamp), lambda: self._make(view, template, fill), keep))

    async def once(self, request: Request, template: str, fill: Fill, *, status: int = 200) -> Response:
        """Return a page that is of this request alone, such as a form with what was typed into it."""
        view = self.view(request)
        html = await run_in_threadpool(self._html, view, template, fill)
        return Response(html, status, media_type="text/html; charset=utf-8")

    def _make(self, view: View, template: str, fill: Fill) -> Kept:
        body = self._html(view, template, fill).encode()
        return Kept(gzip.compress(body, 6, mtime=0), f'W/"{sha256(body).hexdigest()[:24]}"')

    def _html(self, view: View, template: str, fill: Fill) -> str:
        return render(
            template, view=view, root=view.root, static=lambda name: f"{view.root}{address_of(name)}", **fill(view)
        )


def _answer(request: Request, kept: Kept) -> Response:
    headers = {
        "ETag": kept.etag,
        "Cache-Control": "private, no-cache",
        "Vary": "Accept-Encoding, Cookie",
    }
    if kept.etag in request.headers.get("if-none-match", ""):
        return Response(status_code=304, headers=headers)
    if "gzip" in request.headers.get("accept-encoding", ""):
        headers["Content-Encoding"] = "gzip"
        return Response(kept.packed, headers=headers, media_type="text/html; charset=utf-8")
    return Response(gzip.decompress(kept.packed), headers=headers, media_type="text/html; charset=utf-8")
