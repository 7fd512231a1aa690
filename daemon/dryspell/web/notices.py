"""What is said at the head of a page of what was just done there."""

from dataclasses import dataclass

from starlette.requests import Request

from dryspell.config import Config

DID = {
    "record": "Coat {coat} of {name} is on the record.",
    "correct": "Coat {coat} of {name} is corrected.",
    "undo": "Coat {coat} of {name} is taken back.",
    "spoilt": "Coat {coat} of {name} is noted as spoilt, and does not count.",
    "not-spoilt": "Coat {coat} of {name} counts again.",
    "sandable": "Coat {coat} of {name} is noted as sandable.",
    "mixed": "The pot for coat {coat} of {name} is noted as mixed.",
    "poured-away": "The pot for coat {coat} of {name} is noted as gone.",
}


@dataclass(frozen=True)
class Done:
    """What was done to a piece."""

    what: str
    piece: str
    coat: int
    text: str


def notice_of(request: Request, config: Config) -> Done | None:
    """Return what the address says was just done; None for nothing, or nothing that can be."""
    did, piece, coat = (request.query_params.get(name, "") for name in ("did", "piece", "coat"))
    piece = piece or str(request.path_params.get("piece", ""))
    if did not in DID or piece not in config.piece or not (coat.isascii() and coat.isdigit() and len(coat) < 4):
        return None
    return Done(did, piece, int(coat), DID[did].format(coat=int(coat), name=config.piece[piece].name))
