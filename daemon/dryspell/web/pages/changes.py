"""The forms that change the record: a coat is on, was another way, is taken back, spoilt or sandable; a pot is mixed.

Each is shown at its address and sent to the same one. What cannot be read comes back beside its field, with all that
was typed; what was done is said on the page that is shown next.
"""

import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast, get_args
from urllib.parse import urlencode

from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import RedirectResponse, Response

from dryspell.answers.coat_told import DETAILS, ToldError
from dryspell.errors import CoatError
from dryspell.outlook.figures import when
from dryspell.outlook.model import Coat, Spoiler
from dryspell.web.desk import Desk
from dryspell.web.fields import changed, coat_fields, texts_of
from dryspell.web.forms import read_form
from dryspell.web.pages.record import number_of, piece_of
from dryspell.web.shell import Shell, View

SPOILERS: Mapping[str, str] = {
    "dew": "dew", "rain": "rain", "cold": "cold", "heat": "heat", "other": "something else",
}  # fmt: skip
LONGEST_SENT = 64


@dataclass(frozen=True)
class Asked:
    """What a form is about, and what was typed into it so far.

    Attributes
    ----------
    number
        The coat it is of, where one was named.
    problems
        By field; that of the whole is under "".
    """

    piece: str
    number: int | None
    back: str
    typed: Mapping[str, str] = field(default_factory=dict)
    problems: Mapping[str, str] = field(default_factory=dict)


Do = Callable[[Desk, Asked], tuple[str, int]]
"""Does what was asked, and returns what is to be said and the number of the coat."""


def routes(shell: Shell) -> list[tuple[str, list[str], Any]]:
    """Return the routes of this part: path, methods and handler."""
    forms: Mapping[str, tuple[str, Callable[[View, Asked], dict[str, Any]], Do]] = {
        "coat": ("coat.html", _coat, _record),
        "correct": ("correct.html", _correction, _correct),
        "undo": ("undo.html", _top, _undo),
        "spoilt": ("spoilt.html", _spoiling, _spoil),
        "sandable": ("sandable.html", _top, _sandable),
        "pot": ("pot.html", _coat, _pot),
    }
    return [
        (f"/record/{{piece}}/{name}", ["GET", "POST"], _handler(shell, template, fill, do))
        for name, (template, fill, do) in forms.items()
    ]


def _handler(shell: Shell, template: str, fill: Callable[[View, Asked], dict[str, Any]], do: Do) -> Any:
    async def handle(request: Request) -> Response:
        asked = Asked(piece_of(request, shell), number_of(request), request.query_params.get("from", "")[:20])
        if request.method != "POST":
            return await shell.once(request, template, lambda view: _frame(view, asked) | fill(view, asked))
        typed = await read_form(request, shell.gate)
        number = typed.get("number", "")
        asked = Asked(
            asked.piece,
            int(number) if number.isascii() and number.isdigit() and len(number) < 4 else None,
            typed.get("from", ""),
            typed,
        )
        try:
            did, coat = await run_in_threadpool(do, shell.desk, asked)
        except ToldError as error:
            asked, status = _with(asked, error.problems), 422
        except CoatError as error:
            asked, status = _with(asked, {"": f"{error}."}), 409
        else:
            return RedirectResponse(_next(shell, asked, did, coat), 303)
        return await shell.once(request, template, lambda view: _frame(view, asked) | fill(view, asked), status=status)

    return handle


def _with(asked: Asked, problems: Mapping[str, str]) -> Asked:
    return Asked(asked.piece, asked.number, asked.back, asked.typed, problems)


def _next(shell: Shell, asked: Asked, did: str, coat: int) -> str:
    told = urlencode({"did": did, "piece": asked.piece, "coat": coat})
    path = "/" if asked.back == "today" else f"/record/{asked.piece}"
    return f"{shell.settings.prefix}{path}?{told}"


def _frame(view: View, asked: Asked) -> dict[str, Any]:
    config = view.config
    piece = config.piece[asked.piece]
    return {
        "piece": piece,
        "asked": asked,
        "now_text": when(view.now, config.site_of(piece).zone, view.now),
        "zone": config.site_of(piece).zone.key,
        "problem": asked.problems.get("", ""),
        "people": [person.name for person in config.person.values()],
    }


