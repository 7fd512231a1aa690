"""Memory runs out under the real daemon: it says so once, `status` tells, and it is well again when there is some."""

import resource

from faults.test_faults import holds, put_on, receiver, wait_until, write_weather, yard

__all__ = ["receiver", "yard"]  # fixtures


def limit(process, most):
    resource.prlimit(process, resource.RLIMIT_AS, (most, resource.RLIM_INFINITY))


def test_a_daemon_without_memory_says_so_once_and_is_well_when_there_is_some(yard):
    yard.start()
    held = put_on(yard)
    limit(yard.daemon.process.pid, 1 << 20)  # nothing more than it has
    write_weather(yard.folder, yard.daemon.now, days=300)  # takes more than it had until now
    wait_until(lambda: "memory" in yard.status()["daemon"]["said"])
    status = yard.status()
    assert (status["well"], status["daemon"]["running"], status["daemon"]["word"]) == (False, True, "bad")
    before = status["daemon"]["last_tick_at"]
    wait_until(lambda: yard.status()["daemon"]["last_tick_at"] > before)  # it goes on
    yard.daemon.wait_for("unknown")
    write_weather(yard.folder, yard.daemon.now)
    limit(yard.daemon.process.pid, resource.RLIM_INFINITY)
    wait_until(lambda: yard.status()["daemon"]["word"] == "good")
    for piece in ("rail", "bench"):
        assert yard.counted(f"{piece} could not be judged") <= 2, yard.daemon.log
    assert holds(yard, held)
