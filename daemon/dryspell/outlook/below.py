"""The film that is on a piece: how far it has come, and when the next coat may follow it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock, Going
from dryspell.outlook.model import Coat, FilmState
from dryspell.outlook.slowing import quick_until, slowing_of_coat
from dryspell.outlook.windows import stages_of
from dryspell.trade.piece import Piece
from dryspell.trade.system import Lay, lay_at
from dryspell.weather.table import TimeArray


def last_two(coats: Sequence[Coat]) -> tuple[Coat | None, Coat | None]:
    """Return the coat before the last one that counts and that one, each None where there is none."""
    ordered = [None, None, *sorted((coat for coat in coats if not coat.spoilt), key=lambda coat: coat.number)]
    return ordered[-2], ordered[-1]


def on_top(coats: Sequence[Coat]) -> tuple[Coat | None, Coat | None]:
    """Return the coat that lies on top and the one under it; a spoilt one lies there until it is sanded off."""
    below, last = last_two(coats)
    top = max(coats, key=lambda coat: coat.finished_at, default=None)
    return (top, last) if top is not None and top.spoilt else (last, below)


@dataclass(frozen=True)
class OnFilm:
    """When the next coat may go on the one that is on, by member: datetime64[s] of shape (members,), NaT is never.

    Attributes
    ----------
    ready_at
        From when on, as the film is hard.
    soft_between
        From when until when on the soft film instead; None where that is not done.
    quick_until
        Until when it follows at the least time; None for no film.
    clock
        Of the film that is on; None for no film.
    going
        How that goes on until the next instant of the grid; None for no film, and at such an instant.
    """

    ready_at: TimeArray
    soft_between: tuple[TimeArray, TimeArray] | None = None
    quick_until: TimeArray | None = None
    clock: DryingClock | None = None
    going: Going | None = None


def film_on(
    last: Coat | None, below: Coat | None, c: Conditions, lays: Sequence[Lay], piece: Piece, now: datetime
) -> tuple[FilmState | None, OnFilm]:
    """Return the state of the coat that is on, and when the next may follow it.

    What the weather is not known for adds no drying, and is counted: the coat may be further on, never less far.
    """
    members = c.air_c.shape[0]
    if last is None:
        return None, OnFilm(np.full(members, c.times[0]))
    laid = np.clip(stamp(last.finished_at), c.times[0], c.times[-1])
    present = np.clip(stamp(now), laid, c.times[-1])
    lay = lay_at(lays, last.number)
    coating = lay.coating
    slowing = slowing_of_coat(coating, piece, last, lay, _quick_on(below, c, lays, piece))
    clock = DryingClock(c, coating, slowing)
    reached = clock.of_films(np.array([laid]))
    before = (laid - stamp(last.finished_at)) / np.timedelta64(1, "h")
    since = (c.times > laid) & (c.times <= present)
    unknown = np.count_nonzero(~c.known.all(axis=0) & since) * c.step_s / 3600.0
    progress = clock.progress(laid, present)
    film = FilmState(
        coat=last,
        stain=coating.stain,
        stages=stages_of(reached)[0],
        sandable_fraction=round(min(progress, 1.0), 4),
        progress=round(progress, 4),
        factors=slowing.named(laid),
        unaccounted_h=round(max(float(before), 0.0) + unknown, 2),
    )
    sandable = reached.sandable[:, 0]
    if last.sandable_at is not None:  # the thumb has the last word
        sandable = np.full(members, stamp(last.sandable_at))
        film = _seen(film, last.sandable_at)
    then = lay_at(lays, last.number if last.spoilt else last.number + 1)
    waits = DryingClock(c, coating.model_copy(update={"sandable": then.after}), slowing) if then.after else None
    is_soft = then.hot and not then.changes and coating.hot_open is not None and not last.spoilt
    return film, OnFilm(
        ready_at=sandable if waits is None else waits.of_films(np.array([laid])).sandable[:, 0],
        soft_between=(reached.hot_open[:, 0], reached.hot_close[:, 0]) if is_soft else None,
        quick_until=quick_until(stamp(last.finished_at), sandable),
        clock=clock,
        going=_going(clock, laid, present, stamp(now)),
    )


def _going(clock: DryingClock, laid: np.datetime64, present: np.datetime64, now: np.datetime64) -> Going | None:
    """Return how a film goes on from the present; None where that is not before the next instant of the grid."""
    times = clock.times
    then = times[min(int(np.searchsorted(times, now)), times.size - 1)]
    return clock.going(laid, present, then) if present < then else None


def _seen(film: FilmState, at: datetime) -> FilmState:
    """Return the state of a film that was seen to be sandable, whatever its sum is."""
    recoat = min(film.stages.recoat or at, at)
    stages = film.stages.model_copy(update={"sandable": at, "recoat": recoat})
    return film.model_copy(update={"stages": stages, "sandable_fraction": 1.0})


def _quick_on(below: Coat | None, c: Conditions, lays: Sequence[Lay], piece: Piece) -> TimeArray | None:
    """Return until when a coat on that one follows at the least time; None where the weather since it is not known."""
    if below is None or not c.times[0] <= (laid := stamp(below.finished_at)) <= c.times[-1]:
        return None
    if below.sandable_at is not None:
        return quick_until(laid, np.full(c.air_c.shape[0], stamp(below.sandable_at)))
    lay = lay_at(lays, below.number)
    clock = DryingClock(c, lay.coating, slowing_of_coat(lay.coating, piece, below, lay, None))
    return quick_until(laid, clock.of_films(np.array([laid])).sandable[:, 0])


def stamp(instant: datetime) -> np.datetime64:
    """Return an aware instant as one of the grid's kind."""
    return np.datetime64(int(instant.timestamp()), "s")
