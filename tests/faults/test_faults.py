"""The machine fails under the real daemon: it says so once, loses nothing, and `dryspell status` tells the truth."""

import io
import json
import os
import resource
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from contextlib import closing, contextmanager, nullcontext, redirect_stderr, redirect_stdout
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from alerts.receiver import Receiver
from dryspell.cli import main
from dryspell.outlook.model import Coat
from dryspell.store.store import FILE_NAME, open_store
from faults.daemon import Daemon, write_config, write_weather

START = datetime(2026, 6, 2, 10, tzinfo=UTC)
FAST = 120.0
"""Every second is two minutes: the weather is due every five seconds."""


@pytest.fixture
def receiver():
    receiver = Receiver()
    yield receiver
    receiver.close()


def wait_until(true, timeout_s=60):
    until = time.monotonic() + timeout_s
    while not true():
        assert time.monotonic() < until
        time.sleep(0.05)


class Yard:
    """A daemon in a folder, and what the commands say beside it."""

    def __init__(self, folder, url, now=START):
        self.folder = folder
        self.state = folder / "state"
        write_weather(folder, now - timedelta(hours=1))
        self.url = url
        self.config = write_config(folder, url)
        self.daemon = None

    def start(self, now=START, speed=FAST, **more):
        self.daemon = Daemon(self.config, now=now, speed=speed, **more)
        self.daemon.wait_for("ready; Ctrl-C")
        self.daemon.wait_until_up()
        return self.daemon

    def command(self, *arguments, code=0):
        """Run a command beside the daemon; in this process, since it is asked again and again."""
        said = io.StringIO()
        with redirect_stdout(said), redirect_stderr(said):
            ended = main([*arguments, "--config", str(self.config)])
        assert ended == code or code is None, said.getvalue()
        return said.getvalue()

    def refused(self):
        """Return what a daemon says that does not start."""
        ran = subprocess.run(
            [sys.executable, "-m", "dryspell", "run", "--config", self.config],
            capture_output=True, text=True, check=False, timeout=60,
        )  # fmt: skip
        assert ran.returncode == 2
        assert "Traceback" not in ran.stderr
        return ran.stderr

    def status(self):
        return json.loads(self.command("status", "--json", "--now", self.daemon.now.isoformat()))

    def held(self):
        """Return the coats and the marks of what was sent, as the state file has them."""
        with closing(sqlite3.connect(self.state / FILE_NAME)) as connection:
            return tuple(
                connection.execute(query).fetchall()
                for query in (
                    "SELECT id, piece, number, finished_at, undone_at FROM coats ORDER BY id",
                    "SELECT notice, target, delivered_at FROM outbox WHERE delivered_at IS NOT NULL ORDER BY 1, 2",
                )
            )

    def counted(self, text):
        return sum(text in line for line in self.daemon.log)

    def close(self):
        if self.daemon is not None and self.daemon.process.poll() is None:
            self.daemon.process.send_signal(signal.SIGCONT)
            self.daemon.kill()


@pytest.fixture
def yard(tmp_path, receiver):
    yard = Yard(tmp_path, receiver.url)
    yield yard
    yard.close()


def put_on(yard):
    """Let a first message be sent and a coat be recorded: what must not be lost."""
    yard.daemon.wait_for("delivered to phone")
    held = put_a_coat_on(yard)
    assert held[1]
    return held


def put_a_coat_on(yard):
    with closing(open_store(yard.state)) as store:
        at = yard.daemon.now
        store.add_coat(Coat(piece="bench", number=1, finished_at=at, recorded_at=at))
    held = yard.held()
    assert held[0]
    return held


def later(instant, before):
    return datetime.fromisoformat(instant) - datetime.fromisoformat(before)


def holds(yard, held):
    """Say whether all that was held is there still; more may have come."""
    return all(set(before) <= set(now) for before, now in zip(held, yard.held(), strict=True))


@contextmanager
def no_room_by_limit(yard):
    """Let the daemon write no byte past the size its state has now, as on a full disk."""
    log = (yard.state / f"{FILE_NAME}-wal").stat().st_size
    resource.prlimit(yard.daemon.process.pid, resource.RLIMIT_FSIZE, (min(log, 100_000), resource.RLIM_INFINITY))
    yield
    resource.prlimit(yard.daemon.process.pid, resource.RLIMIT_FSIZE, (resource.RLIM_INFINITY, resource.RLIM_INFINITY))


