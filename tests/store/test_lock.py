import os
import subprocess
import sys

import pytest

from dryspell.errors import StoreError
from dryspell.store.lock import DaemonLock

HOLD = """
import sys, time
from pathlib import Path
from dryspell.store.lock import DaemonLock
lock = DaemonLock(Path(sys.argv[1]))
print("held", flush=True)
time.sleep(600)
"""


@pytest.fixture
def holder(tmp_path):
    process = subprocess.Popen([sys.executable, "-c", HOLD, str(tmp_path)], stdout=subprocess.PIPE, text=True)
    assert process.stdout.readline() == "held\n"
    yield process
    process.kill()
    process.wait()
    process.stdout.close()


def test_a_second_daemon_is_refused_with_the_folder_and_the_first_ones_process(tmp_path, holder):
    with pytest.raises(StoreError, match=rf"\(process {holder.pid}\) runs on the state folder {tmp_path};"):
        DaemonLock(tmp_path)


def test_a_daemon_that_was_killed_holds_nothing(tmp_path, holder):
    holder.kill()
    holder.wait()
    with DaemonLock(tmp_path):
        assert (tmp_path / "dryspell.lock").read_text() == f"{os.getpid()}\n"


def test_the_lock_can_be_taken_again_once_released(tmp_path):
    DaemonLock(tmp_path).release()
    with DaemonLock(tmp_path), pytest.raises(StoreError):
        DaemonLock(tmp_path)


def test_a_folder_that_cannot_be_made_is_named(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError, match=r"state folder .*/file/state cannot be written to"):
        DaemonLock(tmp_path / "file" / "state")
