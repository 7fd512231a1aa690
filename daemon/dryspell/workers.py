"""Work that may hang, kept from holding up the rest."""

import contextlib
import logging
import threading
import time
import weakref
from collections.abc import Callable
from functools import partial

from dryspell.errors import DryspellError
from dryspell.faults import kind_of

log = logging.getLogger(__name__)

Job = Callable[[], object]


class Workers:
    """Runs jobs in threads, one at a time for each name: a job that hangs holds up only later jobs of its own name.

    A name keeps its thread from one job to the next, until nobody holds the workers any more: where memory has run out,
    a new thread may die before it has begun, and Python's own `start` then waits for it without end. The threads do not
    keep the process alive. A job that fails is logged, and again only when it fails otherwise.
    """

    def __init__(self) -> None:
        self._hands: dict[str, _Hand] = {}
        self._said: dict[str, str] = {}

    def start(self, name: str, job: Job) -> bool:
        """Start a job; return False where one of that name is still running."""
        hand = self._hands.get(name)
        if hand is None or not hand.thread.is_alive():
            hand = self._hands[name] = _Hand(name)
            weakref.finalize(self, hand.leave).atexit = False
        return hand.take(partial(self._run, name, job))

    def wait(self, timeout_s: float) -> bool:
        """Wait until no job runs, or for `timeout_s` at the most; say whether all have ended."""
        until = time.monotonic() + timeout_s
        hands = list(self._hands.values())
        for hand in hands:
            hand.free.wait(max(0.0, until - time.monotonic()))
        return all(hand.free.is_set() for hand in hands)

    def _run(self, name: str, job: Job) -> None:
        try:
            job()
        except Exception as error:
            said, before = kind_of(error), self._said.get(name)
            self._said[name] = said
            if said == before:
                return
            if isinstance(error, DryspellError):
                log.warning("%s failed: %s", name, error)
            else:
                log.exception("%s failed", name)
        else:
            self._said.pop(name, None)


class _Hand:
    """A thread that waits for a job, does it, and waits for the next; waiting takes no memory."""

    def __init__(self, name: str) -> None:
        self.free = threading.Event()
        self.free.set()
        self._job: Job | None = None
        self._left = False
        self._wake = threading.Lock()  # held but for the moment in which there is something new
        self._wake.acquire()
        self.thread = threading.Thread(target=self._work, name=name, daemon=True)
        self.thread.start()

    def take(self, job: Job) -> bool:
        """Begin a job, unless one is under way."""
        if not self.free.is_set():
            return False
        self._job = job
        self.free.clear()
        self._wake.release()
        return True

    def leave(self) -> None:
        """End when what is under way has ended."""
        self._left = True
        with contextlib.suppress(RuntimeError):  # it has been woken already
            self._wake.release()

    def _work(self) -> None:
        while not self._left:
            self._wake.acquire()
            job, self._job = self._job, None
            # What fails has been logged, unless there is no memory for that either.
            with contextlib.suppress(Exception):
                if job is not None:
                    job()
            job = None  # or whoever owns it would be kept until the next
            self.free.set()
