"""What sends is a process of its own, there as long as somebody sends: what it loads is no part of the daemon."""

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from alerts.receiver import Receiver
from dryspell.alerts import apprise_sender
from dryspell.alerts.apprise_sender import AppriseSender
from dryspell.alerts.deliver import SendError

SENT = """
import sys
from dryspell.alerts.apprise_sender import AppriseSender
AppriseSender({"phone": sys.argv[1]}).send("phone", "Coat now", "why")
print("apprise" in sys.modules)
"""

LEFT = """
import os, sys, threading
from dryspell.alerts.apprise_sender import AppriseSender
sender = AppriseSender({"phone": sys.argv[1]})
threading.Thread(target=sender.send, args=("phone", "Coat now", "why"), daemon=True).start()
sys.stdin.readline()
print(sender._process._running[0].pid, flush=True)
os._exit(0)
"""


@pytest.fixture
def receivers():
    """Two that take alerts, by target."""
    both = {"phone": Receiver(), "relay": Receiver()}
    yield both
    for each in both.values():
        each.close()


@pytest.fixture
def begun(monkeypatch):
    """The processes that were begun."""
    processes = []

    class Noted(subprocess.Popen):
        def __init__(self, *args, **named):
            processes.append(self)
            super().__init__(*args, **named)

    monkeypatch.setattr(apprise_sender.subprocess, "Popen", Noted)
    return processes


def test_who_sends_has_not_loaded_what_sends(receivers):
    phone = receivers["phone"]
    told = subprocess.run([sys.executable, "-c", SENT, phone.url], capture_output=True, text=True, check=True)
    assert told.stdout == "False\n"
    assert phone.got == [("Coat now", "why")]


def test_all_who_send_at_a_time_share_one_process_and_it_ends_with_the_last(receivers, begun):
    for each in receivers.values():
        each.hang = threading.Event()
    sender = AppriseSender({target: each.url for target, each in receivers.items()})
    threads = [threading.Thread(target=sender.send, args=(target, "Coat now", "why")) for target in receivers]
    for thread in threads:
        thread.start()
    for each in receivers.values():
        assert each.reached.wait(60)
    (process,) = begun
    assert process.poll() is None
    for each in receivers.values():
        each.hang.set()
    for thread in threads:
        thread.join()
    assert process.returncode == 0
    assert [each.got for each in receivers.values()] == [[("Coat now", "why")]] * 2
    sender.send("phone", "Wait", "why")
    assert len(begun) == 2


def test_a_process_that_ends_under_way_is_said_and_the_next_message_has_another(receivers, begun):
    phone = receivers["phone"]
    phone.hang = threading.Event()
    sender, said = AppriseSender({"phone": phone.url}), []

    def send():
        with pytest.raises(SendError) as error:
            sender.send("phone", "Coat now", "why")
        said.append(str(error.value))

    thread = threading.Thread(target=send)
    thread.start()
    assert phone.reached.wait(60)
    begun[0].kill()
    thread.join()
    assert said == ["what sends has ended before it was done"]
    phone.hang.set()
    phone.hang = None
    sender.send("phone", "Wait", "why")
    assert ("Wait", "why") in phone.got


def test_where_no_process_can_be_started_that_is_said(monkeypatch):
    monkeypatch.setattr(apprise_sender, "COMMAND", (str(Path("gone") / "python"),))
    with pytest.raises(SendError, match="cannot be started: No such file"):
        AppriseSender({"phone": "json://127.0.0.1:1/"}).send("phone", "Coat now", "why")


def test_it_ends_with_the_daemon_whatever_it_is_under_way_with(receivers):
    phone = receivers["phone"]
    phone.hang = threading.Event()
    with subprocess.Popen(
        [sys.executable, "-c", LEFT, phone.url], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as daemon:
        assert phone.reached.wait(60)
        told, _ = daemon.communicate("\n", timeout=60)
    until = time.monotonic() + 60
    while not has_ended(int(told)):
        assert time.monotonic() < until
        time.sleep(0.02)


def has_ended(process):
    try:
        return not Path(f"/proc/{process}/cmdline").read_bytes()  # empty for one that nobody has asked about yet
    except OSError:
        return True
