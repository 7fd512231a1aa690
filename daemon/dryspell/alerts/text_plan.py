"""The words of a plan that has moved."""

from collections.abc import Mapping
from datetime import datetime

from dryspell.alerts.model import Move, Why
from dryspell.alerts.writing import Words, Writer, sentence
from dryspell.outlook.figures import weekday_date
from dryspell.outlook.plan_model import WhyMoved

_BECAUSE: Mapping[WhyMoved, str] = {
    "weather": "the weather there is not good any more",
    "coat_below": "the coat below is not ready by then",
    "people": "whoever does it is at another piece then, or off",
    "sooner": "so all coats are on sooner, or the last one meets a better day",
    "missed": "it was not put on then",
}


def moved(w: Writer) -> Words:
    """Words of a day that has moved: the old one, the new one, why, and what to do about it."""
    move = w.notice.move
    if move is None:
        return Words("", ())
    return Words(_said(w, move), (_from_to(w, move), _why(w, move), _finish(w, move), _to_do(w, move)))


def _said(w: Writer, move: Move) -> str:
    number = w.notice.coat
    if move.of_start:
        return f"Coat {number} moves to {w.at(move.start)}" if move.start else f"No day for coat {number} now"
    if move.finish is None:
        return f"All coats on later than {_day(w, move.finish_was)}" if move.finish_was else "All coats on later"
    return f"All coats on {_day(w, move.finish)}"


def _from_to(w: Writer, move: Move) -> str:
    if not move.of_start:
        return ""
    of = f"Coat {w.notice.coat} of {w.outlook.coats} was planned for {w.at(move.start_was)}"
    return (
        f"{of}, and is for {w.at(move.start)} now." if move.start else f"{of}, and finds no hours in the forecast now."
    )


def _why(w: Writer, move: Move) -> str:
    if w.notice.reason is not None:
        return sentence(w.reason(w.notice.reason, below=w.on))
    return sentence(_BECAUSE[move.why]) if move.why else ""


def _finish(w: Writer, move: Move) -> str:
    was, to = (at and _day(w, at) for at in (move.finish_was, move.finish))
    if to is None:
        return f"All coats were to be on {was}; they will not be within the forecast." if was else ""
    return f"All coats are on {to} then" + (f", before it was {was}." if was and was != to else ".")


def _to_do(w: Writer, move: Move) -> str:
    match w.notice.why:
        case _ if not move.of_start:
            return "Tell whoever waits for the piece."
        case Why.SOONER:
            return f"Be ready by then: {w.preparing}. You hear when it is time."
        case Why.LATER:
            return "Do something else that day. You hear when the new one is there."
        case _:
            return "Plan no coat that day. You hear of the next window."


def _day(w: Writer, at: datetime) -> str:
    return weekday_date(at.astimezone(w.zone))
