"""`dryspell status` tells the truth in one screen, also of what is broken."""

import json
import os
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime, timedelta

import pytest

from dryspell.alerts.sensors import SensorHealth
from dryspell.alerts.sources import SourceHealth
from dryspell.cli import main
from dryspell.store.lock import DaemonLock, holder
from dryspell.store.notices import Message
from dryspell.store.readings import Checked
from dryspell.store.store import FILE_NAME, open_store
from dryspell.tick.heartbeat import Heartbeat, read_heartbeat, write_heartbeat
from dryspell.weather.flags import Flag
from dryspell.weather.sensors.reading import Reading
from store.olden import write_old
from yard import TEXT, weather

NOW = datetime(2026, 6, 3, 8, tzinfo=UTC)
SENSOR = (
    '[broker.house]\nhost = "127.0.0.1"\ntls = false\n'
    '[sensor.mast]\nsite = "harbour"\nmqtt = { topic = "mast" }\n'
    'read.air_temperature = { path = "t", unit = "degC" }\n'
)


class Yard:
    """A state folder as a daemon leaves it, and what is told of it."""

    def __init__(self, folder, capsys):
        self.folder = folder
        self.state = folder / "state"
        self.file = folder / "yard.toml"
        self.capsys = capsys
        self.write_config()

    def write_config(self, more=SENSOR):
        self.file.write_text(TEXT.format(state=self.state, more=more))

    def well(self):
        """Leave all as it should be."""
        with closing(open_store(self.state)) as store:
            for site in ("harbour", "orchard"):
                store.keep_forecast(site, weather(NOW - timedelta(hours=2)), NOW)
            store.keep_readings([Checked("harbour", "", read(NOW - timedelta(minutes=2)), Flag.GOOD)])
        self.beat()

    def beat(self, **how):
        of = {"process": os.getpid(), "version": "0.1.0", "started_at": NOW - timedelta(days=12), "at": NOW}
        write_heartbeat(self.state, Heartbeat(**(of | {"last_good_at": NOW, "tick_s": 60.0} | how)))

    def told(self, *options, now=NOW, code=0):
        arguments = ["status", "--config", str(self.file), "--now", now.isoformat(), *options]
        assert main(arguments) == code
        return self.capsys.readouterr().out

    def document(self, **how):
        return json.loads(self.told("--json", **how))


def read(at):
    return Reading("mast", "air_temperature", at, 14.0)


@pytest.fixture
def yard(tmp_path, capsys, monkeypatch):
    monkeypatch.delenv("DRYSPELL_STATE", raising=False)
    return Yard(tmp_path, capsys)


def message(n, at=NOW):
    targets = ("phone",)
    return Message(f"id{n}", f"key{n}", "rail", "wait", "Wait", "no", at, at + timedelta(hours=9), targets)


def test_all_is_well_and_fits_a_screen(yard):
    yard.well()
    with DaemonLock(yard.state):
        text = yard.told("--exit-code")
        assert yard.document()["well"]
    lines = text.splitlines()
    assert len(lines) <= 23
    assert [line for line in lines if len(line) > 80 and str(yard.folder) not in line] == []  # a path stays whole
    text = " ".join(text.split())
    assert f"process {os.getpid()} has run for 12 d, version 0.1.0; last tick 0 s ago" in text
    assert "harbour: invented, issued 2 h ago" in text
    assert "mast: last read 2 min ago" in text
    assert "phone: nothing waits" in text
    assert " bad " not in text


def test_a_daemon_that_does_not_run_is_bad_and_an_exit_code(yard):
    yard.well()
    assert "does not run; its last tick was 3 h ago" in yard.told("--exit-code", now=NOW + timedelta(hours=3), code=1)


def test_before_the_first_start_it_says_what_is_not_there_and_makes_nothing(yard):
    document = yard.document()
    assert document["daemon"]["running"] is False
    assert "there is no state file" in document["state"]["said"]
    assert not yard.state.exists()


def test_a_daemon_that_hangs_is_told_from_one_that_ticks(yard):
    yard.well()
    with DaemonLock(yard.state):
        late = yard.document(now=NOW + timedelta(minutes=5))["daemon"]
        assert (late["word"], "has not ended a tick since 5 min ago" in late["said"]) == ("bad", True)
        assert yard.document(now=NOW + timedelta(minutes=1))["daemon"]["word"] == "good"


def test_ticks_that_fail_are_told_with_why_and_since_when(yard):
    yard.well()
    yard.beat(failures=7, error="the disk is full", last_good_at=NOW - timedelta(minutes=7))
    with DaemonLock(yard.state):
        daemon = yard.document()["daemon"]
    assert (daemon["failed_ticks"], daemon["error"]) == (7, "the disk is full")
    assert "7 ticks failed, the last good one 7 min ago: the disk is full" in daemon["said"]


def test_the_heartbeat_of_a_daemon_before_is_not_taken_for_one_of_this(yard):
    yard.well()
    yard.beat(process=1)
    with DaemonLock(yard.state):
        assert "has not ended a tick yet" in yard.document()["daemon"]["said"]


def test_a_clock_that_was_set_back_is_worth_a_look(yard):
    yard.well()
    with DaemonLock(yard.state):
        daemon = yard.document(now=NOW - timedelta(hours=3))["daemon"]
    assert (daemon["word"], "3 h ahead" in daemon["said"]) == ("look", True)


