"""What a service manager is told, against sd_notify(3): the datagrams as a real socket gets them."""

import os
import socket
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from dryspell.systemd import LONGEST_STATUS, Notifier

UNIT = Path(__file__).parents[1] / "deploy" / "systemd" / "dryspell.service"
PATIENCE_S = 60.0
WORST = 15
"""In tenths, as systemd-analyze takes it: exposure 1.5."""


@contextmanager
def manager(path):
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as heard:
        heard.bind(path)
        heard.settimeout(PATIENCE_S)
        yield lambda: heard.recv(4096).decode().split("\n")


@pytest.mark.parametrize("abstract", [False, True])
def test_a_manager_hears_that_the_daemon_is_ready_ticks_and_leaves(tmp_path, abstract):
    name = f"dryspell-test-{os.getpid()}"
    with manager(f"\0{name}" if abstract else str(tmp_path / name)) as heard:
        address = f"@{name}" if abstract else str(tmp_path / name)
        notifier = Notifier.of({"NOTIFY_SOCKET": address, "WATCHDOG_USEC": "300000000"})
        notifier.ready(60.0)
        notifier.ticked("08:00Z: 1 coat\n2 wait")
        notifier.unwell("a tick failed: the disk is full")
        notifier.stopping()
        assert heard() == ["READY=1"]
        assert heard() == ["WATCHDOG=1", "STATUS=08:00Z: 1 coat 2 wait"]
        assert heard() == ["STATUS=a tick failed: the disk is full"]
        assert heard() == ["STOPPING=1"]


def test_a_watchdog_waits_for_three_ticks_that_are_far_apart(tmp_path):
    with manager(str(tmp_path / "m")) as heard:
        Notifier(str(tmp_path / "m"), watchdog_s=300.0).ready(3600.0)
        assert heard() == ["READY=1", "WATCHDOG_USEC=12600000000"]


def test_a_watchdog_that_does_not_watch_is_not_fed(tmp_path):
    with manager(str(tmp_path / "m")) as heard:
        Notifier(str(tmp_path / "m")).ticked("x" * 1000)
        assert heard() == [f"STATUS={'x' * LONGEST_STATUS}"]


@pytest.mark.parametrize("env", [{}, {"NOTIFY_SOCKET": "/nowhere/at/all"}, {"NOTIFY_SOCKET": "@nobody-listens-here"}])
def test_nobody_who_listens_is_no_trouble(env):
    notifier = Notifier.of(env | {"WATCHDOG_USEC": "soon"})
    notifier.ready(60.0)
    notifier.ticked("well")
    notifier.stopping()


def test_the_daemon_feeds_the_watchdog_with_its_ticks(tmp_path):
    with manager(str(tmp_path / "m")) as heard:
        told = {"NOTIFY_SOCKET": str(tmp_path / "m"), "WATCHDOG_USEC": "300000000", "TMPDIR": str(tmp_path)}
        daemon = subprocess.Popen(
            [sys.executable, "-m", "dryspell", "demo"],
            env={**os.environ, **told},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        try:
            assert heard()[0] == "READY=1"
            assert heard()[0] == "WATCHDOG=1"
            daemon.terminate()
            while (said := heard()) != ["STOPPING=1"]:
                assert said[0] == "WATCHDOG=1"
        finally:
            daemon.kill()
            daemon.wait()


def run(*command):
    return subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)


@pytest.fixture
def placed(tmp_path):
    """The unit with a program that is there, and without what only a running system has."""
    text = UNIT.read_text("utf-8").replace("/opt/dryspell/bin/dryspell", sys.executable)
    file = tmp_path / "dryspell.service"
    file.write_text(text, "utf-8")
    return file


def analyzer():
    if run("sh", "-c", "command -v systemd-analyze").returncode:
        pytest.skip("systemd-analyze is not installed")


def test_systemd_finds_nothing_wrong_with_the_unit(placed):
    analyzer()
    done = run("systemd-analyze", "verify", str(placed))
    assert (done.returncode, done.stdout, done.stderr) == (0, "", "")


def test_the_unit_is_hardened(placed):
    analyzer()
    done = run("systemd-analyze", "security", "--offline=true", f"--threshold={WORST}", str(placed))
    assert done.returncode == 0, done.stdout[-400:]


def test_a_lax_unit_would_not_pass(placed):
    analyzer()
    placed.write_text("[Service]\nExecStart=/bin/true\n", "utf-8")
    assert run("systemd-analyze", "security", "--offline=true", f"--threshold={WORST}", str(placed)).returncode != 0
