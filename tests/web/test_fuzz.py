"""Whatever is sent to the server, it answers as a fault of the sender, keeps its memory, and goes on."""

import os
import threading
from pathlib import Path

from malformed import malformed, statuses
from served import served

REQUESTS = 1000
GROWS_AT_MOST = 16 * 1024 * 1024
"""Of noise: what a leak of 16 KiB a request would come to."""


def resident():
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def test_no_malformed_request_is_a_fault_of_the_server_or_leaves_anything_behind(tmp_path, monkeypatch):
    monkeypatch.setattr("dryspell.service.ASKED_TICK_S", 0.0)  # what changes the record is answered at once
    with served(tmp_path) as daemon:
        host, port = daemon.client.base_url.host, daemon.client.base_url.port
        send = list(malformed(7, REQUESTS, f"{host}:{port}"))
        statuses((host, port), send[:300])  # what is made once and kept
        before = resident(), threading.active_count()
        answered = statuses((host, port), send)
        assert {status for status in answered if status >= 500} == set(), answered
        assert answered[400] > 50, answered
        assert answered[200] > 5, answered
        assert resident() - before[0] < GROWS_AT_MOST
        assert threading.active_count() <= before[1] + 4
        assert daemon.get("health").json()["well"]