def test_sources_and_sensors_are_told_with_their_age_and_trouble(yard):
    yard.well()
    failing = SourceHealth(
        site="harbour", source="met-norway", failing_since=NOW - timedelta(hours=4), error="it answers 503"
    )
    stuck = SensorHealth(
        sensor="mast", name="mast", site="harbour", silent_after_s=1800, silent=False, fresh=True, stuck=("t",)
    )
    yard.beat(sources=(failing,), sensors=(stuck,))
    with DaemonLock(yard.state):
        document = yard.document()
        later = yard.document(now=NOW + timedelta(hours=9))
    assert [each["word"] for each in document["sources"]] == ["look", "good"]
    assert "met-norway gives nothing: it answers 503" in document["sources"][0]["said"]
    assert (document["sensors"][0]["word"], document["sensors"][0]["age_s"]) == ("bad", 120.0)
    assert [each["word"] for each in later["sources"]] == ["bad", "bad"]
    assert "silent, last read 9 h 2 min ago" in later["sensors"][0]["said"]


def test_the_queue_is_told_by_target(yard):
    yard.well()
    with closing(open_store(yard.state)) as store:
        store.save_round({}, [], [message(1, NOW - timedelta(hours=2)), message(2)], [], NOW)
        for sending in store.due(NOW):
            store.mark_failed(sending, "its service answers 503", NOW + timedelta(minutes=4))
    document = yard.document()
    phone, relay = document["queue"]
    assert (phone["waiting"], phone["word"], relay["word"]) == (2, "bad", "good")
    assert phone["next_try_at"] == "2026-06-03T08:04:00Z"
    assert "it takes nothing since 2 h ago: its service answers 503" in phone["said"]
    assert document["next"]["at"] == "2026-06-03T08:04:00Z"


@pytest.mark.parametrize("how", ["header", "page", "letter", "gone"])
def test_a_state_that_is_broken_is_told_and_all_else_with_it(yard, how):
    yard.well()
    file = yard.state / FILE_NAME
    body = bytearray(file.read_bytes())
    if how == "header":
        body[:16] = bytes(16)
    elif how == "page":
        with closing(sqlite3.connect(file)) as connection:
            root = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'weather_met'").fetchone()[0]
        place = (root - 1) * 4096
        body[place : place + 8] = bytes(255 - byte for byte in body[place : place + 8])
    file.write_bytes(b"a letter to my client. " * 300 if how == "letter" else body)
    if how == "gone":
        file.unlink()
    with DaemonLock(yard.state):
        document = yard.document()
    assert (document["state"]["word"], document["well"]) == ("bad", False)
    assert ("damaged" in document["state"]["said"]) is (how != "gone")
    assert document["daemon"]["word"] == "good"
    assert file.exists() is (how != "gone")


def test_a_state_of_another_version_is_neither_changed_nor_misread(yard):
    write_old(yard.state / FILE_NAME, 4)
    document = yard.document()
    assert (document["state"]["version"], document["state"]["word"]) == (4, "look")
    with closing(sqlite3.connect(yard.state / FILE_NAME)) as connection:
        connection.execute("PRAGMA user_version = 99")
    document = yard.document()
    assert (document["state"]["version"], document["state"]["word"]) == (99, "bad")
    assert "written by a newer dryspell" in document["state"]["said"]


def test_a_broken_configuration_is_told_beside_a_daemon_that_goes_on(yard):
    yard.well()
    yard.write_config("[daemon]\ntick = 60\n")
    with DaemonLock(yard.state):
        document = yard.document()
    assert document["config"]["word"] == "bad"
    assert "daemon.tick = 60" in document["config"]["said"]
    assert "the daemon goes on with the last good one" in document["config"]["said"]
    # Where the state is was still to be read.
    assert document["daemon"]["word"] == "good"
    yard.file.write_text("this is [no TOML")
    assert "not TOML" in yard.told()


def test_the_worst_of_many_sensors_are_named_and_the_rest_counted(yard):
    more = "".join(
        f'[sensor.s{n}]\nsite = "harbour"\nmqtt = {{ topic = "t{n}" }}\nread.air_temperature = {{ unit = "degC" }}\n'
        for n in range(20)
    )
    yard.write_config(SENSOR + more)
    yard.well()
    text = yard.told()
    assert "and 19 more: 18 bad, 1 good" in text
    assert len(text.splitlines()) <= 23


def test_a_daemon_can_begin_while_somebody_asks_whether_one_runs(tmp_path):
    code = (
        "import sys; from pathlib import Path; from dryspell.store.lock import holder\n"
        "print('up', flush=True)\n"
        "while True: holder(Path(sys.argv[1]))\n"
    )
    DaemonLock(tmp_path).release()
    asking = subprocess.Popen([sys.executable, "-c", code, tmp_path], stdout=subprocess.PIPE, text=True)
    try:
        assert asking.stdout.readline() == "up\n"
        for _ in range(200):
            with DaemonLock(tmp_path):
                assert holder(tmp_path) == os.getpid()
    finally:
        asking.kill()
        asking.wait()
        asking.stdout.close()
    assert holder(tmp_path) is None


def test_a_heartbeat_that_grew_and_shrank_is_read_whole(tmp_path):
    beat = Heartbeat(process=1, version="1", started_at=NOW, at=NOW, tick_s=60.0)
    for error in ("", "x" * 9000, ""):
        write_heartbeat(tmp_path, beat.model_copy(update={"error": error}))
        assert read_heartbeat(tmp_path).error == error
    assert (tmp_path / "heartbeat.json").stat().st_size == 12288


def test_half_a_heartbeat_is_none(tmp_path):
    (tmp_path / "heartbeat.json").write_text('{"process": 1')
    assert read_heartbeat(tmp_path) is None
