"""One piece in the weather that came: when somebody could begin a coat, and what became of it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cached_property

import numpy as np

from dryspell.outlook.below import stamp
from dryspell.outlook.cloud import every_way
from dryspell.outlook.conditions import Conditions
from dryspell.outlook.drying import DryingClock
from dryspell.outlook.fate import Fate, fates
from dryspell.outlook.judge import NEVER, wet
from dryspell.outlook.sight import met_by
from dryspell.outlook.slowing import Slowing, next_slowing, quick_until
from dryspell.outlook.spans import BoolArray, SpanLeast
from dryspell.replay.splice import Covered, spliced, under_cover
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay, in_rows
from dryspell.weather.checks import as_datetime
from dryspell.weather.table import TimeArray, WeatherTable


@dataclass(frozen=True)
class Laid:
    """A coat that was laid. Instants are indices of the truth's grid; NEVER is not within it.

    Attributes
    ----------
    number
        Which coat of the build-up it was to be.
    start, stroke
        The first stroke and the last.
    fate, spoiled_at
        What became of it, and when.
    met
        What would spoil it with no shade hung over it and no cover put over it, and when; until it is spoiled.
    ready
        When the next coat can be prepared for, or, spoiled, when it is hard enough to be sanded off.
    soft
        From and to which start the next coat may go on the soft film instead.
    quick_until
        Until when a coat on it follows at the least time.
    """

    number: int
    start: int
    stroke: int
    fate: Fate
    spoiled_at: int
    met: Mapping[Fate, int]
    ready: int
    soft: tuple[int, int] | None
    quick_until: TimeArray
    covers: tuple[Covered, ...] = ()


class Truth:
    """The weather that came at one piece, on the grid.

    Parameters
    ----------
    lays
        The build-up from bare wood.
    table
        The weather, from some days before `begin` to some days after `end`.
    begin, end
        Coats are begun from the one to before the other.
    """

    def __init__(
        self, piece: Piece, site: Site, lays: Sequence[Lay], table: WeatherTable, begin: datetime, end: datetime
    ) -> None:
        self.piece = piece
        self.lays = in_rows(lays)
        self.site, self._table = site, every_way(table, site)
        # As the daemon has it: a shade hangs while the film is wet, and is down when it hardens.
        self.bare, self.conditions = met_by(piece, site, self._table)
        c = self.conditions
        self.first, self.end = (int(np.searchsorted(c.times, stamp(at))) for at in (begin, end))
        self.brush_steps = max(self._steps(piece.brushing_h), 1)
        self.prepare_steps = self._steps(piece.preparing_h)
        self._working = SpanLeast(c.in_hours[None].astype(np.float64))
        self._clocks: dict[tuple[str, bool], DryingClock] = {}
        self.dry: BoolArray = (~wet(c) & (c.rain_mm == 0.0)).all(axis=0)
        """Where a look at the piece finds it dry, and no rain falling."""

    @cached_property
    def _under_cover(self) -> Conditions:
        return under_cover(self.piece, self.site, self._table)

    def within_limits(self, coating: Coating) -> BoolArray:
        """Return where air and humidity are within the can's limits, as a gauge at the piece shows."""
        c = self.conditions
        lowest, highest = coating.air_c
        within = (c.air_c >= lowest) & (c.air_c <= highest) & (c.humidity_pct <= coating.humidity_max_pct)
        return np.asarray(within.all(axis=0))

    def instant(self, index: int) -> datetime:
        """Return an instant of the grid."""
        return as_datetime(self.conditions.times[index])

    def index(self, at: datetime) -> int:
        """Return the index of the grid at or after an instant."""
        return int(np.searchsorted(self.conditions.times, stamp(at)))

    def works(self, first: int, last: int) -> bool:
        """Say whether the finisher works all through."""
        if first < 0 or last >= self.conditions.times.size:
            return False
        return bool(self._working.over(np.array([[first]]), np.array([[last]]))[0, 0] == 1.0)

    def may_begin(self, start: int, on: Laid | None) -> bool:
        """Say whether the piece can be ready for the brush at a start, on what is on it, by the finisher's hours."""
        if on is not None and on.soft is not None and on.soft[0] <= start <= on.soft[1]:
            return self.works(start, start + self.brush_steps)
        ready = self.first if on is None else on.ready
        prepares = start - self.prepare_steps
        return prepares >= ready and self.works(prepares, start + self.brush_steps)

    def lay(self, number: int, start: int, below: Laid | None, covers: tuple[Covered, ...] = ()) -> Laid:
        """Lay a coat and see what becomes of it.

        Parameters
        ----------
        below
            The coat it goes on; None for bare wood.
        covers
            When it is covered.
        """
        c, lay = self.conditions, self.lays[number - 1]
        slowing = next_slowing(lay, self.piece, None if below is None else below.quick_until)
        clock, hardens, met = self._clock(lay, slowing, wet=True), self._clock(lay, slowing, wet=False), self.bare
        bare = fates(met, hardens, np.array([start]), self.brush_steps)
        if covers:
            c, met = (spliced(each, self._under_cover, covers) for each in (c, met))
            clock, hardens = (DryingClock(each, lay.coating, slowing) for each in (c, met))
        found = fates(c, clock, np.array([start]), self.brush_steps)
        stroke = min(start + self.brush_steps, c.times.size - 1)
        laid = c.times[[stroke]]
        reached = hardens.of_films(laid)
        fate = found.of(0)
        spoiled_at = int(found.spoiled_at[fate][0]) if fate.spoiled else NEVER
        then = self.lays[number] if number < len(self.lays) else None
        ready = reached.sandable
        if then is not None and then.after:
            coating = lay.coating.model_copy(update={"sandable": then.after})
            ready = DryingClock(met, coating, slowing).of_films(laid).sandable
        soft = None
        if then is not None and then.hot and not then.changes and lay.coating.hot_open is not None:
            soft = self._after(reached.hot_open), self._before(reached.hot_close) - self.brush_steps
        return Laid(
            number=number,
            start=start,
            stroke=stroke,
            fate=fate,
            spoiled_at=spoiled_at,
            met={each: int(at[0]) for each, at in bare.spoiled_at.items() if at[0] <= spoiled_at and at[0] != NEVER},
            ready=self._after(reached.sandable if fate.spoiled else ready),
            soft=None if fate.spoiled else soft,
            quick_until=quick_until(laid[0], np.max(reached.sandable, axis=0, keepdims=True)[0]),
            covers=covers,
        )

    def _clock(self, lay: Lay, slowing: Slowing, *, wet: bool) -> DryingClock:
        key = (lay.coating.key, wet)
        if key not in self._clocks:
            self._clocks[key] = DryingClock(self.conditions if wet else self.bare, lay.coating, slowing)
        return self._clocks[key].slowed(slowing)

    def _steps(self, hours: float) -> int:
        return -(-round(hours * 3600) // self.conditions.step_s)

    def _after(self, instants: TimeArray) -> int:
        """Return the index at or after the last of the members' instants; NEVER where one has none."""
        if np.isnat(instants).any():
            return NEVER
        return int(np.searchsorted(self.conditions.times, instants.max()))

    def _before(self, instants: TimeArray) -> int:
        """Return the index at or before the first of the members' instants; -1 where one has none."""
        if np.isnat(instants).any():
            return -1
        return int(np.searchsorted(self.conditions.times, instants.min(), side="right")) - 1


class BuildUp:
    """One finisher's coats on one piece, and on a fresh one each time it is built up.

    A spoiled coat is sanded off when it is hard, and laid again. A piece that is built up is taken away when its last
    coat is hard, and a fresh one stands in its place.
    """

    def __init__(self, truth: Truth) -> None:
        self.truth = truth
        self.coats: list[Laid] = []
        self.built_up: list[int] = []
        self._below: Laid | None = None
        self._on: Laid | None = None

    @property
    def number(self) -> int:
        """The number of the next coat."""
        return 1 if self._below is None else self._below.number % len(self.truth.lays) + 1

    @property
    def ready(self) -> int:
        """When the piece can be prepared for it."""
        return self.coats[-1].ready if self.coats else self.truth.first

    def may_begin(self, start: int) -> bool:
        """Say whether a coat may be begun at an index of the grid, as far as the piece and the finisher's hours go."""
        return self.truth.may_begin(start, self.coats[-1] if self.coats else None)

    def lay(self, start: int) -> Laid:
        """Lay the next coat."""
        number = self.number
        self._on = None if number == 1 else self._below
        return self._keep(self.truth.lay(number, start, self._on))

    def cover(self, on: int) -> Laid:
        """Put a cover over the coat that was laid last; what became of it before stays so."""
        return self._again((*self.coats[-1].covers, Covered(on)))

    def uncover(self, off: int) -> Laid:
        """Take the cover off again."""
        *before, last = self.coats[-1].covers
        return self._again((*before, replace(last, off=off)))

    def _again(self, covers: tuple[Covered, ...]) -> Laid:
        """Lay the last coat as it was laid, covered otherwise."""
        before = self.coats.pop()
        if not before.fate.spoiled:
            self._below = self._on
            if before.number == len(self.truth.lays):
                self.built_up.pop()
        return self._keep(self.truth.lay(before.number, before.start, self._on, covers))

    def _keep(self, laid: Laid) -> Laid:
        self.coats.append(laid)
        if not laid.fate.spoiled:
            self._below = laid
            if laid.number == len(self.truth.lays):
                self.built_up.append(laid.stroke)
        return laid