@contextmanager
def no_room_by_filling(yard):
    """Fill the small disk that holds the state."""
    filler = yard.state / "filler"
    free = shutil.disk_usage(yard.state).free
    filler.write_bytes(bytes(free))
    yield
    filler.unlink()


def may_mount():
    """Say whether this user may have a disk of its own."""
    probe = ["unshare", "--mount", "mount", "-t", "tmpfs", "tmpfs", "/mnt"]
    return os.geteuid() == 0 and shutil.which("unshare") and not subprocess.run(probe, check=False).returncode


@contextmanager
def small_disk(folder, how="size=4m"):
    folder.mkdir(exist_ok=True)
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"{how},mode=0700", "tmpfs", folder], check=True)
    try:
        yield
    finally:
        subprocess.run(["umount", "--lazy", folder], check=True)


@pytest.mark.parametrize("by", ["limit", *(["filling"] if may_mount() else [])])
def test_a_full_disk_fails_ticks_is_said_once_and_ends_without_loss(yard, by):
    with small_disk(yard.state) if by == "filling" else nullcontext():
        yard.start()
        held = put_on(yard)
        with (no_room_by_filling if by == "filling" else no_room_by_limit)(yard):
            # The last coat of the day: something has to be written.
            write_weather(yard.folder, yard.daemon.now)
            yard.daemon.wait_for("a tick failed")
            wait_until(lambda: yard.status()["daemon"]["failed_ticks"] > 3)
            status = yard.status()
            assert (status["well"], status["daemon"]["word"]) == (False, "bad")
            assert "full" in status["daemon"]["error"] or "gives errors" in status["daemon"]["error"]
        wait_until(lambda: yard.status()["daemon"]["failed_ticks"] == 0)
        assert yard.counted("a tick failed") <= 2  # full, or errors: once each
        assert holds(yard, held)
        yard.close()


def test_a_state_folder_that_takes_nothing_is_told_by_everybody(yard):
    yard.start()
    held = put_on(yard)
    yard.daemon.leave(signal.SIGTERM)
    with read_only(yard.state):
        said = yard.refused()
        assert "cannot be written to" in said or "cannot be opened for writing" in said
        status = yard.status()
        assert status["daemon"]["running"] is False
        assert (status["state"]["word"], "cannot be written" in status["state"]["said"]) == ("bad", True)
        assert status["sources"][0]["source"] == "weather.csv"  # what can be read is told
    assert holds(yard, held)


@contextmanager
def read_only(folder):
    if may_mount():
        kept = folder.with_name("kept")
        shutil.copytree(folder, kept)
        with small_disk(folder, "size=16m"):
            for file in kept.iterdir():
                shutil.copy(file, folder)
            subprocess.run(["mount", "-o", "remount,ro", folder], check=True)
            yield
        return
    folder.chmod(0o500)
    for file in folder.iterdir():
        file.chmod(0o400)
    yield
    folder.chmod(0o700)
    for file in folder.iterdir():
        file.chmod(0o600)


def test_a_page_whose_bits_flipped_is_told_and_a_backup_puts_it_right(yard):
    yard.start()
    held = put_on(yard)
    yard.command("backup", str(yard.folder / "kept.sqlite3"))
    yard.daemon.leave(signal.SIGTERM)
    file = yard.state / FILE_NAME
    with closing(sqlite3.connect(file)) as connection:
        (page,) = connection.execute("SELECT rootpage FROM sqlite_master WHERE name = 'coats'").fetchone()
    body = bytearray(file.read_bytes())
    for place in range((page - 1) * 4096, (page - 1) * 4096 + 16):
        body[place] ^= 0x5A
    file.write_bytes(body)
    said = yard.refused()
    assert "is damaged; put a backup in its place" in said
    status = yard.status()
    assert (status["state"]["word"], status["well"]) == ("bad", False)
    assert file.read_bytes() == body  # nobody made it worse
    yard.command("restore", str(yard.folder / "kept.sqlite3"))
    assert holds(yard, held)
    assert yard.status()["state"]["word"] == "good"
    assert any(path.read_bytes() == body for path in (yard.state / "backups").glob("dryspell-damaged-*"))


