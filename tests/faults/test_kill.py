"""SIGKILL at random moments: each alert that is due arrives, none more than twice, and the state stays whole."""

import random
import re
import socket
import sqlite3
import threading
import time
from collections import Counter
from contextlib import closing
from datetime import UTC, datetime, timedelta
from signal import SIGTERM

import pytest

from alerts.receiver import Receiver
from dryspell import config
from dryspell.cli import main
from dryspell.clock import FixedClock
from dryspell.service import Service
from dryspell.store.store import FILE_NAME
from faults.daemon import Daemon, write_config, write_weather
from yard import Taken

KILLS = 20
START = datetime(2026, 6, 2, 10, tzinfo=UTC)
ISSUED = START - timedelta(hours=4)
TURN = START + timedelta(hours=33)  # 21:00 in Berlin on the second day: the third day will be damp after all
DAMP_FROM = datetime(2026, 6, 3, 22, tzinfo=UTC)
END = START + timedelta(hours=46)


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


def turn(folder):
    write_weather(folder, TURN - timedelta(hours=1), damp_from=DAMP_FROM)


def same_thing(key):
    """Return a notice's key without the minute at which a window was first seen open: that hangs on the tick."""
    return re.sub(r"T\d\d:\d\dZ", "", key)


def due(folder):
    """Return what an undisturbed daemon says, ticking every quarter of an hour, by key."""
    folder.mkdir()
    write_weather(folder, ISSUED)
    clock, said, turned = FixedClock(START), [], False
    with Service(config.load(write_config(folder, "json://localhost/")), clock, sender=Taken()) as service:
        while clock.at < END:
            if clock.at >= TURN and not turned:
                turn(folder)
                turned = True
            said += [same_thing(message.key) for message in service.tick().messages]
            clock.at += timedelta(minutes=15)
    assert len(set(said)) == len(said)
    return set(said)


def calibrate(folder, receiver):
    """Return how long a daemon here takes from its start to its first alert [s]."""
    folder.mkdir()
    write_weather(folder, ISSUED)
    daemon = Daemon(write_config(folder, receiver.url), now=START)
    try:
        daemon.wait_until_up()
        up = time.monotonic()
        while not receiver.got:
            assert time.monotonic() - up < 60, "\n".join(daemon.log)
            time.sleep(0.01)
        return time.monotonic() - up
    finally:
        daemon.kill()
        receiver.got.clear()


def delays(rng, first_alert_s):
    """Yield how long each daemon lives [s]; None is a death before its clock begins.

    Of three in a row one lives long enough to send, however long that takes on this machine.
    """
    short = 0
    for n in range(KILLS):
        if n % 5 == 4:
            yield None
            continue
        delay = rng.uniform(0.05, 2.2) * first_alert_s
        if short == 2 and delay < 2 * first_alert_s:
            delay = 2.2 * first_alert_s
        short = short + 1 if delay < 1.2 * first_alert_s else 0
        yield delay


def test_twenty_kills_lose_no_alert_repeat_none_twice_and_leave_the_state_whole(tmp_path, receiver):
    expected = due(tmp_path / "undisturbed")
    # Heads-up, coat now and wait over two days, for two pieces.
    assert len(expected) == 10

    # Not so fast that a tick passes over hours.
    first_alert_s = max(calibrate(tmp_path / "calibrate", receiver), 0.8)
    folder = tmp_path / "killed"
    folder.mkdir()
    write_weather(folder, ISSUED)
    file = write_config(folder, receiver.url)
    # An open window of fourteen hours lasts for nine times what it takes to send a first alert.
    speed = 14 * 3600 / (9 * first_alert_s)
    rng, now, turned = random.Random(20), START, False

    def live(daemon, until):
        nonlocal turned
        while not until(daemon):
            if not turned and daemon.now >= TURN:
                turn(folder)
                turned = True
            time.sleep(0.02)

    for delay in delays(rng, first_alert_s):
        daemon = Daemon(file, now=now, speed=speed)
        if delay is None:
            time.sleep(rng.uniform(0.0, 0.5))
        else:
            daemon.wait_until_up()
            dies_at = time.monotonic() + delay
            live(daemon, lambda _: time.monotonic() >= dies_at)  # noqa: B023  (called before the next turn)
        now = daemon.kill()
    last = Daemon(file, now=now, speed=speed)
    last.wait_for("ready")
    live(last, lambda daemon: daemon.now >= END)
    code, took = last.leave(SIGTERM)
    assert (code, took < 3) == (0, True), (took, last.log)

    with closing(sqlite3.connect(folder / "state" / FILE_NAME)) as state:
        assert state.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        keys = dict(state.execute("SELECT id, dedup_key FROM notices").fetchall())
    arrived = Counter(body.rpartition("[")[2].rstrip("]") for _, body in receiver.got)
    assert {same_thing(keys[notice]) for notice in arrived} == expected
    assert max(arrived.values()) <= 2
    assert len(arrived) == len(expected)


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
        weather = f'base_url = "http://127.0.0.1:{port}"'
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
