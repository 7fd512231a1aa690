"""The disk turns read-only under the real daemon: said once, told by `status`, nothing lost, well when restarted."""

import signal
from datetime import timedelta
from pathlib import Path

from faults.test_faults import Yard, holds, put_on, receiver, wait_until, write_weather, yard

__all__ = ["Yard", "receiver", "yard"]  # fixtures
AILING = str(Path(__file__).with_name("ailing.py"))


def test_a_disk_that_is_turned_read_only_is_said_once_and_loses_nothing(yard):
    yard.start(by=(AILING, str(yard.folder)))
    held = put_on(yard)
    (yard.folder / "readonly").touch()
    write_weather(yard.folder, yard.daemon.now)  # something has to be written
    yard.daemon.wait_for("a tick failed")
    since = yard.daemon.now
    wait_until(lambda: yard.daemon.now - since > timedelta(minutes=20))  # of ticks every two minutes
    status = yard.status()
    assert (status["well"], status["daemon"]["running"], status["daemon"]["word"]) == (False, True, "bad")
    assert yard.counted("a tick failed") <= 2, yard.daemon.log
    assert not yard.counted("Traceback"), yard.daemon.log
    assert holds(yard, held)
    assert yard.daemon.leave(signal.SIGTERM)[0] == 0
    assert holds(yard, held)
    (yard.folder / "readonly").unlink()
    yard.start(now=yard.daemon.now)
    wait_until(lambda: yard.status()["daemon"]["word"] == "good")
    assert holds(yard, held)
