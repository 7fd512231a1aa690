"""SIGKILL at random moments: each alert that is due arrives, none more than once more for each kill, and the state
stays whole."""

import os
import random
import re
import socket
import sqlite3
import threading
import time
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from signal import SIGKILL, SIGTERM

import pytest

from alerts.receiver import Receiver
from dryspell import config
from dryspell.cli import main
from dryspell.clock import FixedClock
from dryspell.service import Service
from dryspell.store.store import FILE_NAME
from faults.daemon import Daemon, write_config, write_weather
from faults.mortal import Mortals
from yard import Taken

KILLS = 20
START = datetime(2026, 6, 2, 16, tzinfo=UTC)
ISSUED = START - timedelta(hours=4)
# 11:00 in Berlin on the second day, while all may be coated: it will be damp within the hour, until the next noon.
TURN = datetime(2026, 6, 3, 9, tzinfo=UTC)
DAMP_FROM = TURN + timedelta(hours=1)
DRY_AGAIN = TURN + timedelta(hours=26)
# A minute past the grid of starts, so that a tick some seconds later sees windows open at the same instant.
INSTANTS = [START + timedelta(hours=hours, minutes=1) for hours in range(0, 47, 2)]


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


def same_thing(key):
    """Return a notice's key without the minute at which a window was first seen open: that hangs on the tick."""
    return re.sub(r"T\d\d:\d\dZ", "", key)


def weather_at(folder, now):
    """Let it be damp after all, for a day."""
    if now < TURN:
        write_weather(folder, ISSUED)
    elif now < DRY_AGAIN:
        write_weather(folder, TURN - timedelta(hours=1), damp_from=DAMP_FROM)
    else:
        write_weather(folder, DRY_AGAIN - timedelta(hours=1))


def due(folder):
    """Return what an undisturbed daemon has said up to each instant, by key."""
    folder.mkdir()
    weather_at(folder, START)
    clock, said, upto = FixedClock(START), set(), {}
    with Service(config.load(write_config(folder, "json://localhost/")), clock, sender=Taken()) as service:
        for clock.at in INSTANTS:
            weather_at(folder, clock.at)
            keys = [same_thing(message.key) for message in service.tick().messages]
            assert not said & set(keys)
            said |= set(keys)
            upto[clock.at] = set(said)
    return upto


class State:
    """What stands in the state file of a daemon, looked at from beside it."""

    def __init__(self, folder):
        self.file = folder / "state" / FILE_NAME

    def rows(self, query):
        if not self.file.exists():
            return []
        with closing(sqlite3.connect(self.file, timeout=20)) as state:
            try:
                return state.execute(query).fetchall()
            except sqlite3.OperationalError:  # it was killed before it had its tables
                return []

    def delivered(self):
        return {
            same_thing(key)
            for (key,) in self.rows(
                "SELECT dedup_key FROM notices JOIN outbox ON notice = id WHERE delivered_at IS NOT NULL"
            )
        }

    def waiting(self):
        return {
            notice
            for (notice,) in self.rows("SELECT notice FROM outbox WHERE delivered_at IS NULL AND dropped_at IS NULL")
        }


def test_twenty_kills_lose_no_alert_repeat_none_twice_and_leave_the_state_whole(tmp_path, receiver):
    """Each kill comes at a random moment of a daemon's life; then one is let live until it has sent what is due.

    Every life is at an instant of its own in the daemons' time, in which hardly any passes: however slow the machine
    is, no window goes by between two of them. Nor does it matter how long a life takes, only in what order things come.
    """
    expected = due(tmp_path / "undisturbed")
    assert len(expected[INSTANTS[-1]]) >= 5  # coat now, the last call, wait, and coat now again
    folder = tmp_path / "killed"
    folder.mkdir()
    file, state = write_config(folder, receiver.url), State(folder)
    rng, whole_s, killed, may_repeat = random.Random(20), 1.0, 0, Counter()
    # Where something is said there is more to be killed.
    news = [now for before, now in pairwise(INSTANTS) if expected[now] != expected[before]]
    deaths = Counter([INSTANTS[0], *news] * 3)
    deaths.update(rng.choices(INSTANTS, k=max(0, KILLS - deaths.total())))
    with closing(Mortals()) as mortals:
        for now in INSTANTS:
            weather_at(folder, now)
            for _ in range(deaths[now]):
                daemon = mortals.serve(file, now)
                time.sleep(rng.uniform(0.0, 1.2) * whole_s)
                os.kill(daemon, SIGKILL)
                mortals.ended()
                killed += 1
                # What waits now may have arrived, with nobody left to write that down.
                may_repeat.update(state.waiting())
            begun = time.monotonic()
            daemon = mortals.serve(file, now)
            assert mortals.answer() == {"ticked": True}
            while not expected[now] <= state.delivered():
                assert time.monotonic() - begun < 120, (now, expected[now] - state.delivered())
                time.sleep(0.02)
            whole_s = min(time.monotonic() - begun, 3.0) if deaths[now] else whole_s
            os.kill(daemon, SIGTERM)
            assert mortals.ended() == 0
    assert killed >= KILLS

    assert state.rows("PRAGMA integrity_check") == [("ok",)]
    keys = dict(state.rows("SELECT id, dedup_key FROM notices"))
    arrived = Counter(body.rpartition("[")[2].rstrip("]") for _, body in receiver.got)
    assert {same_thing(keys[notice]) for notice in arrived} == expected[INSTANTS[-1]]
    assert len(arrived) == len(expected[INSTANTS[-1]])
    for notice, times in arrived.items():
        assert times <= 1 + may_repeat[notice], keys[notice]