def test_a_page_that_goes_bad_under_the_daemon_is_said_once(yard):
    yard.start()
    held = put_on(yard)
    yard.command("backup", str(yard.folder / "kept.sqlite3"))
    file = yard.state / FILE_NAME
    # Brought into the file, so that nothing of it is read from the log.
    with closing(sqlite3.connect(file, timeout=30)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        size = connection.execute("PRAGMA page_size").fetchone()[0]
    with file.open("r+b") as out:
        for page in range(1, file.stat().st_size // size):
            out.seek(page * size)
            out.write(b"\xff" * 64)
    yard.daemon.wait_for("a tick failed")
    wait_until(lambda: yard.status()["daemon"]["failed_ticks"] > 5)
    status = yard.status()
    assert (status["daemon"]["running"], status["daemon"]["word"], status["state"]["word"]) == (True, "bad", "bad")
    assert "damaged" in status["daemon"]["error"]
    assert sum("damaged" in line for line in yard.daemon.log) <= 3
    assert not yard.counted("Traceback")
    yard.daemon.leave(signal.SIGTERM)
    yard.command("restore", str(yard.folder / "kept.sqlite3"))
    assert yard.status()["state"]["word"] == "good"
    assert holds(yard, held)


def test_a_configuration_broken_under_the_daemon_is_refused_told_once_and_taken_when_it_is_good(yard, receiver):
    good = yard.config.read_text()
    yard.start(speed=1.0)
    held = put_on(yard)
    yard.config.write_text(good.replace('shelter = "shed"', 'shelter = "igloo"'))
    yard.daemon.wait_for("the changed configuration is not taken")
    wait_until(lambda: any("configuration has a fault" in title for title, _ in receiver.got))
    wait_until(lambda: "goes on with the last good one" in yard.status()["config"]["said"])
    status = yard.status()
    assert (status["config"]["word"], status["daemon"]["word"]) == ("bad", "good")
    time.sleep(3)  # some more ticks
    assert yard.counted("is not taken") == 1
    third = '[piece.gate]\nname = "Gate"\ncoating = "oil_varnish_1k"\nshelter = "shed"\n'
    yard.config.write_text(good.replace("[weather]", f"{third}[weather]"))
    yard.daemon.wait_for("watches 3 pieces")
    yard.daemon.wait_for("Gate: ")
    wait_until(lambda: any("Configuration taken" in title for title, _ in receiver.got))
    assert sum("configuration" in title.lower() for title, _ in receiver.got) == 2
    assert yard.status()["config"]["word"] == "good"
    assert holds(yard, held)
    assert yard.daemon.leave(signal.SIGTERM)[0] == 0


def test_a_configuration_is_looked_at_at_once_when_asked_with_sighup(yard):
    yard.config.write_text(yard.config.read_text().replace('tick = "1 s"', 'tick = "1 hour"'))
    yard.start(speed=1.0)
    yard.daemon.wait_for("Bench: ")
    text = yard.config.read_text()
    yard.config.write_text(text.replace('name = "Bench"', 'name = "Long bench"'))
    yard.daemon.process.send_signal(signal.SIGHUP)
    wait_until(lambda: yard.counted("watches 2 pieces") == 2)
    assert yard.daemon.process.poll() is None


def test_a_changed_configuration_that_cannot_run_leaves_the_last_one_running(yard):
    yard.start(speed=1.0)
    yard.daemon.wait_for("Bench: ")
    (yard.folder / "in_the_way").write_text("no folder")
    text = yard.config.read_text()
    yard.config.write_text(text.replace(f'state = "{yard.state}"', f'state = "{yard.folder}/in_the_way/state"'))
    yard.daemon.wait_for("the changed configuration is not taken")
    assert yard.counted("cannot be written to") == 1
    yard.config.write_text(text)
    yard.daemon.wait_for("the changed configuration is good")
    assert yard.status()["daemon"]["word"] == "good"


def test_a_daemon_that_is_stopped_and_goes_on_is_told_from_one_that_ticks(yard):
    yard.start()
    held = put_on(yard)
    yard.daemon.process.send_signal(signal.SIGSTOP)
    wait_until(lambda: "has not ended a tick" in yard.status()["daemon"]["said"])
    assert yard.status()["daemon"]["running"] is True
    yard.daemon.process.send_signal(signal.SIGCONT)
    wait_until(lambda: yard.status()["daemon"]["word"] == "good")
    assert yard.counted("the clock jumped by") <= 1
    assert not yard.counted("failed")
    assert holds(yard, held)


def test_a_weather_file_that_is_gone_and_comes_back_is_said_once_each(yard):
    yard.start()
    held = put_on(yard)
    file = yard.folder / "weather.csv"
    file.rename(yard.folder / "away")
    yard.daemon.wait_for("going on with that of")
    wait_until(lambda: yard.status()["sources"][0]["word"] == "look")
    assert "gives nothing" in yard.status()["sources"][0]["said"]
    time.sleep(4)
    assert yard.counted("going on with that of") == 1
    (yard.folder / "away").rename(file)
    yard.daemon.wait_for("in order again")
    wait_until(lambda: yard.status()["sources"][0]["word"] == "good")
    assert yard.counted("in order again") == 1
    assert holds(yard, held)


def test_a_target_that_never_answers_holds_up_nothing(yard, receiver):
    receiver.hang = threading.Event()
    yard.start()
    assert receiver.reached.wait(60)
    held = put_a_coat_on(yard)
    wait_until(lambda: yard.status()["queue"][0]["waiting"] >= 1)
    before = yard.status()["daemon"]["last_tick_at"]
    wait_until(lambda: yard.status()["daemon"]["last_tick_at"] > before)
    assert yard.status()["daemon"]["word"] == "good"
    yard.daemon.wait_for("phone does not take alerts")
    wait_until(lambda: yard.status()["queue"][0]["word"] == "bad")
    before = yard.status()["daemon"]["last_tick_at"]
    wait_until(lambda: later(yard.status()["daemon"]["last_tick_at"], before) > timedelta(minutes=10))
    assert yard.counted("phone does not take alerts") == 1
    assert not yard.counted("a tick failed")
    assert holds(yard, held)
    code, took_s = yard.daemon.leave(signal.SIGTERM)
    assert code == 0
    assert took_s < 20


class Ailing(Daemon):
    """A daemon on a machine whose clock or names can be made to go wrong."""

    def __init__(self, yard, env=()):
        self.yard = yard
        self.log, self._line = [], threading.Condition()
        self.process = subprocess.Popen(
            [sys.executable, Path(__file__).with_name("ailing.py"), yard.folder, "run", "--config", yard.config],
            stderr=subprocess.PIPE,
            text=True,
            env=os.environ | dict(env),
        )
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._anchor, self._start, self.speed = None, START, 1.0
        self._reader.start()

    @property
    def now(self):
        clock = self.yard.folder / "clock"
        return datetime.now(UTC) + timedelta(seconds=float(clock.read_text()) if clock.exists() else 0.0)


def last_tick(yard):
    return datetime.fromisoformat(yard.status()["daemon"]["last_tick_at"])


def write_clock(folder, ahead_s):
    (folder / "clock.new").write_text(str(ahead_s))
    (folder / "clock.new").rename(folder / "clock")


@pytest.mark.parametrize("hours", [5, -5])
def test_a_clock_that_jumps_is_said_once_and_ticks_go_on(tmp_path, receiver, hours):
    yard = Yard(tmp_path, receiver.url, now=datetime.now(UTC) - timedelta(hours=12))
    yard.daemon = Ailing(yard)
    try:
        yard.daemon.wait_for("Bench: ")
        wait_until(lambda: yard.status()["daemon"]["word"] == "good")
        held = yard.held()
        write_clock(tmp_path, hours * 3600)
        yard.daemon.wait_for("the clock jumped by")
        wait_until(lambda: abs(last_tick(yard) - yard.daemon.now) < timedelta(minutes=1))
        assert yard.status()["daemon"]["word"] == "good"
        assert yard.counted("the clock jumped by") == 1
        assert holds(yard, held)
    finally:
        yard.close()


def test_names_that_are_never_resolved_hold_up_no_tick_and_no_leaving(tmp_path):
    yard = Yard(tmp_path, "json://alerts.invalid/", now=datetime.now(UTC) - timedelta(hours=2))
    yard.config = write_config(
        tmp_path, yard.url, 'sources = ["open-meteo"]\nopen-meteo.base_url = "http://weather.invalid"'
    )
    yard.config.write_text(f'contact = "you@example.org"\n{yard.config.read_text()}')
    (tmp_path / "dns").touch()
    yard.daemon = Ailing(yard)
    try:
        wait_until((tmp_path / "asked").exists)
        # A tick waits ten seconds for weather and then does without.
        wait_until(lambda: yard.status()["daemon"]["last_tick_at"] is not None)
        status = yard.status()
        assert (status["daemon"]["running"], status["sources"][0]["word"]) == (True, "bad")
        assert "no weather is kept" in status["sources"][0]["said"]
        yard.daemon.wait_for("unknown")
        code, took_s = yard.daemon.leave(signal.SIGTERM)
        assert code == 0
        assert took_s < 20
    finally:
        (tmp_path / "dns").unlink(missing_ok=True)
        yard.close()
