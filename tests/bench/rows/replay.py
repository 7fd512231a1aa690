"""Past weather through the same tick: a day and a year of it, with forecasts that come true.

How right it was over a season is bench_replay's.
"""

import functools
import tempfile
import time
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from bench.reference import work
from bench.row import Row, cpu, wall
from dryspell.config import load
from dryspell.replay.issues import Perfect
from dryspell.replay.replay import AHEAD, replay
from dryspell.weather.sources.table_file import TableFile
from season import write

BEGIN = datetime(2013, 6, 1, 4, tzinfo=UTC)
DAY = timedelta(days=1)
YEAR_BEGINS, YEAR = datetime(2013, 1, 2, 4, tzinfo=UTC), timedelta(days=362)
"""All that was measured, but for the edges: a day behind, for the films that dry by then, and one ahead."""


def replaying(begin, lasts):
    """Return a call that replays a part of the weather measured at JFK airport in 2013 (`season`)."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, "JFK")
        config = load(folder / "dryspell.toml", secrets=False)
        truth = TableFile(folder / "jfk.csv").fetch(begin)
    forecasts = {"airport": Perfect(truth, AHEAD)}
    return lambda: replay(config, truth, forecasts, begin, begin + lasts, every=timedelta(hours=1))


@contextmanager
def against_work():
    """Processor time, against work over arrays and in Python."""
    arrays, small = work.arrays(200), work.small(100_000)
    yield cpu(replaying(BEGIN, DAY)), cpu(lambda: (arrays(), small()))


@contextmanager
def against_the_clock():
    """The time it takes, against the day that the weather took. [s]"""
    yield wall(replaying(BEGIN, DAY)), DAY.total_seconds


@functools.cache
def year_s():
    """Return the time that a year takes. [s] It is taken once: minutes even so."""
    year, begun = replaying(YEAR_BEGINS, YEAR), time.perf_counter()
    year()
    return time.perf_counter() - begun


@contextmanager
def year_against_the_clock():
    """The same of a year."""
    yield year_s, YEAR.total_seconds


ROWS = (
    Row("replay", "a day of measured weather replayed, a tick an hour", "the day itself",
        against_the_clock, "more", bar=5000.0),
    Row("replay_year", "a year of measured weather replayed, a tick an hour", "the year itself",
        year_against_the_clock, "more", bar=5000.0),
    Row("replay_work", "a day of measured weather replayed, a tick an hour", "numpy's work and Python's",
        against_work, "less", guard=True),
)  # fmt: skip
