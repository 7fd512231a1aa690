"""The real daemon told to leave while its page waits for something that does not end."""

import os
import re
import signal
import threading
from contextlib import suppress
from datetime import UTC, datetime
from pathlib import Path

import httpx
import pytest

from faults.daemon import Daemon, write_config, write_weather

NOON = datetime(2026, 6, 2, 10, tzinfo=UTC)


def drawing_of(process):
    """Return the number of the process that draws for a daemon."""
    for children in Path(f"/proc/{process.pid}/task").glob("*/children"):
        for child in children.read_text().split():
            if b"picture_draw" in Path(f"/proc/{child}/cmdline").read_bytes():
                return int(child)
    return None


@pytest.fixture
def daemon(tmp_path):
    write_weather(tmp_path, NOON)
    file = write_config(tmp_path, "json://127.0.0.1:1/")
    file.write_text(file.read_text().replace('"none"', '"127.0.0.1:0"'))
    daemon = Daemon(file, now=NOON)
    yield daemon
    if daemon.process.poll() is None:
        daemon.kill()


def test_a_drawing_that_does_not_end_does_not_keep_the_daemon(daemon):
    daemon.wait_for("the page is at ")
    url = re.search(r"the page is at (\S+)", "\n".join(daemon.log))[1]
    asked = threading.Event()
    answers = []

    def ask():
        with suppress(httpx.HTTPError):
            while not asked.is_set():
                answers.append(httpx.get(f"{url}charts/outlook.svg?piece=rail", timeout=60).status_code)
                asked.wait(0.1)

    asking = threading.Thread(target=ask)
    asking.start()
    drawing = None
    try:
        while drawing is None and 200 not in answers:
            with suppress(OSError):
                drawing = drawing_of(daemon.process)
        assert drawing is not None, answers
        os.kill(drawing, signal.SIGSTOP)  # as one that hangs, or is slow on a small machine
        code, took_s = daemon.leave(signal.SIGTERM)
        assert code == 0
        assert took_s < 20  # three seconds, and patience with a busy machine; a drawing may take a minute
    finally:
        asked.set()
        if drawing is not None:
            with suppress(ProcessLookupError):
                os.kill(drawing, signal.SIGKILL)
        asking.join()
