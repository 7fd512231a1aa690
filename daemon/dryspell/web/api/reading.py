"""The documents that are read."""

from collections.abc import Callable, Hashable
from datetime import timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from starlette.requests import Request
from starlette.responses import Response

from dryspell.answers.document import WindowsDocument, windows_document
from dryspell.answers.log_document import LogDocument, log_document
from dryspell.answers.material_document import material_document
from dryspell.answers.material_found import find
from dryspell.answers.material_parts import MaterialDocument
from dryspell.answers.part import Part
from dryspell.answers.plan_document import PlanDocument, plan_document
from dryspell.answers.review import ReviewDocument, review_document, reviewed
from dryspell.web.api.kept import KeptDocuments
from dryspell.web.api.problem import NOT_READ, NOT_THERE, RefusedError
from dryspell.web.api.status import StatusDocument, status_document
from dryspell.web.api.weather import PieceWeather, SiteWeather, piece_weather, site_weather
from dryspell.web.board import Board, Known
from dryspell.web.desk import Desk

_SOON = {"Retry-After": "5"}
MOST_DAYS = 4000
USUAL_DAYS = 400


def reading_routes(board: Board, desk: Desk) -> APIRouter:  # noqa: C901, PLR0915  (one short function a route)
    """Return the routes that documents are read by."""
    config, clock = desk.config, desk.clock
    router = APIRouter()
    kept = KeptDocuments()
    sites = {key: site.name for key, site in config.site.items()}
    people = {key: person.name for key, person in config.person.items()}
    piece_key = Annotated[str, Path(description="the key of a piece", json_schema_extra={"enum": list(config.piece)})]
    site_key = Annotated[str, Path(description="the key of a site", json_schema_extra={"enum": list(config.site)})]
    days_back = Annotated[int, Query(ge=1, le=MOST_DAYS, description="how many days back to go")]
    mix_temperature = Annotated[
        float | None,
        Query(ge=0, le=50, description="of two-part mixes [degC]; left out, the warmest of the next three days"),
    ]

    async def answer(request: Request, make: Callable[[], Part], *args: Hashable) -> Response:
        """Return a document that hangs on the last tick, on the record, and on what was asked for."""
        return await kept.answer(request, (request.url.path, *args), (board.version, desk.changes), make)

    def there(key: str, of: Any = config.piece) -> str:
        if key not in of:
            raise RefusedError(404, f"there is no {'piece' if of is config.piece else 'site'} of that key")
        return key

    def known() -> Known:
        if board.known is None:
            raise RefusedError(503, "nothing is known yet: the first tick runs", headers=_SOON)
        return board.known

    def windows(keys: list[str]) -> WindowsDocument:
        seen = known()
        return windows_document([outlook for outlook in seen.outlooks if outlook.piece in keys], seen.at, sites)

    def plan(keys: list[str]) -> PlanDocument:
        seen = known()
        if seen.plans is None:
            raise RefusedError(503, "no plan is made yet", headers=_SOON)
        shown = [each for each in seen.plans.plans if each.piece in keys]
        return plan_document(seen.plans, shown, max([each.made_at for each in shown], default=seen.at), sites, people)

    def material(keys: list[str], mix_c: float | None) -> MaterialDocument:
        seen = known()
        laid = {key: desk.store.laid(key, bare=True) for key in config.piece}
        return material_document(find(config, keys, laid, seen.tables, seen.at, mix_c))

    def review(keys: list[str], days: int) -> ReviewDocument:
        now = clock.now()
        of = {key: config.piece[key] for key in keys}
        since = now - timedelta(days=days)
        found = {key: reviewed(config, desk.store, piece, since, now) for key, piece in of.items()}
        return review_document(found, {key: piece.name for key, piece in of.items()}, now, days)

    @router.get("/windows", response_model=WindowsDocument)
    async def all_windows(request: Request) -> Response:
        """Return of every piece the verdict now, every window ahead, and why the rest is not one."""
        return await answer(request, lambda: windows(list(config.piece)))

    @router.get("/windows/{piece}", response_model=WindowsDocument, responses=NOT_THERE)
    async def windows_of(request: Request, piece: piece_key) -> Response:
        """Return of one piece the verdict now, every window ahead, and why the rest is not one."""
        return await answer(request, lambda: windows([there(piece)]))

    @router.get("/plan", response_model=PlanDocument)
    async def whole_plan(request: Request) -> Response:
        """Return every coat to come of every piece: the day, the hours, who, and when each piece is done."""
        return await answer(request, lambda: plan(list(config.piece)))

    @router.get("/plan/{piece}", response_model=PlanDocument, responses=NOT_THERE)
    async def plan_of(request: Request, piece: piece_key) -> Response:
        """Return every coat to come of one piece."""
        return await answer(request, lambda: plan([there(piece)]))

    @router.get("/record/{piece}", response_model=LogDocument, responses=NOT_THERE)
    async def record_of(request: Request, piece: piece_key) -> Response:
        """Return what was put on a piece, when, in what weather, and the film it makes."""
        return await answer(request, lambda: log_document([desk.record_of(there(piece))], clock.now(), history=False))

    @router.get("/record/{piece}/history", response_model=LogDocument, responses=NOT_THERE)
    async def history_of(request: Request, piece: piece_key) -> Response:
        """Return the same with every coat that was ever recorded, and what was done to it."""
        return await answer(request, lambda: log_document([desk.record_of(there(piece))], clock.now(), history=True))

    @router.get("/material", response_model=MaterialDocument, responses=NOT_READ)
    async def all_material(request: Request, mix_c: mix_temperature = None) -> Response:
        """Return what the coats to come take, and what to buy for them."""
        return await answer(request, lambda: material(list(config.piece), mix_c), mix_c)

    @router.get("/material/{piece}", response_model=MaterialDocument, responses={**NOT_THERE, **NOT_READ})
    async def material_of(request: Request, piece: piece_key, mix_c: mix_temperature = None) -> Response:
        """Return what the coats to come of one piece take."""
        return await answer(request, lambda: material([there(piece)], mix_c), mix_c)

    @router.get("/review", response_model=ReviewDocument, responses=NOT_READ)
    async def whole_review(request: Request, days: days_back = USUAL_DAYS) -> Response:
        """Return how often verdicts and odds were right here."""
        return await answer(request, lambda: review(list(config.piece), days), days)

    @router.get("/review/{piece}", response_model=ReviewDocument, responses={**NOT_THERE, **NOT_READ})
    async def review_of(request: Request, piece: piece_key, days: days_back = USUAL_DAYS) -> Response:
        """Return how often verdicts and odds were right of one piece."""
        return await answer(request, lambda: review([there(piece)], days), days)

    @router.get("/weather/site/{site}", response_model=SiteWeather, responses=NOT_THERE)
    async def weather_of_site(request: Request, site: site_key) -> Response:
        """Return the weather of the days ahead at a site, hour by hour."""
        there(site, config.site)
        return await answer(request, lambda: site_weather(config.site[site], known().tables.get(site), known().at))

    @router.get("/weather/piece/{piece}", response_model=PieceWeather, responses=NOT_THERE)
    async def weather_of_piece(request: Request, piece: piece_key) -> Response:
        """Return the weather of the days ahead as it reaches a piece, hour by hour: at its surface, in its shelter."""
        of = config.piece[there(piece)]
        return await answer(
            request, lambda: piece_weather(of, config.site_of(of), known().tables.get(of.site), known().at)
        )

    @router.get("/status", response_model=StatusDocument)
    async def status(request: Request) -> Response:
        """Return how the daemon does: its last tick, sources, sensors, and what waits to be sent."""
        return await answer(request, lambda: status_document(known(), desk.store.queued(), clock.now()))

    return router
