"""Outlooks on a terminal of 80 columns: the verdicts first, then each piece, and on demand every reason in words."""

import textwrap
from collections.abc import Collection, Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from dryspell.cli.paint import Paint
from dryspell.cli.strip import Strips, legend, note, painted_runs, strips_of
from dryspell.outlook import words
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Block, FilmState, Limit, Outlook, Pot, Window
from dryspell.outlook.window_words import (
    OFF,
    OFF_TEXT,
    block_text,
    hard_text,
    in_order,
    slowed_text,
    stages_text,
    window_facts,
    window_text,
)

if TYPE_CHECKING:
    from dryspell.outlook.plan_model import Plan

WIDTH = 80
_NO_BREAK = "\N{NO-BREAK SPACE}"
_BAR = 20
_TEXT = 23
"""Column at which the text of a window or a block begins."""

CAUTION = (
    "All of this is an estimate from a forecast. The data sheet of the can, a look at the piece and your thumb "
    "go before it."
)


def outlooks_text(
    outlooks: Sequence[Outlook],
    names: Mapping[str, str],
    paint: Paint,
    units: Units = "metric",
    *,
    details: bool = False,
    added: Sequence[str] = (),
) -> str:
    """Return everything there is to say of some outlooks.

    Parameters
    ----------
    names
        What sites and coatings are called, by key.
    details
        Add every window and every block in words.
    added
        Lines to put in after the pieces.
    """
    lines = [*summary(outlooks, paint, units)]
    used: set[str] = set()
    for outlook in outlooks:
        strips = strips_of(outlook)
        used |= strips.used()
        lines += ["", *piece(outlook, strips, names, paint, units)]
        if details:
            lines += ["", *every_start(outlook, paint, units)]
    lines += ["", *marks(used, paint), *added, *sources(outlooks, paint)]
    return "\n".join(line.rstrip() for line in lines)


def summary(outlooks: Sequence[Outlook], paint: Paint, units: Units) -> Iterator[str]:
    """Yield the present instant and one verdict a piece."""
    now, zone = outlooks[0].made_at, ZoneInfo(outlooks[0].timezone)
    yield paint(f"{words.weekday_date(now.astimezone(zone))} {now.astimezone(zone):%Y %H:%M}", "title") + paint(
        f"  {zone.key}", "aside"
    )
    yield ""
    widest = min(24, max(len(outlook.piece_name) for outlook in outlooks))
    for outlook in outlooks:
        word = _word(outlook)
        # The word in front says "wait" and "unknown" already.
        said = words.verdict(outlook).removeprefix("wait").lstrip(" :") if word != "unknown" else ""
        reason = "" if word in ("coat", "done") else words.why(outlook, units)
        text = ". ".join(part for part in (said, words.capital(reason)) if part)
        indent = 2 + 9 + widest + 2
        first, *rest = textwrap.wrap(text, WIDTH - indent) or [""]
        name = textwrap.shorten(outlook.piece_name, widest, placeholder="…").ljust(widest)
        yield f"  {paint(word.upper().ljust(9), word)}{paint(name, 'title')}  {first}"
        yield from (" " * indent + line for line in rest)


def _word(outlook: Outlook) -> str:
    built_up = outlook.word == "wait" and outlook.next_coat > outlook.coats
    return "done" if built_up else outlook.word


def piece(outlook: Outlook, strips: Strips, names: Mapping[str, str], paint: Paint, units: Units) -> Iterator[str]:
    """Yield a piece's heading, the film on it, and its days as strips."""
    where = f"{outlook.piece_name}, {names.get(outlook.site, outlook.site)}"
    count = f"coat {outlook.next_coat} of {outlook.coats}" if outlook.next_coat <= outlook.coats else "built up"
    yield from heading(where, count, paint)
    yield from _wrapped(names.get(outlook.coating, outlook.coating), "  ")
    if outlook.film is not None:
        yield from _film(outlook, outlook.film, paint)
    if outlook.pot is not None:
        yield from _wrapped(_pot(outlook.pot, ZoneInfo(outlook.timezone), outlook.made_at), "  ")
    if outlook.coats_on is not None:
        yield f"  {words.coats_on_text(outlook.coats_on)}"
    if outlook.wood is not None:
        yield from _wrapped(words.wood_text(outlook.wood), "  ")
    if outlook.film is not None and outlook.film.coat.spoilt:
        from dryspell.outlook.coat_words import spoilt_text  # noqa: PLC0415  (seldom, and brings the record)

        yield from _wrapped(f"{words.capital(spoilt_text(outlook.film.coat))}: sand it off first.", "  ")
    elif outlook.sand_first:
        what = words.sand_first_text(outlook)
        yield from _wrapped(f"The time to coat without sanding is past by then: {what} first.", "  ")
    if before := words.before_line(outlook):
        yield from _wrapped(before, "  ")
    if outlook.windows or outlook.blocks:
        yield ""
        yield from _days(outlook, strips, paint, units)
    else:
        yield from _wrapped(words.capital(words.why(outlook, units) or words.verdict(outlook)) + ".", "  ")


def _film(outlook: Outlook, film: FilmState, paint: Paint) -> Iterator[str]:
    zone, now = ZoneInfo(outlook.timezone), outlook.made_at
    done = round(film.sandable_fraction * _BAR)
    bar = paint("#" * done, "title") + paint("." * (_BAR - done), "aside")
    share = f"{min(99, int(film.sandable_fraction * 100)) if film.sandable_fraction < 1 else 100} %"
    yield f"  On it: coat {film.coat.number}, last stroke {words.when(film.coat.finished_at, zone, now)}"
    yield f"         [{bar}] {share} of the way to {hard_text(stain=film.stain)}"
    yield from _wrapped(stages_text(film.stages, lambda at: words.when(at, zone, now), stain=film.stain), "         ")
    if film.factors:
        yield from _wrapped(words.capital(slowed_text(film.factors)) + ".", "         ")
    if film.unaccounted_h > 0:
        gone = words.duration(timedelta(hours=film.unaccounted_h))
        yield from _wrapped(f"For {gone} of it no weather is known; they count as no drying at all.", "         ")


