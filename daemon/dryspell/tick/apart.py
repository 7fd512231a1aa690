"""Work done in a process of its own: what takes seconds of the processor and much memory, and leaves neither behind.

A plan of several pieces wants a solver that alone is half as large as the daemon, and a thread would slow the pages
while it reckons. The other process is this module: it takes a function and what it is called with, pickled, on its
standard input, and gives what came of it. Both ends are ours.
"""

import os
import pickle
import subprocess
import sys
import threading
import traceback
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")

WITHIN_S = 600.0
COMMAND = (sys.executable, "-m", "dryspell.tick.apart")
# Nothing else of the environment: it holds secrets, and none is needed to reckon.
_ENVIRONMENT = ("PATH", "HOME", "PYTHONPATH", "VIRTUAL_ENV", "TMPDIR", "LD_LIBRARY_PATH", "TZDIR")
# A solver with threads of its own would take every core from the ticks.
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}


class ApartError(RuntimeError):
    """The other process gave no answer; the message says what came of it."""


class Apart:
    """Calls functions in a process of their own, one at a time."""

    def __init__(self, *, within_s: float = WITHIN_S) -> None:
        self._within_s = within_s
        self._lock = threading.Lock()
        self._running: subprocess.Popen[bytes] | None = None
        self._stopped = False

    def __call__(self, function: Callable[P, T], *args: P.args, **named: P.kwargs) -> T:
        """Return what a function of a module returns.

        Raises
        ------
        ApartError
            When it raised something, took too long, or was stopped.
        """
        asked = pickle.dumps((function, args, named))
        env = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ} | _ONE_THREAD
        with self._lock:
            if self._stopped:
                raise ApartError("the daemon leaves")
            process = subprocess.Popen(  # noqa: S603  (our own module)
                COMMAND, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, env=env
            )
            self._running = process
        try:
            out, _ = process.communicate(asked, timeout=self._within_s)
        except subprocess.TimeoutExpired:
            raise ApartError(f"not done after {self._within_s:g} s") from None
        finally:
            process.kill()
            process.communicate()
            with self._lock:
                self._running = None
        if process.returncode or not out:
            raise ApartError(f"the process that reckons ended with {process.returncode}")
        came, wrong = pickle.loads(out)  # noqa: S301  (written by the process above)
        if wrong:
            raise ApartError(wrong)
        return came  # type: ignore[no-any-return]

    def stop(self) -> None:
        """End what is under way, and begin nothing more."""
        with self._lock:
            self._stopped = True
            if self._running is not None:
                self._running.kill()


def _answer() -> None:
    out, sys.stdout = sys.stdout.buffer, sys.stderr  # what a library prints is no part of the answer
    answer: tuple[Any, str]
    try:
        function, args, named = pickle.loads(sys.stdin.buffer.read())  # noqa: S301  (written by the daemon)
        answer = function(*args, **named), ""
    except Exception:  # noqa: BLE001  (whatever it is, the daemon is told)
        answer = None, traceback.format_exc()
    out.write(pickle.dumps(answer))


if __name__ == "__main__":
    _answer()
