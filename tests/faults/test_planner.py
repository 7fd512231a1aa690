"""The process that plans dies under the real daemon, again and again: said once, ticks go on, then there is a plan."""

import os
import resource
import signal
import threading
from contextlib import closing, contextmanager, suppress
from pathlib import Path

import pytest

from dryspell.store.store import open_store
from faults.test_faults import holds, put_on, receiver, wait_until, write_weather, yard

__all__ = ["receiver", "yard"]  # fixtures


def children(process):
    """Return the numbers of the processes that one has started (proc_pid_task_children(5))."""
    found = []
    for thread in Path(f"/proc/{process}/task").iterdir():
        with suppress(OSError):  # it has ended since
            found += map(int, (thread / "children").read_text().split())
    return found


@contextmanager
def each_child(process, hurt):
    """Hurt every process that one starts, and give the set of those."""
    hurt_ones, enough = set(), threading.Event()

    def work():
        while not enough.wait(0.01):
            for child in children(process):
                with suppress(ProcessLookupError):
                    if b"dryspell.tick.apart" in Path(f"/proc/{child}/cmdline").read_bytes():
                        hurt_ones.add(child)
                        hurt(child)

    worker = threading.Thread(target=work)
    worker.start()
    try:
        yield hurt_ones
    finally:
        enough.set()
        worker.join()


def kill(child):
    os.kill(child, signal.SIGKILL)


def starve(child):
    resource.prlimit(child, resource.RLIMIT_AS, (1 << 20, 1 << 20))  # less than it has: it gets nothing more


@pytest.mark.parametrize("hurt", [kill, starve])
def test_a_planner_that_dies_each_time_is_said_once_and_the_daemon_goes_on(yard, hurt):
    yard.start()
    held = put_on(yard)
    with each_child(yard.daemon.process.pid, hurt) as hurt_ones:
        for plan in range(4):
            write_weather(yard.folder, yard.daemon.now)
            wait_until(lambda: len(hurt_ones) > plan)  # noqa: B023
        wait_until(lambda: yard.daemon.said("the plan failed"))
        before = yard.status()["daemon"]["last_tick_at"]
        wait_until(lambda: yard.status()["daemon"]["last_tick_at"] > before)
        status = yard.status()["daemon"]
        assert (status["word"], status["failed_ticks"]) == ("good", 0)
    # It may have died before it had read what it is asked, which is another way to fail.
    assert yard.counted("the plan failed") <= 2, yard.daemon.log
    assert not yard.counted("a tick failed")
    assert holds(yard, held)
    with closing(open_store(yard.state)) as store:
        before = store.plans()
        write_weather(yard.folder, yard.daemon.now)
        wait_until(lambda: store.plans() != before)
    yard.daemon.leave(signal.SIGTERM)
