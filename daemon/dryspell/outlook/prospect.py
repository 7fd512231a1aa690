"""One piece before it is planned: what is on it, what is to come, and every start that may be chosen."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta

import numpy as np

from dryspell.outlook.agreement import Agreement
from dryspell.outlook.below import film_on, last_two, on_top, stamp
from dryspell.outlook.candidates import Candidates
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.last_coat import last_coat_cost_h
from dryspell.outlook.model import Coat, FilmState, Limit, Reason
from dryspell.outlook.plan_model import Plan
from dryspell.outlook.rows import row_on
from dryspell.outlook.sequence import CoatStarts
from dryspell.outlook.sight import sight_of
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay
from dryspell.weather.table import WeatherTable

SAME = timedelta(hours=1)
"""A start no further than this from the one that was planned is the one that was planned."""
MOVING_COSTS_H = 6.0
"""What it costs to move a coat that was planned: a build-up is not thrown over for less than this. No source."""


@dataclass(frozen=True)
class Prospect:
    """One piece, and the starts of its coats to come. Instants are indices of the grid of its conditions.

    Attributes
    ----------
    blank
        Its plan with nothing planned yet.
    lays
        The coats to come.
    starts
        What every start of each of them comes to, as the piece by itself has it.
    below
        What is on it, as a coat with the one start it had.
    film
        The state of the coat that is on; None for none.
    promised
        When each coat was planned to begin before, by its number.
    first
        The first index that lies ahead.
    """

    piece: Piece
    site: Site
    blank: Plan
    lays: Sequence[Lay]
    conditions: Conditions
    candidates: Candidates
    agreement: Agreement
    starts: Sequence[CoatStarts]
    below: CoatStarts
    film: FilmState | None
    promised: Mapping[int, datetime]
    first: int

    @property
    def odds(self) -> float:
        """The share of members that has to pass."""
        return self.agreement.good


def prospect_of(
    piece: Piece,
    site: Site,
    lays: Sequence[Lay],
    coats: Sequence[Coat],
    table: WeatherTable | None,
    now: datetime,
    *,
    stale_after_h: float,
    promised: Mapping[int, datetime] | None = None,
    agreement: Agreement | None = None,
) -> Prospect | Plan:
    """Return a piece with the starts it may be planned with, or its plan where there is nothing to plan with.

    Parameters and errors are those of `dryspell.outlook.plan.make_plan`.

    Parameters
    ----------
    agreement
        How many members have to agree; left out, as the odds of the piece ask.
    """
    if now.tzinfo is None:
        raise ValueError("now needs its offset from UTC")
    now = now.astimezone(UTC)
    promised = promised or {}
    _, last = last_two(coats)
    on = max(piece.done, last.number if last else 0)
    blank = Plan(
        piece=piece.key,
        piece_name=piece.name,
        site=site.key,
        timezone=site.zone.key,
        made_at=now,
        coats=max(len(lays), on),
        left=max(len(lays) - on, 0),
        planned=(),
        odds_pct=None,
        built_up_at=None,
        in_service_at=None,
        reason=Reason(limit=Limit.BUILT_UP if on >= len(lays) else Limit.KNOWN),
    )
    if table is None:
        return blank
    sight = sight_of(piece, site, table, now, stale_after_h=stale_after_h, agreement=agreement)
    agreement = sight.agreement
    blank = blank.model_copy(update={"weather": sight.weather, "missing": sight.missing})
    if on >= len(lays) or sight.met is None:
        return blank
    if sight.stale:
        return blank.model_copy(update={"reason": sight.stale})
    (bare, hung), first = sight.met, sight.first
    film, on_film = film_on(*on_top(coats), bare, lays, piece, now)
    to_come = lays[on:]
    next_at = promised.get(to_come[0].number)
    is_begun = next_at is not None and next_at - timedelta(hours=piece.preparing_h) <= now <= next_at + SAME
    candidates = Candidates(piece, hung, agreement, first, prepared=is_begun)
    starts = [
        _with_promise(of_lay, hung, promised.get(lay.number))
        for of_lay, lay in zip(candidates.of(to_come), to_come, strict=True)
    ]
    best_day_h = last_coat_cost_h(hung, starts[-1].at, candidates.brush_steps, site.zone, first)
    starts[-1] = replace(starts[-1], cost_h=starts[-1].cost_h + best_day_h)
    return Prospect(
        piece=piece,
        site=site,
        blank=blank.model_copy(update={"odds_pct": round(agreement.good * 100.0, 1) if agreement.is_odds else None}),
        lays=to_come,
        conditions=hung,
        candidates=candidates,
        agreement=agreement,
        starts=starts,
        below=replace(candidates.at_once(on_film), row=max(row_on(lays, coats), 1)),
        film=film,
        promised=promised,
        first=first,
    )


def _with_promise(starts: CoatStarts, c: Conditions, promised: datetime | None) -> CoatStarts:
    """Return the starts with the cost of moving the coat from where it was planned, the full one from an hour on."""
    if promised is None:
        return starts
    away = np.abs(c.times[starts.at] - stamp(promised)) / np.timedelta64(int(SAME.total_seconds()), "s")
    return replace(starts, cost_h=starts.cost_h + MOVING_COSTS_H * np.minimum(away, 1.0))
