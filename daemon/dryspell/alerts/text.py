"""A notice in words: a title that fits a watch, verdict first; then why, the numbers, until when, and what next."""

from collections.abc import Callable, Mapping
from hashlib import sha256

from dryspell.alerts import text_film, text_plan, text_pot, text_windows
from dryspell.alerts.kinds import Kind
from dryspell.alerts.model import Notice
from dryspell.alerts.writing import About, Words, Writer
from dryspell.outlook.figures import Units
from dryspell.outlook.words import capital

__all__ = ["About", "compose", "notice_id"]

WATCH = 40
"""What a watch shows of a title."""

_WORDS: Mapping[Kind, Callable[[Writer], Words]] = {
    Kind.TOMORROW: text_windows.tomorrow,
    Kind.COAT_NOW: text_windows.coat_now,
    Kind.HOT_COAT: text_windows.hot_coat,
    Kind.LAST_CALL: text_windows.last_call,
    Kind.WAIT: text_windows.wait,
    Kind.WEATHER_LOST: text_windows.weather_lost,
    Kind.WEATHER_BACK: text_windows.weather_back,
    Kind.FILM_RISK: text_film.film_risk,
    Kind.RISK_OVER: text_film.risk_over,
    Kind.DEW_SAFE: text_film.dew_safe,
    Kind.RAIN_SAFE: text_film.rain_safe,
    Kind.READY_TO_SAND: text_film.ready_to_sand,
    Kind.OVERCOAT_CLOSING: text_film.overcoat_closing,
    Kind.OVERCOAT_PAST: text_film.overcoat_past,
    Kind.BUILT_UP: text_film.built_up,
    Kind.IN_SERVICE: text_film.in_service,
    Kind.CURED: text_film.cured,
    Kind.POT_READY: text_pot.ready,
    Kind.POT_ENDING: text_pot.ending,
    Kind.PLAN_MOVED: text_plan.moved,
    Kind.UPKEEP: text_film.upkeep,
}

_SEVERAL = {
    Kind.COAT_NOW: "Coat now",
    Kind.HOT_COAT: "Coat now, on soft coats",
    Kind.WAIT: "Wait",
    Kind.RISK_OVER: "No danger after all",
    Kind.PLAN_MOVED: "Plan moved",
}
"""What is said in short of several pieces of which each has another hour."""


def notice_id(notice: Notice) -> str:
    """Return the short id that stands in the last line of the body, so that a repeat is known for one."""
    return sha256(notice.key.encode()).hexdigest()[:10]


def compose(
    notice: Notice, about: Mapping[str, About], units: Units = "metric", *, link: str = "", place: str = ""
) -> tuple[str, str]:
    """Return title and body.

    Parameters
    ----------
    about
        By piece, of each that the notice is on.
    units
        Of whoever it is for.
    link
        Where coats are recorded in a browser, as far as the path; empty for nowhere.
    place
        What to call the site, where it is about several pieces there.
    """
    writers = [Writer(part, about[part.piece], units, link) for part in notice.each]
    words = [_WORDS[writer.notice.kind](writer) for writer in writers]
    if len(writers) == 1:
        title, lines = _titled(words[0].said, writers[0].outlook.piece_name), list(words[0].lines)
    else:
        title = _title(notice, writers, words, place)
        lines = []
        for writer, said in zip(writers, words, strict=True):
            apart = "\n" if lines else ""
            lines += [f"{apart}* {_titled(said.said, writer.outlook.piece_name)}", *said.lines]
    # Of what comes by the calendar no weather has to be named.
    credits_ = dict.fromkeys(writer.credit() for writer in writers if notice.kind is not Kind.UPKEEP)
    cautions = dict.fromkeys(
        caution
        for writer, said in zip(writers, words, strict=True)
        if not writer.notice.cautioned
        for caution in said.cautions
    )
    body = (*lines, *credits_, *cautions, f"[{notice_id(notice)}]")
    return title, "\n".join(line for line in body if line)


def _titled(said: str, name: str) -> str:
    return f"{said}: {name}"


def _title(notice: Notice, writers: list[Writer], words: list[Words], place: str) -> str:
    """Return what is said in short of several pieces: their names where they fit, else how many they are."""
    names = list(dict.fromkeys(writer.outlook.piece_name for writer in writers))
    said = _of_several(notice, writers, words)
    by_name = _titled(said, ", ".join(names))
    if len(by_name) <= WATCH or len(names) == 1:
        return by_name
    many = f"{len(names)} pieces"
    with_place = _titled(said, f"{many}, {place}")
    return with_place if place and len(with_place) <= WATCH else _titled(said, many)


def _of_several(notice: Notice, writers: list[Writer], words: list[Words]) -> str:
    """Return the short word on several pieces, the soonest hour first where they have one each."""
    first, same = writers[0], {said.said for said in words}
    if len(same) == 1:
        return words[0].said
    if notice.kind is Kind.TOMORROW and first.window:
        return f"Coat from {first.at(first.window.start)}"
    if notice.kind is Kind.FILM_RISK and first.notice.at:
        hazards = dict.fromkeys(writer.notice.hazard or "" for writer in writers)
        comes = first.at(first.notice.at) if first.notice.at > notice.created_at else "now"
        return capital(f"{' and '.join(hazards)} from {comes}, see to it")
    return _SEVERAL.get(notice.kind, words[0].said)