def _days(outlook: Outlook, strips: Strips, paint: Paint, units: Units) -> Iterator[str]:
    now = outlook.made_at.astimezone(ZoneInfo(outlook.timezone))
    yield paint(" " * 13 + strips.ruler(), "aside")
    for day in strips.days:
        plain = strips.row(day)
        row = "".join(paint(run, role) if role else run for run, role in painted_runs(plain))
        label = words.weekday_date(day.date)
        label = paint(label.ljust(11), "title") if day.date == now.date() else label.ljust(11)
        indent = 13 + len(plain) + 2
        first, *rest = textwrap.wrap(note(day, outlook, units), WIDTH - indent) or [""]
        yield f"  {label}{row}  {first}"
        yield from (" " * indent + line for line in rest)


def every_start(outlook: Outlook, paint: Paint, units: Units) -> Iterator[str]:
    """Yield every window with its numbers, and every span between with the first reason against it."""
    zone, now = ZoneInfo(outlook.timezone), outlook.made_at
    heading = ""
    brushing_to = now
    for span in in_order(outlook):
        start = span.start if isinstance(span, Window) else span[0].start
        called, date = words.day(start, zone, now), words.weekday_date(start.astimezone(zone))
        head = date if called == date else f"{words.capital(called)}, {date}"
        if head != heading:
            yield from ([""] if heading else [])
            yield paint(head, "title")
            heading = head
        if isinstance(span, Window):
            yield from _window(outlook, span, paint, units)
            brushing_to = span.tight_until
        elif span[-1].end > brushing_to:
            yield from _blocks(outlook, span, brushing_to, paint, units)


def _row(start: datetime, end: datetime, zone: ZoneInfo, word: str, text: str) -> Iterator[str]:
    first, *rest = textwrap.wrap(text, WIDTH - _TEXT, break_on_hyphens=False)
    yield f"  {words.clock(start, zone)} to {words.clock(end, zone)}".ljust(_TEXT - 6) + word + first
    yield from (" " * _TEXT + line for line in rest)


def _window(outlook: Outlook, window: Window, paint: Paint, units: Units) -> Iterator[str]:
    zone = ZoneInfo(outlook.timezone)

    last = window.brush_down_by if window.word == "coat" else window.tight_until
    said = window_text(outlook, window)
    yield from _row(window.start, last, zone, paint(window.word.upper().ljust(6), window.word), said)
    for fact in window_facts(outlook, window, units):
        yield from _wrapped(fact, " " * _TEXT)


def _pot(pot: Pot, zone: ZoneInfo, now: datetime) -> str:
    """Say how the pot keeps that is mixed."""
    mixed, until, off = (words.when(at, zone, now) for at in (pot.mixed_at, pot.brush_until, pot.goes_off_at))
    return f"Mixed {mixed}: brush it by {until}, it goes off {off}."


def _blocks(
    outlook: Outlook, blocks: Sequence[Block], brushing_to: datetime, paint: Paint, units: Units
) -> Iterator[str]:
    zone = ZoneInfo(outlook.timezone)
    reason, end = blocks[0].reason, blocks[-1].end
    start = max(blocks[0].start, brushing_to)
    if reason.limit in OFF:
        lines = _row(start, end, zone, "-".ljust(6), OFF_TEXT)
        yield from (paint(line, "aside") for line in lines)
        return
    word = paint("?", "unknown") + " " * 5 if reason.limit is Limit.KNOWN else "wait  "
    yield from _row(start, end, zone, word, block_text(outlook, blocks[0], units, on=start))


def marks(used: Collection[str], paint: Paint) -> Iterator[str]:
    """Yield what the marks of the strips stand for."""
    text = "  ".join(entry.replace(" ", _NO_BREAK) for entry in legend(used))
    yield from (paint(line.replace(_NO_BREAK, " "), "aside") for line in _wrapped(text, ""))
    yield ""


def sources(outlooks: "Sequence[Outlook | Plan]", paint: Paint) -> Iterator[str]:
    """Yield whose weather it is, how old, how far it reaches, the credit it asks for, and the standing caution."""
    said: dict[str, None] = {}
    for outlook in outlooks:
        said |= dict.fromkeys(_source(outlook))
    for line in (*said, CAUTION):
        yield from (paint(part, "aside") for part in _wrapped(line, ""))


def _source(outlook: "Outlook | Plan") -> Iterator[str]:
    weather, zone, now = outlook.weather, ZoneInfo(outlook.timezone), outlook.made_at
    if weather is None:
        yield "Weather: none."
        return
    age = words.duration(timedelta(hours=max(0.0, weather.age_h)))
    reaches = f", reaching to {words.when(weather.reaches, zone, now)}" if weather.reaches is not None else ""
    yield f"Weather: {weather.source}, {age} old{reaches}."
    if weather.attribution:
        yield weather.attribution
    yield from (f"Note: {text}." for text in weather.notes)


def heading(left: str, right: str, paint: Paint) -> Iterator[str]:
    """Yield a line with text at both its ends, and a rule under it."""
    room = WIDTH - len(right)
    yield paint(textwrap.shorten(left, room - 1, placeholder="…").ljust(room), "title") + right
    yield paint("─" * WIDTH, "aside")


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False)
