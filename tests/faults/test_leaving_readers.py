"""The real daemon told to leave while many read, one records, and others neither send nor take what they began."""

import re
import signal
import socket
import sqlite3
import threading
from contextlib import ExitStack, suppress
from datetime import UTC, datetime
from urllib.parse import urlsplit

import httpx
import pytest

from faults.daemon import Daemon, write_config, write_weather

NOON = datetime(2026, 6, 2, 10, tzinfo=UTC)
READ = ("", "plan", "outlook/rail", "charts/strips.svg?piece=rail", "review", "metrics", "calendar/site/harbour.ics")


@pytest.mark.parametrize("after", [5, 60], ids=["soon", "later"])
def test_readers_and_a_coat_under_way_do_not_keep_the_daemon_and_no_coat_that_was_answered_is_lost(tmp_path, after):
    write_weather(tmp_path, NOON)
    file = write_config(tmp_path, "json://127.0.0.1:1/")
    file.write_text(file.read_text().replace('"none"', '"127.0.0.1:0"'))
    daemon = Daemon(file, now=NOON)
    over, many = threading.Event(), threading.Event()
    statuses, recorded = [], []

    def read(number):
        with suppress(httpx.HTTPError), httpx.Client(base_url=url, timeout=30, trust_env=False) as client:
            while not over.is_set():
                statuses.append(client.get(READ[(number + len(statuses)) % len(READ)]).status_code)
                if len(statuses) >= after:
                    many.set()

    def record():
        with suppress(httpx.HTTPError), httpx.Client(base_url=url, timeout=30, trust_env=False) as client:
            while not over.is_set():
                answer = client.post("api/v1/record/rail/coats", json={})
                recorded.extend([answer.json()["coat"]] if answer.status_code == 201 else [])

    with ExitStack() as stack:
        stack.callback(lambda: daemon.process.poll() is None and daemon.kill())
        daemon.wait_for("the page is at ")
        url = re.search(r"the page is at (\S+)", "\n".join(daemon.log))[1]
        for half in (
            b"POST /record/rail/coat HTTP/1.1\r\nHost: localhost\r\nContent-Length: 90\r\n\r\nform=",
            b"GET / HT",
        ):
            began = stack.enter_context(socket.create_connection((urlsplit(url).hostname, urlsplit(url).port)))
            began.sendall(half)
        busy = [threading.Thread(target=read, args=(number,)) for number in range(8)]
        busy.append(threading.Thread(target=record))
        for each in busy:
            each.start()
            stack.callback(each.join)
        stack.callback(over.set)
        assert many.wait(60)
        code, took_s = daemon.leave(signal.SIGTERM)
    assert code == 0
    assert took_s < 20  # three seconds, and patience with a busy machine
    assert not daemon.said("Traceback")
    assert {status for status in statuses if status >= 500} <= {
        503
    }  # who is cut off is told to come again, of no fault
    with sqlite3.connect(tmp_path / "state" / "dryspell.sqlite3") as state:
        kept = {number for (number,) in state.execute("SELECT number FROM coats")}
    assert set(recorded) <= kept
