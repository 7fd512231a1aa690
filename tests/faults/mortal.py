"""Daemons that can be killed at any statement: each a real process, forked from one that has loaded everything.

Run as a script it reads one order a line, and answers each with a line of JSON:

- `{"tick": FILE, "now": INSTANT, "kill_at": N}` runs one tick of the daemon of a configuration, which sends itself
  SIGKILL at its N-th point: from the reading of what was said to the marking of what was sent, before each statement
  that it gives to SQLite, and before and after each message. The answer holds the points that were passed.
- `{"serve": FILE, "now": INSTANT}` runs the daemon itself, and the answer holds the number of its process at once;
  further ones come when it has ticked, and when it has ended.
"""

import json
import os
import signal
import sqlite3
import subprocess
import sys
import traceback
from datetime import datetime
from pathlib import Path


class Mortals:
    """The process that daemons are forked from, as a test sees it."""

    def __init__(self):
        command = [sys.executable, __file__]
        self.daemon = None
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)

    def order(self, **order):
        self.process.stdin.write(json.dumps(order) + "\n")
        self.process.stdin.flush()
        return self.answer()

    def answer(self):
        return json.loads(self.process.stdout.readline())

    def tick(self, file, now, kill_at=None):
        """Return the points of a tick that were passed, and whether it was killed."""
        answer = self.order(tick=str(file), now=now.isoformat(), kill_at=kill_at)
        assert answer["signal"] in (0, signal.SIGKILL), answer
        return answer["points"], answer["signal"] == signal.SIGKILL

    def serve(self, file, now):
        """Begin a daemon, and return the number of its process."""
        self.daemon = self.order(serve=str(file), now=now.isoformat())["process"]
        return self.daemon

    def ended(self):
        """Wait until that daemon has ended; return with what code, or by which signal, which is negative."""
        while "signal" not in (answer := self.answer()):
            pass
        self.daemon = None
        return answer["signal"]

    def close(self):
        if self.daemon is not None:
            os.kill(self.daemon, signal.SIGKILL)
        self.process.stdin.close()
        self.process.wait(20)
        self.process.stdout.close()


class Points:
    """Counts the points of a tick, notes them where a kill leaves them, and dies at one of them."""

    def __init__(self, note, kill_at):
        self.note = note
        self.kill_at = kill_at
        self.passed = 0

    def __call__(self, what):
        if self.passed == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)
        self.passed += 1
        os.write(self.note, f"{what}\n".encode())


def tick(file, now, points):
    """Run one tick, with points at every statement and every message."""
    from dryspell.alerts.apprise_sender import AppriseSender
    from dryspell.alerts.deliver import Delivery
    from dryspell.clock import FixedClock
    from dryspell.config import load
    from dryspell.service import Service
    from dryspell.store import Store
    from dryspell.tick.plans import Planner

    class Mortal(sqlite3.Connection):
        counts = False

        def execute(self, statement, *values):
            if self.counts:
                points(" ".join(statement.split())[:60])
            return super().execute(statement, *values)

        def executemany(self, statement, *values):
            if self.counts:
                points(" ".join(statement.split())[:60])
            return super().executemany(statement, *values)

    def send(self, target, *message):
        points(f"send to {target}")
        sends(self, target, *message)
        points(f"sent to {target}")

    def memory(store):
        Mortal.counts = True
        return remembers(store)

    def start(delivery):
        starts(delivery)
        delivery.wait(60)
        Mortal.counts = False

    connects, sends, remembers, starts = sqlite3.connect, AppriseSender.send, Store.memory, Delivery.start
    sqlite3.connect = lambda *where, **how: connects(*where, **how, factory=Mortal)
    AppriseSender.send, Store.memory, Delivery.start = send, memory, start
    Planner.start = lambda *_: None
    service = Service(load(Path(file)), FixedClock(now))
    # Messages go out one after the other, so that the points have an order.
    service._delivery._workers.start = lambda _name, job: job() or True
    service.tick()
    service.close()


def serve(file, now):
    """Run the daemon as `dryspell run` does, with its clock set to an instant."""
    from dryspell.clock import FastClock, SystemClock
    from dryspell.config import load
    from dryspell.service import Service, hearing
    from dryspell.service import serve as run

    def tick(service):
        seen = ticks(service)
        answer(ticked=True)
        return seen

    ticks, Service.tick = Service.tick, tick
    with hearing() as signals:
        run(Service(load(Path(file)), FastClock(now, 1.0, SystemClock().now())), signals)


def fork(work):
    """Run something in a process of its own; return its number."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        work()
        code = 0
    finally:
        if code:
            traceback.print_exc()
        os._exit(code)


def answer(**what):
    print(json.dumps(what), flush=True)


def main():
    # Loaded once, for all that are forked from here; the service looks through its plugins when the first is asked for.
    import apprise

    import dryspell.service  # noqa: F401

    apprise.Apprise().add("json://127.0.0.1/")
    for line in sys.stdin:
        order = json.loads(line)
        now = datetime.fromisoformat(order["now"])
        if "serve" in order:
            child = fork(lambda: serve(order["serve"], now))  # noqa: B023  (called here)
            answer(process=child)
            _, status = os.waitpid(child, 0)
            answer(signal=os.waitstatus_to_exitcode(status))
            continue
        read, write = os.pipe()
        points = Points(write, order["kill_at"])
        child = fork(lambda: tick(order["tick"], now, points))  # noqa: B023  (called here)
        os.close(write)
        with os.fdopen(read) as noted:
            passed = noted.read().splitlines()
        _, status = os.waitpid(child, 0)
        answer(points=passed, signal=-os.waitstatus_to_exitcode(status))


if __name__ == "__main__":
    main()
