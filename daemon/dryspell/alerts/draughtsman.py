"""Has charts drawn, in a process of their own each and within a time; a message never waits longer for its picture."""

import importlib.util
import logging
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence

log = logging.getLogger(__name__)

WITHIN_S = 20.0
REST_S = 3600.0
"""After one that went wrong no picture is tried for so long."""
LARGEST = 4_000_000
EXTRA = "charts"

COMMAND = (sys.executable, "-m", "dryspell.alerts.picture_draw")
_SIGNATURE = b"\x89PNG\r\n\x1a\n"
# Nothing else of the environment: it holds secrets, and none is needed to draw.
_ENVIRONMENT = ("PATH", "HOME", "PYTHONPATH", "VIRTUAL_ENV", "TMPDIR", "LD_LIBRARY_PATH")


def can_draw() -> bool:
    """Say whether what draws is installed."""
    return importlib.util.find_spec("vl_convert") is not None


class Draughtsman:
    """Draws charts, one at a time, and keeps the last one: it goes to several targets.

    Parameters
    ----------
    within_s
        How long a drawing may take.
    command
        What draws: it takes the chart on its standard input and gives the PNG.
    monotonic
        The stopwatch.
    """

    def __init__(
        self,
        *,
        within_s: float = WITHIN_S,
        command: Sequence[str] = COMMAND,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._within_s = within_s
        self._command = command
        self._monotonic = monotonic
        self._lock = threading.Lock()
        self._last: tuple[str, bytes] = ("", b"")
        self._rests_until = 0.0

    def __call__(self, chart: str) -> bytes | None:
        """Return the picture of a chart, None where it cannot be drawn; that is logged."""
        with self._lock:
            if self._last[0] == chart:
                return self._last[1]
            if self._monotonic() < self._rests_until:
                return None
            png, wrong = self._draw(chart)
            if wrong:
                self._rests_until = self._monotonic() + REST_S
                log.warning("a picture could not be drawn (%s); messages go without for an hour", wrong)
                return None
            self._last = (chart, png)
            return png

    def _draw(self, chart: str) -> tuple[bytes, str]:
        return drawn(self._command, chart, self._within_s, _SIGNATURE)


def drawn(command: Sequence[str], text: str, within_s: float, begins: bytes) -> tuple[bytes, str]:
    """Return what a process of its own makes of a text, and what went wrong, empty for nothing.

    Parameters
    ----------
    begins
        What every right answer begins with.
    """
    env = {name: os.environ[name] for name in _ENVIRONMENT if name in os.environ}
    try:
        done = subprocess.run(  # noqa: S603  (our own module)
            command,
            input=text.encode(),
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            timeout=within_s,
            env=env,
            check=False,
        )
    except subprocess.TimeoutExpired:
        return b"", f"not done after {within_s:g} s"
    except OSError as error:
        return b"", f"what draws cannot be started: {error.strerror}"
    if done.returncode or not done.stdout.startswith(begins):
        return b"", f"what draws ended with {done.returncode}"
    if len(done.stdout) > LARGEST:
        return b"", f"it has {len(done.stdout)} bytes"
    return done.stdout, ""
