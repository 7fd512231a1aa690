"""Reading from a process that may never say what is waited for."""

import contextlib
import threading


@contextlib.contextmanager
def with_patience(process, seconds=60.0):
    """End the process when the block takes longer: what reads from it then comes to its end and the test fails."""
    timer = threading.Timer(seconds, process.kill)
    timer.start()
    try:
        yield
    finally:
        timer.cancel()