def test_a_daemon_whose_target_hangs_leaves_within_three_seconds(tmp_path, receiver):
    receiver.hang = threading.Event()
    write_weather(tmp_path, ISSUED)
    daemon = Daemon(write_config(tmp_path, receiver.url), now=START)
    assert receiver.reached.wait(60), "\n".join(daemon.log)
    code, took = daemon.leave(SIGTERM)
    assert code == 0
    assert took < 3, took
    assert daemon.said("leaving on SIGTERM")
    receiver.hang.set()
    receiver.hang = None
    # What was under way is sent again after the next start: whether it had arrived, nobody could know.
    again = Daemon(tmp_path / "yard.toml", now=START + timedelta(minutes=5))
    again.wait_for("delivered to phone")
    assert again.leave(SIGTERM)[0] == 0


def test_a_daemon_whose_weather_service_hangs_leaves_within_three_seconds(tmp_path, receiver):
    with socket.create_server(("127.0.0.1", 0)) as server:
        port = server.getsockname()[1]
        weather = f'open-meteo.base_url = "http://127.0.0.1:{port}"'
        file = write_config(tmp_path, receiver.url, weather)
        file.write_text('contact = "you@example.org"\n' + file.read_text())
        daemon = Daemon(file, now=START)
        server.settimeout(60)
        connection, _ = server.accept()
        code, took = daemon.leave(SIGTERM)
        connection.close()
    assert code == 0
    assert took < 3, took


def test_a_second_daemon_on_the_same_state_is_refused_and_the_first_goes_on(tmp_path, receiver):
    write_weather(tmp_path, ISSUED)
    file = write_config(tmp_path, receiver.url)
    first = Daemon(file, now=START)
    first.wait_for("delivered to phone")
    second = Daemon(file, now=START)
    assert second.process.wait(60) == 2
    second.wait_for("stop that one first")
    assert second.log[-1] == (
        f"dryspell: another dryspell (process {first.process.pid}) runs on the state folder {tmp_path}/state; "
        "stop that one first, or give this one a state folder of its own"
    )
    second.kill()
    assert first.process.poll() is None
    assert first.leave(SIGTERM)[0] == 0


def test_a_coat_may_be_recorded_beside_a_running_daemon_which_takes_it_in(tmp_path, receiver, capsys):
    write_weather(tmp_path, ISSUED)
    file = write_config(tmp_path, receiver.url)
    daemon = Daemon(file, now=START)
    daemon.wait_for("Rail: coat 1 now")
    assert main(["coat", "rail", "--config", str(file), "--now", START.isoformat()]) == 0
    assert "Estimated: touch-dry" in capsys.readouterr().out
    daemon.wait_for("Rail: wait until")
    assert daemon.leave(SIGTERM)[0] == 0


def test_what_the_daemon_logs_holds_no_address(tmp_path, receiver):
    write_weather(tmp_path, ISSUED)
    receiver.status = 500
    secret = receiver.url.replace("json://", "json://ada:hunter2@").replace("/alerts", "/token-in-here")
    daemon = Daemon(write_config(tmp_path, secret), now=START)
    daemon.wait_for("phone does not take alerts: its service answers 500")
    daemon.leave(SIGTERM)
    assert not daemon.said("hunter2")
    assert not daemon.said("token-in-here")
