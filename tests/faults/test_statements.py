"""SIGKILL at each statement of decide, enqueue, send and mark: a real process, a real SQLite file, a real receiver.

The process that comes after must send all that an undisturbed one does: at least once, at most twice, and twice only
where the kill lay between sending and writing down that it was sent.
"""

import shutil
import sqlite3
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest

from alerts.receiver import Receiver
from dryspell.store.store import FILE_NAME
from faults.daemon import write_config, write_weather
from faults.mortal import Mortals

START = datetime(2026, 6, 2, 10, tzinfo=UTC)
ISSUED = START - timedelta(hours=4)
DAMP = START + timedelta(hours=1)


@pytest.fixture(scope="module")
def mortals():
    mortals = Mortals()
    yield mortals
    mortals.close()


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


class Yard:
    """A configuration and its state, which can be put back to where it was."""

    def __init__(self, folder, receiver, mortals):
        self.folder, self.receiver, self.mortals = folder, receiver, mortals
        self.file = write_config(
            folder, receiver.url, more=f'[alert.relay]\nurl = "{receiver.url}"\npictures = false\n'
        )
        write_weather(folder, ISSUED, days=3)

    def keep(self):
        shutil.copytree(self.folder / "state", self.folder / "kept")

    def put_back(self):
        shutil.rmtree(self.folder / "state", ignore_errors=True)
        if (self.folder / "kept").exists():
            shutil.copytree(self.folder / "kept", self.folder / "state")
        self.receiver.got.clear()

    def tick(self, now, kill_at=None):
        return self.mortals.tick(self.file, now, kill_at)

    def arrived(self):
        return Counter(self.receiver.got)

    def waiting(self):
        with closing(sqlite3.connect(self.folder / "state" / FILE_NAME)) as state:
            assert state.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            return state.execute(
                "SELECT count(*) FROM outbox WHERE delivered_at IS NULL AND dropped_at IS NULL"
            ).fetchone()[0]


@pytest.fixture
def yard(tmp_path, receiver, mortals):
    return Yard(tmp_path, receiver, mortals)


def at_each_point(yard, now, messages):
    """Kill a tick at each of its points, let the next process go on, and hold what arrives against a whole run."""
    yard.put_back()
    points, killed = yard.tick(now)
    whole = yard.arrived()
    assert not killed
    assert sum(whole.values()) == messages
    # What is to be seen dying: decide's reading, the enqueueing, the sending and the marking.
    assert sum(point.startswith("send ") for point in points) == messages
    for part in ("SELECT piece, memory", "INSERT INTO notices", "INSERT INTO outbox", "UPDATE outbox SET delivered_at"):
        assert any(point.startswith(part) for point in points), part
    for n in range(len(points)):
        yard.put_back()
        passed, killed = yard.tick(now, n)
        assert (killed, passed) == (True, points[:n])
        before = yard.arrived()
        assert not yard.tick(now)[1]
        arrived = yard.arrived()
        assert arrived.keys() == whole.keys(), points[n]
        # Sent, and not committed that it was.
        last = next((point for point in reversed(passed) if point.startswith(("send ", "COMMIT"))), "")
        unmarked = last.startswith("send ")
        assert arrived.total() == whole.total() + unmarked, points[n]
        assert not before - arrived
        assert yard.waiting() == 0
    return points


def test_a_kill_at_any_statement_of_a_first_word_loses_nothing_and_repeats_it_once_at_the_most(yard):
    at_each_point(yard, START, messages=2)  # "coat now" of two pieces in one, to two targets


def test_a_kill_at_any_statement_of_taking_it_back_loses_nothing_and_repeats_it_once_at_the_most(yard):
    yard.tick(START)
    write_weather(yard.folder, DAMP, damp_from=DAMP, days=3)
    yard.keep()
    points = at_each_point(yard, DAMP + timedelta(minutes=5), messages=2)  # "wait"
    assert any(point.startswith("UPDATE outbox SET dropped_at") for point in points)
