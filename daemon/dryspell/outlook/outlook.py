"""The outlook of one piece: from its weather and what was recorded to a verdict and every window ahead."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.outlook.answer import Answer, sand_first
from dryspell.outlook.below import OnFilm, film_on, last_two, on_top, stamp
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.foretold import foretold_of
from dryspell.outlook.full_coats import coats_on
from dryspell.outlook.judge import Asked
from dryspell.outlook.latest import Verdict
from dryspell.outlook.model import Block, Coat, FilmState, Limit, Outlook, Reason, Window
from dryspell.outlook.risk import film_risks
from dryspell.outlook.rows import kept_in_rows
from dryspell.outlook.sight import Sight, met_by, sight_of
from dryspell.outlook.slowing import next_slowing
from dryspell.outlook.uncovered import told_of_cover
from dryspell.outlook.windows import blocks_of, judge_all, nearest_limit, why_not, windows_of
from dryspell.outlook.wood import bare_wood
from dryspell.trade.before import Before
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay, first_film, lay_at
from dryspell.trade.wood import is_bare_wood
from dryspell.weather.checks import as_datetime
from dryspell.weather.table import WeatherTable

SHADE_BEFORE = timedelta(minutes=15)
"""A shade should hang this long before the sun would be too much."""
_OFF_DUTY = (Limit.HOURS, Limit.COVER, Limit.DAYLIGHT)


def make_outlook(
    piece: Piece,
    site: Site,
    lays: Sequence[Lay],
    coats: Sequence[Coat],
    table: WeatherTable | None,
    now: datetime,
    *,
    stale_after_h: float,
    sight: Sight | None = None,
) -> Outlook:
    """Work out the verdict on the next coat of a piece, its windows, and what blocks the rest.

    Parameters
    ----------
    lays
        The build-up, coat by coat.
    coats
        The coats recorded for this piece, in any order.
    table
        The weather at the site, from before the last coat if it is known so far back; None when there is none.
    now
        The present instant, aware.
    stale_after_h
        A forecast older than this is not trusted: the verdict is then unknown.
    sight
        What `sight_of` gave for this piece, or another in the same exposure, at this site, table and `now`; left out,
        it is worked out.

    Raises
    ------
    ValueError
        For a `now` without an offset.
    """
    return make_answer(piece, site, lays, coats, table, now, stale_after_h=stale_after_h, sight=sight).outlook


def make_answer(
    piece: Piece,
    site: Site,
    lays: Sequence[Lay],
    coats: Sequence[Coat],
    table: WeatherTable | None,
    now: datetime,
    *,
    stale_after_h: float,
    sight: Sight | None = None,
) -> Answer:
    """Work out the outlook of a piece, and how long it holds; parameters and errors are those of `make_outlook`."""
    if now.tzinfo is None:
        raise ValueError("now needs its offset from UTC")
    now = now.astimezone(UTC)
    _, last = last_two(coats)
    next_coat = max(piece.done, last.number if last else 0) + 1
    built_up = next_coat > len(lays)
    lays = kept_in_rows(lays, coats, next_coat - 1)
    lay = lay_at(lays, next_coat)
    coating = lay.coating
    blank = Outlook(
        piece=piece.key,
        piece_name=piece.name,
        site=site.key,
        timezone=site.zone.key,
        made_at=now,
        word="wait" if built_up else "unknown",
        reason=Reason(limit=Limit.BUILT_UP if built_up else Limit.KNOWN),
        next_coat=next_coat,
        coats=max(len(lays), next_coat - 1),
        coating=coating.key,
        before=() if built_up else lay.before,
        stain=coating.stain,
    )
    if table is None:
        return Answer(blank)
    sight = sight or sight_of(piece, site, table, now, stale_after_h=stale_after_h)
    blank = blank.model_copy(update={"weather": sight.weather, "missing": sight.missing})
    if sight.met is None:
        return Answer(blank)
    (bare, hung), first = sight.met, sight.first
    film, on_film = film_on(*on_top(coats), bare, lays, piece, now)
    wood = bare_wood(piece, first_film(lays).coating, hung, first) if is_bare_wood(piece, next_coat) else None
    on = coats_on(coats, lays, next_coat - 1)
    risks = film_risks(bare, on_film.clock, film.coat, now, sight.agreement) if film and on_film.clock else ()
    found = {"film": film, "film_risk": None if sight.stale else risks, "coats_on": on, "wood": wood}
    blank = blank.model_copy(update=found)
    if sight.stale and not built_up:
        return Answer(blank.model_copy(update={"reason": sight.stale}))
    until = min(as_datetime(hung.times[first]), sight.trusted_until or now)
    if built_up:
        return Answer(blank, until, on_film.going)

    asked = Asked(
        brush_steps=max(1, -(-round(piece.brushing_h * 3600) // hung.step_s)),
        settle_steps=round(piece.dry_after_dew_h * 3600 / hung.step_s),
        ready_at=on_film.ready_at,
        soft_between=on_film.soft_between,
    )
    verdict = _verdict(piece, site, sight, sight.met, lay, asked, on_film, next_coat)
    outlook = blank.model_copy(
        update={
            "word": verdict.word,
            "reason": verdict.reason,
            "sand_first": sand_first(film, verdict.windows, now),
            "before": _before(lay, film, verdict.windows),
            "windows": verdict.windows,
            "blocks": verdict.blocks,
            "foretold": verdict.foretold,
        }
    )
    return Answer(outlook, until, on_film.going)


def _verdict(
    piece: Piece,
    site: Site,
    sight: Sight,
    met: tuple[Conditions, Conditions],
    lay: Lay,
    asked: Asked,
    on_film: OnFilm,
    next_coat: int,
) -> Verdict:
    """Return what is found of the starts of a coat; what was worked out for the piece before serves where it does."""
    bare, hung = met
    slowing = next_slowing(lay, piece, on_film.quick_until)
    # What is on a piece and when it is ready for the next coat is seldom the same, and not compared.
    steps = (asked.brush_steps, asked.settle_steps) if on_film.clock is None else None
    if found := sight.latest.verdict(lay.coating, slowing, steps):
        return replace(found, foretold=tuple(each.model_copy(update={"coat": next_coat}) for each in found.foretold))
    clock = sight.latest.clock(hung, lay.coating, slowing)
    judged = judge_all(
        hung, clock, lay.coating, np.arange(sight.first, hung.times.size), asked, agreement=sight.agreement
    )
    windows = windows_of(judged)
    if piece.shade:
        windows = tuple(_with_shade(window, bare, lay.coating) for window in windows)
    if piece.cover and windows:
        _, uncovered = met_by(piece.model_copy(update={"cover": ()}), site, sight.table)
        clock = DryingClock(uncovered, lay.coating, slowing)
        again = judge_all(uncovered, clock, lay.coating, judged.starts, asked, agreement=sight.agreement)
        windows = told_of_cover(windows, judged, again, piece.cover, site.zone)
    word, blocks = judged.word(0), blocks_of(judged)
    stands = word in ("coat", "tight")
    return sight.latest.keep(
        steps,
        Verdict(
            word=word,
            reason=nearest_limit(judged, 0) if stands else _telling(why_not(judged, 0), blocks, windows),
            windows=windows,
            blocks=blocks,
            foretold=foretold_of(judged, next_coat),
        ),
    )


def _telling(reason: Reason, blocks: Sequence[Block], windows: Sequence[Window]) -> Reason:
    """Return why to wait: at night not that it is night, but what blocks most of the day that follows."""
    if reason.limit not in _OFF_DUTY:
        return reason
    day = blocks[0].start + timedelta(hours=24)
    until = min([day, *(window.start for window in windows[:1])])
    ahead = [block for block in blocks if block.start < until and block.reason.limit not in _OFF_DUTY]
    return max(ahead, key=lambda block: block.end - block.start).reason if ahead else reason


def _with_shade(window: Window, bare: Conditions, coating: Coating) -> Window:
    """Say when the shade must hang: before the sun would heat a film, begun at any start, that is not yet touch-dry."""
    if window.stages.touch_dry is None:
        return window
    first, last = (int(np.searchsorted(bare.times, stamp(at))) for at in (window.start, window.stages.touch_dry))
    wet_film = slice(first, last + 1)
    excess = (bare.surface_c - bare.air_c)[:, wet_film] > coating.sun_excess_k
    too_much = np.flatnonzero((excess | (bare.surface_c[:, wet_film] > coating.surface_c[1])).any(axis=0))
    if not too_much.size:
        return window
    at = as_datetime(bare.times[first + too_much[0]])
    return window.model_copy(update={"hang_shade_by": max(at - SHADE_BEFORE, window.start)})


def _before(lay: Lay, film: FilmState | None, windows: tuple[Window, ...]) -> tuple[Before, ...]:
    """Return what is to be done before the next coat; nothing where that goes on the soft one."""
    hard_at = film.stages.sandable if film is not None else None
    begins = windows[0].best_start if windows else None
    is_soft = lay.hot and begins is not None and (hard_at is None or begins < hard_at)
    return () if is_soft else lay.before
