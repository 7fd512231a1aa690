"""Who is free when: people, their hours, and the way from one site to another, on one grid for all pieces."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

import numpy as np

from dryspell.outlook.days import on_days
from dryspell.outlook.daytime import in_hours
from dryspell.outlook.spans import BoolArray, IndexArray
from dryspell.trade.person import Person
from dryspell.trade.piece import Site
from dryspell.weather.table import TimeArray


@dataclass(frozen=True)
class Crew:
    """The people who do the work.

    Attributes
    ----------
    keys
        Of the people, in their order; one without a name where nobody is told.
    free
        When they work, on the clock of each site, shape (people, sites, times).
    way_steps
        From one site to another, in steps of the grid, shape (sites, sites).
    """

    keys: tuple[str, ...]
    free: BoolArray
    way_steps: IndexArray


def crew_of(people: Sequence[Person], sites: Sequence[Site], grid: TimeArray, step_s: int) -> Crew:
    """Return the people on a grid; of nobody told there is one, whose hours are those of each piece."""
    everybody = [_free(person, sites, grid) for person in people] or [np.ones((len(sites), grid.size), dtype=np.bool_)]
    travel_s = np.array([round(timedelta(hours=site.travel_h).total_seconds()) for site in sites])
    way_s = np.maximum(travel_s[:, None], travel_s[None])
    np.fill_diagonal(way_s, 0)
    return Crew(tuple(person.key for person in people) or ("",), np.stack(everybody), -(-way_s // step_s))


def _free(person: Person, sites: Sequence[Site], grid: TimeArray) -> BoolArray:
    rows = []
    for site in sites:
        working = np.ones(grid.size, np.bool_) if person.hours is None else in_hours(grid, person.hours, site.zone)
        rows.append(working & ~on_days(grid, person.days_off, site.zone))
    return np.stack(rows)


class Diary:
    """What everybody is at, so far.

    Parameters
    ----------
    size
        Steps of the grid.
    """

    def __init__(self, crew: Crew, size: int) -> None:
        self._crew = crew
        people, sites = crew.free.shape[:2]
        self._taken = np.zeros((people, sites, size), dtype=np.int64)

    def note(self, person: int, site: int, first: int, end: int, *, off: bool = False) -> None:
        """Note that a person is at a site from index `first` to before `end`; or, with `off`, not any more."""
        way = self._crew.way_steps
        for there in range(way.shape[0]):
            span = slice(max(first - int(way[there, site]), 0), end + int(way[site, there]))
            self._taken[person, there, span] += -1 if off else 1

    def of(self, person: int, site: int) -> "Open":
        """Return when a person could be at a site."""
        return Open(np.concatenate([[0], np.cumsum(self._taken[person, site] > 0)]))


@dataclass(frozen=True)
class Open:
    """When a person could be at a site: by instant, how many steps before it they could not."""

    taken_before: IndexArray

    def open_to(self, first: IndexArray, end: IndexArray) -> BoolArray:
        """Say of spans from `first` to before `end` whether they could be there for all of them."""
        return np.asarray(self.taken_before[end] == self.taken_before[np.maximum(first, 0)])