def _coat(view: View, asked: Asked) -> dict[str, Any]:
    config = view.config
    piece = config.piece[asked.piece]
    number = view.desk.next_number(asked.piece)
    outlook = view.known.outlook(asked.piece) if view.known else None
    return {
        "number": number,
        "coats": len(config.lays_of(piece)),
        "with_what": config.lay_of(piece, number).coating.label,
        "fields": list(coat_fields(config, piece, view.units, asked.typed, asked.problems)),
        "is_open": bool(asked.problems),
        "sent": asked.typed.get("sent") or secrets.token_urlsafe(16),
        "pot": outlook.pot if outlook else None,
    }


def _correction(view: View, asked: Asked) -> dict[str, Any]:
    config = view.config
    piece = config.piece[asked.piece]
    coat = _wanted(view.desk, asked)
    typed = asked.typed or texts_of(coat, config.site_of(piece).zone)
    return {
        "coat": coat,
        "number": coat.number,
        "fields": list(coat_fields(config, piece, view.units, typed, asked.problems)),
    }


def _top(view: View, asked: Asked) -> dict[str, Any]:
    coat = _wanted(view.desk, asked)
    zone = view.config.site_of(view.config.piece[asked.piece]).zone
    return {"coat": coat, "number": coat.number, "at_text": when(coat.finished_at, zone, view.now)}


def _spoiling(view: View, asked: Asked) -> dict[str, Any]:
    return {**_top(view, asked), "spoilers": SPOILERS}


def _wanted(desk: Desk, asked: Asked) -> Coat:
    """Return the coat that is named, or else the one that lies on top."""
    films = desk.films(asked.piece)
    found = [coat for coat in films if asked.number in (None, coat.number)]
    if not found:
        raise CoatError("No such coat is recorded")
    return found[-1]


def _record(desk: Desk, asked: Asked) -> tuple[str, int]:
    if asked.number is None:
        raise CoatError("The form does not say which coat it is of; load its page again")
    given = {name: asked.typed[name] for name in DETAILS if name in asked.typed}
    sent = asked.typed.get("sent", "")[:LONGEST_SENT]
    request = f"form {sent}" if sent else ""  # what programs make up has no space in it
    coat = desk.record(asked.piece, desk.read(asked.piece, given), number=asked.number, request=request)
    if coat.number not in {film.number for film in desk.films(asked.piece)}:
        raise CoatError(f"Coat {coat.number} was recorded with this form, and taken back since; load its page again")
    return "record", coat.number


def _correct(desk: Desk, asked: Asked) -> tuple[str, int]:
    old = _wanted(desk, asked)
    zone = desk.config.site_of(desk.config.piece[asked.piece]).zone
    given = changed(asked.typed, texts_of(old, zone))
    if not given:
        raise CoatError(f"Nothing is another way: coat {old.number} stays as it was")
    read = desk.read(asked.piece, given, number=old.number)
    return "correct", desk.correct(asked.piece, old.number, read, who=asked.typed.get("by", "")).number


def _undo(desk: Desk, asked: Asked) -> tuple[str, int]:
    return "undo", desk.undo(asked.piece, number=asked.number, who=asked.typed.get("by", "")).number


def _spoil(desk: Desk, asked: Asked) -> tuple[str, int]:
    by = asked.typed.get("spoilt", "")
    if by not in (*get_args(Spoiler), "none"):
        raise ToldError({"spoilt": "choose what spoilt it"})
    told = {"number": asked.number, "note": asked.typed.get("note", ""), "who": asked.typed.get("by", "")}
    if by == "none":
        return "not-spoilt", desk.spoil(asked.piece, None, **told).number  # type: ignore[arg-type]  # by their names
    return "spoilt", desk.spoil(asked.piece, cast("Spoiler", by), **told).number  # type: ignore[arg-type]  # as above


def _sandable(desk: Desk, asked: Asked) -> tuple[str, int]:
    return "sandable", desk.sandable(asked.piece, _at(desk, asked), number=asked.number).coat.number


def _pot(desk: Desk, asked: Asked) -> tuple[str, int]:
    if asked.typed.get("away") == "yes":
        return "poured-away", desk.pour_away(asked.piece).coat
    return "mixed", desk.mix(asked.piece, _at(desk, asked)).coat


def _at(desk: Desk, asked: Asked) -> Any:
    text = asked.typed.get("at")
    if text is None:
        return None
    try:
        return desk.read_instant(asked.piece, text)
    except ValueError as error:
        raise ToldError({"at": str(error)}) from None
