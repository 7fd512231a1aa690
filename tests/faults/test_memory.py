"""Memory runs out under the real daemon: it says so once, `status` tells, and it is well again when there is some."""

import re
import resource
from pathlib import Path

from faults.test_faults import holds, put_on, receiver, wait_until, write_weather, yard

__all__ = ["receiver", "yard"]  # fixtures


MIB = 1 << 20
SPARE = 64 * MIB
"""For threads and what is small. Without any the process ends itself: what pydantic is made of cannot go on."""


def limit(process, most):
    resource.prlimit(process, resource.RLIMIT_AS, (most, resource.RLIM_INFINITY))


def taken(process):
    found = re.search(r"VmSize:\s+(\d+) kB", Path(f"/proc/{process}/status").read_text())
    return int(found[1]) * 1024


def test_a_daemon_without_memory_says_so_once_and_is_well_when_there_is_some(yard):
    yard.start()
    held = put_on(yard)
    limit(yard.daemon.process.pid, taken(yard.daemon.process.pid) + SPARE)
    write_weather(yard.folder, yard.daemon.now, days=1500)  # to judge that takes several times as much
    wait_until(lambda: "memory" in yard.status()["daemon"]["said"])
    status = yard.status()
    assert (status["well"], status["daemon"]["running"], status["daemon"]["word"]) == (False, True, "bad")
    before = status["daemon"]["last_tick_at"]
    wait_until(lambda: yard.status()["daemon"]["last_tick_at"] > before)  # it goes on
    yard.daemon.wait_for("unknown")
    write_weather(yard.folder, yard.daemon.now)
    limit(yard.daemon.process.pid, resource.RLIM_INFINITY)
    wait_until(lambda: yard.status()["daemon"]["word"] == "good")
    # Where memory is missed differs, and so may what is made of it.
    assert yard.counted("a tick failed") <= 3, yard.daemon.log
    for piece in ("rail", "bench"):
        assert yard.counted(f"{piece} could not be judged") <= 2, yard.daemon.log
    assert holds(yard, held)
