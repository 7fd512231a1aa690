"""Past weather through the same tick: a day of it, with forecasts that come true. A season is bench_replay's."""

import tempfile
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


def a_day():
    """Return a call that replays it: measured weather at JFK airport, 2013 (`season`)."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write(folder, "JFK")
        config = load(folder / "dryspell.toml", secrets=False)
        truth = TableFile(folder / "jfk.csv").fetch(BEGIN)
    forecasts = {"airport": Perfect(truth, AHEAD)}
    return lambda: replay(config, truth, forecasts, BEGIN, BEGIN + DAY, every=timedelta(hours=1))


@contextmanager
def against_work():
    """Processor time, against work over arrays and in Python."""
    arrays, small = work.arrays(200), work.small(100_000)
    yield cpu(a_day()), cpu(lambda: (arrays(), small()))


@contextmanager
def against_the_clock():
    """The time it takes, against the day that the weather took. [s]"""
    yield wall(a_day()), DAY.total_seconds


ROWS = (
    Row("replay", "a day of measured weather replayed, a tick an hour", "the day itself",
        against_the_clock, "more", bar=5000.0),
    Row("replay_work", "a day of measured weather replayed, a tick an hour", "numpy's work and Python's",
        against_work, "less", guard=True),
)  # fmt: skip
