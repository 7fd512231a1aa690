"""What changes the record: each answer shows what was done, and the window has moved when it comes."""

from collections.abc import Callable, Coroutine
from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Header, Path, Query
from fastapi.routing import APIRoute
from starlette.requests import Request
from starlette.responses import Response

from dryspell.answers import coat_pot, coat_seen
from dryspell.answers.coat_details import FIRST
from dryspell.answers.coat_done import CoatDocument, Did, PotDid, PotDocument, SandableDocument
from dryspell.answers.coat_report import Answer
from dryspell.answers.coat_told import Told
from dryspell.answers.part import Part
from dryspell.errors import CoatError
from dryspell.outlook.as_json import instant
from dryspell.outlook.model import Coat, Mixed, Outlook
from dryspell.web.api.bodies import LONGEST_NAME, Correction, NewCoat, Since, Spoilt
from dryspell.web.api.problem import CHANGES, NOT_READ, NOT_THERE, Declared, RefusedError
from dryspell.web.board import Board
from dryspell.web.desk import Desk

JSON = "application/json"
Handler = Callable[[Request], Coroutine[Any, Any, Response]]


class JsonRoute(APIRoute):
    """A route that takes JSON and nothing else."""

    def get_route_handler(self) -> Handler:
        """Return what answers, after a look at what is sent."""
        handle = super().get_route_handler()
        takes = self.body_field is not None

        async def checked(request: Request) -> Response:
            kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
            if takes and kind != JSON:
                raise RefusedError(415, f"wanted {JSON}")
            return await handle(request)

        return checked


_CHANGES_BY_ADDRESS: Declared = {409: CHANGES[409], **NOT_THERE, **NOT_READ}


def changing_routes(board: Board, desk: Desk) -> APIRouter:  # noqa: C901  (one short function a route)
    """Return the routes that the record is changed by."""
    config = desk.config
    router = APIRouter(prefix="/record/{piece}", route_class=JsonRoute)
    piece_key = Annotated[str, Path(description="the key of a piece", json_schema_extra={"enum": list(config.piece)})]
    coat_number = Annotated[int, Path(ge=1, le=1000, description="the number of a coat")]
    by_whom = Annotated[str, Query(max_length=LONGEST_NAME, description="who does it")]
    request_name = Annotated[
        str,
        Header(
            alias="Idempotency-Key",
            pattern="^([A-Za-z0-9_-]{8,64})?$",
            description="a name for this request, made up by whoever sends it: sent again under it, the coat is not "
            "recorded twice, and the answer is the same",
        ),
    ]

    def there(piece: str, coat: int | None = None) -> str:
        if piece not in config.piece:
            raise RefusedError(404, "there is no piece of that key")
        if coat is not None and all(film.number != coat for film in desk.films(piece)):
            raise RefusedError(404, f"no coat {coat} of {piece} is recorded")
        return piece

    def outlook(piece: str) -> Outlook | None:
        """Return what is known of a piece since the change; None where no tick has seen it yet."""
        return board.known.outlook(piece) if board.known and not desk.is_behind else None

    def document(did: Did, coat: Coat) -> CoatDocument:
        seen = None if did == "undo" else outlook(coat.piece)
        return Answer(config, config.piece[coat.piece], coat, seen.film if seen else None, desk.clock.now()).document(
            did
        )

    def pot(did: PotDid, mixed: Mixed) -> PotDocument:
        seen = outlook(mixed.piece)
        return coat_pot.document(
            config, config.piece[mixed.piece], mixed, seen.pot if seen else None, desk.clock.now(), did
        )

    def past(at: datetime | None) -> datetime | None:
        if at is not None and not FIRST <= at <= desk.clock.now():
            raise CoatError(f"{instant(at)} is yet to come" if at >= FIRST else f"{instant(at)} is too long ago")
        return at

    @router.post("/coats", status_code=201, response_model=CoatDocument, responses=CHANGES)
    def record(piece: piece_key, body: NewCoat, name: request_name = "") -> Response:
        """Record the next coat of a piece as done."""
        there(piece)
        coat = desk.record(piece, _told(body, past), number=body.coat, request=name)
        return _sent(document("record", coat), 201)

    @router.post("/coats/{coat}/correction", response_model=CoatDocument, responses=CHANGES)
    def correct(piece: piece_key, coat: coat_number, body: Correction) -> Response:
        """Put another in the place of a coat that was recorded wrongly; what it was before stays in the history."""
        return _sent(document("correct", desk.correct(there(piece, coat), coat, _told(body, past), who=body.by)))

    @router.delete("/coats/{coat}", response_model=CoatDocument, responses=_CHANGES_BY_ADDRESS)
    def undo(piece: piece_key, coat: coat_number, by: by_whom = "") -> Response:
        """Take back the coat that lies on top; it stays in the history as that."""
        return _sent(document("undo", desk.undo(there(piece, coat), number=coat, who=by)))

    @router.post("/coats/{coat}/spoilt", response_model=CoatDocument, responses=CHANGES)
    def spoil(piece: piece_key, coat: coat_number, body: Spoilt) -> Response:
        """Note what spoilt the coat that lies on top, or that nothing did."""
        found = desk.spoil(there(piece, coat), body.by, number=coat, note=body.note, who=body.who)
        return _sent(document("spoilt" if body.by else "not spoilt", found))

    @router.post("/coats/{coat}/sandable", response_model=SandableDocument, responses=CHANGES)
    def sandable(piece: piece_key, coat: coat_number, body: Since) -> Response:
        """Note that the coat that lies on top is sandable, and learn from it how it dries here."""
        seen = desk.sandable(there(piece, coat), past(body.at), number=coat)
        return _sent(coat_seen.document(config, config.piece[piece], seen, desk.clock.now()))

    @router.post("/pot", response_model=PotDocument, responses=CHANGES)
    def mix(piece: piece_key, body: Since) -> Response:
        """Note that the pot for the next coat of two parts is mixed."""
        return _sent(pot("mixed", desk.mix(there(piece), past(body.at))))

    @router.delete("/pot", response_model=PotDocument, responses=_CHANGES_BY_ADDRESS)
    def pour_away(piece: piece_key) -> Response:
        """Note that the pot is gone."""
        return _sent(pot("poured away", desk.pour_away(there(piece))))

    return router


def _told(body: NewCoat | Correction, past: Callable[[datetime | None], datetime | None]) -> Told:
    told = body.told()
    for name in ("finished_at", "began_at"):
        past(told.coat.get(name))
    return told


def _sent(document: Part, status: int = 200) -> Response:
    return Response(document.model_dump_json(), status, media_type=JSON)
