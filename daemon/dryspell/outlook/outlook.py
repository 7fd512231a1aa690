"""The outlook of one piece: from its weather and what was recorded to a verdict and every window ahead."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.outlook.agreement import ALL, Agreement
from dryspell.outlook.cloud import every_way
from dryspell.outlook.conditions import Conditions, conditions_at, needed_variables
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.judge import Asked
from dryspell.outlook.model import Block, Coat, FilmState, Limit, Outlook, Provenance, Reason, Window
from dryspell.outlook.slowing import next_slowing, quick_until, slowing_of_coat
from dryspell.outlook.windows import blocks_of, judge_all, nearest_limit, stages_of, why_not, windows_of
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.weather.table import TimeArray, WeatherTable

SHADE_BEFORE = timedelta(minutes=15)
"""A shade should hang this long before the sun would be too much."""
CLOCKS_APART_H = 1.0
"""A forecast made further ahead of the present than this shows a wrong clock, and is not trusted either."""
_OFF_DUTY = (Limit.HOURS, Limit.DAYLIGHT)


def make_outlook(
    piece: Piece,
    site: Site,
    coating: Coating,
    coats: Sequence[Coat],
    table: WeatherTable | None,
    now: datetime,
    *,
    stale_after_h: float,
) -> Outlook:
    """Work out the verdict on the next coat of a piece, its windows, and what blocks the rest.

    Parameters
    ----------
    coats
        The coats recorded for this piece, in any order.
    table
        The weather at the site, from before the last coat if it is known so far back; None when there is none.
    now
        The present instant, aware.
    stale_after_h
        A forecast older than this is not trusted: the verdict is then unknown.

    Raises
    ------
    ValueError
        For a `now` without an offset.
    """
    if now.tzinfo is None:
        raise ValueError("now needs its offset from UTC")
    now = now.astimezone(UTC)
    below, last = _last_two(coats)
    next_coat = max(piece.done, last.number if last else 0) + 1
    built_up = next_coat > piece.coats
    blank = Outlook(
        piece=piece.key,
        piece_name=piece.name,
        site=site.key,
        timezone=site.zone.key,
        made_at=now,
        word="wait" if built_up else "unknown",
        reason=Reason(limit=Limit.BUILT_UP if built_up else Limit.KNOWN),
        next_coat=next_coat,
        coats=max(piece.coats, next_coat - 1),
        coating=coating.key,
    )
    if table is None:
        return blank
    # A single forecast, or the few ways it may turn out where it leaves something open, has to do in all of them.
    agreement = ALL if table.members == 1 else Agreement.by_odds(piece.odds_pct / 100.0)
    table = every_way(table, site)
    age_h = (now - table.issued_at).total_seconds() / 3600.0
    weather = Provenance(
        source=table.source,
        attribution=table.attribution,
        issued_at=table.issued_at,
        age_h=round(age_h, 2),
        reaches=None,
        members=table.members if agreement.is_odds else 1,
        filled=table.filled,
        notes=table.notes,
    )
    missing = tuple(table.unknown_of(needed_variables(piece, table)))
    if missing:
        return blank.model_copy(update={"weather": weather, "missing": missing})

    bare = conditions_at(piece, site, table)
    # The shade hangs over the wet film, not over the dew of the morning before it.
    hung = replace(conditions_at(piece, site, table, shaded=True), water_mm=bare.water_mm) if piece.shade else bare
    weather = weather.model_copy(update={"reaches": _reach(hung)})
    first = int(np.searchsorted(hung.times, _stamp(now), side="left"))
    if first >= hung.times.size:
        return blank.model_copy(update={"weather": weather})
    film, ready_at, soon = _film(last, below, bare, coating, piece, now)
    blank = blank.model_copy(update={"weather": weather, "film": film})
    if built_up:
        return blank
    if not -CLOCKS_APART_H <= age_h <= stale_after_h:
        reason = Reason(limit=Limit.KNOWN, value=round(age_h, 1), bound=stale_after_h, unit="h")
        return blank.model_copy(update={"reason": reason})

    asked = Asked(
        brush_steps=max(1, -(-round(piece.brushing_h * 3600) // hung.step_s)),
        settle_steps=round(piece.dry_after_dew_h * 3600 / hung.step_s),
        ready_at=ready_at,
    )
    clock = DryingClock(hung, coating, next_slowing(coating, piece, next_coat, soon))
    judged = judge_all(hung, clock, coating, np.arange(first, hung.times.size), asked, agreement=agreement)
    windows = windows_of(judged)
    if piece.shade:
        windows = tuple(_with_shade(window, bare, coating) for window in windows)
    word = judged.word(0)
    blocks = blocks_of(judged)
    return blank.model_copy(
        update={
            "word": word,
            "reason": nearest_limit(judged, 0)
            if word in ("coat", "tight")
            else _telling(why_not(judged, 0), blocks, windows),
            "sand_first": _sand_first(film, windows, now),
            "windows": windows,
            "blocks": blocks,
        }
    )


def _telling(reason: Reason, blocks: Sequence[Block], windows: Sequence[Window]) -> Reason:
    """Return why to wait: at night not that it is night, but what blocks most of the day that follows."""
    if reason.limit not in _OFF_DUTY:
        return reason
    day = blocks[0].start + timedelta(hours=24)
    until = min([day, *(window.start for window in windows[:1])])
    ahead = [block for block in blocks if block.start < until and block.reason.limit not in _OFF_DUTY]
    return max(ahead, key=lambda block: block.end - block.start).reason if ahead else reason


def _last_two(coats: Sequence[Coat]) -> tuple[Coat | None, Coat | None]:
    """Return the coat before the last one and the last one, each None where there is none."""
    ordered = [None, None, *sorted(coats, key=lambda coat: coat.number)]
    return ordered[-2], ordered[-1]


def _film(
    last: Coat | None, below: Coat | None, c: Conditions, coating: Coating, piece: Piece, now: datetime
) -> tuple[FilmState | None, TimeArray, TimeArray | None]:
    """Return the state of the coat that is on, and by member when it is ready and until when the next is a quick one.

    What the weather is not known for adds no drying, and is counted: the coat may be further on, never less far.
    """
    members = c.air_c.shape[0]
    if last is None:
        return None, np.full(members, c.times[0]), None
    laid = np.clip(_stamp(last.finished_at), c.times[0], c.times[-1])
    present = np.clip(_stamp(now), laid, c.times[-1])
    slowing = slowing_of_coat(coating, piece, last, _quick_on(below, c, coating, piece))
    clock = DryingClock(c, coating, slowing)
    reached = clock.of_films(np.array([laid]))
    before = (laid - _stamp(last.finished_at)) / np.timedelta64(1, "h")
    since = (c.times > laid) & (c.times <= present)
    unknown = np.count_nonzero(~c.known.all(axis=0) & since) * c.step_s / 3600.0
    progress = clock.progress(laid, present)
    film = FilmState(
        coat=last,
        stages=stages_of(reached, 0),
        sandable_fraction=round(min(progress, 1.0), 4),
        progress=round(progress, 4),
        factors=slowing.named(laid),
        unaccounted_h=round(max(float(before), 0.0) + unknown, 2),
    )
    ready_at = reached.sandable[:, 0]
    if last.sandable_at is not None:  # the thumb has the last word
        ready_at = np.full(members, _stamp(last.sandable_at))
        film = _seen(film, last.sandable_at)
    return film, ready_at, quick_until(_stamp(last.finished_at), ready_at)


def _seen(film: FilmState, at: datetime) -> FilmState:
    """Return the state of a film that was seen to be sandable, whatever its sum is."""
    recoat = min(film.stages.recoat or at, at)
    stages = film.stages.model_copy(update={"sandable": at, "recoat": recoat})
    return film.model_copy(update={"stages": stages, "sandable_fraction": 1.0})


def _quick_on(below: Coat | None, c: Conditions, coating: Coating, piece: Piece) -> TimeArray | None:
    """Return until when a coat on that one follows at the least time; None where the weather since it is not known."""
    if below is None or not c.times[0] <= (laid := _stamp(below.finished_at)) <= c.times[-1]:
        return None
    if below.sandable_at is not None:
        return quick_until(laid, np.full(c.air_c.shape[0], _stamp(below.sandable_at)))
    clock = DryingClock(c, coating, slowing_of_coat(coating, piece, below, None))
    return quick_until(laid, clock.of_films(np.array([laid])).sandable[:, 0])


def _with_shade(window: Window, bare: Conditions, coating: Coating) -> Window:
    """Say when the shade must hang: before the sun would heat a film that is not yet touch-dry."""
    if window.stages.touch_dry is None:
        return window
    first, last = (int(np.searchsorted(bare.times, _stamp(at))) for at in (window.best_start, window.stages.touch_dry))
    wet_film = slice(first, last + 1)
    excess = (bare.surface_c - bare.air_c)[:, wet_film] > coating.sun_excess_k
    too_much = np.flatnonzero((excess | (bare.surface_c[:, wet_film] > coating.surface_c[1])).any(axis=0))
    if not too_much.size:
        return window
    at = datetime.fromtimestamp(int(bare.times[first + too_much[0]].astype(np.int64)), tz=UTC)
    return window.model_copy(update={"hang_shade_by": max(at - SHADE_BEFORE, window.best_start)})


def _sand_first(film: FilmState | None, windows: tuple[Window, ...], now: datetime) -> bool:
    """Say whether the overcoat window is past by now, or will be by the next window."""
    if film is None or film.stages.sand_first_after is None:
        return False
    by = next((window.best_start for window in windows), now)
    return max(now, by) > film.stages.sand_first_after


def _reach(c: Conditions) -> datetime | None:
    """Return the last instant up to which everything needed is known, from the first known one on."""
    known = c.known.all(axis=0)
    if not known.any():
        return None
    return datetime.fromtimestamp(int(c.times[np.flatnonzero(known)[-1]].astype(np.int64)), tz=UTC)


def _stamp(instant: datetime) -> np.datetime64:
    return np.datetime64(int(instant.timestamp()), "s")
