"""`dryspell` with a part of its machine gone wrong, for tests: python ailing.py FOLDER ARGUMENTS OF DRYSPELL.

FOLDER may hold `clock`, by how many seconds the day's time runs ahead, which may change at any moment, `dns`, which
keeps every name from being resolved for as long as it is there, `stuck`, which keeps a tick from ending, and
`readonly`, from which on the process can write to no file that has been there and make none, as on a file system that
was turned read-only: that is never taken back.
"""

import socket
import sys
import threading
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from dryspell.cli import main
from dryspell.clock import SystemClock
from dryspell.tick import round as of_tick
from faults.readonly import turn_read_only


def ail(folder):
    resolve = socket.getaddrinfo

    def now(_clock):
        try:
            ahead_s = float((folder / "clock").read_text())
        except (OSError, ValueError):
            ahead_s = 0.0
        return datetime.now(UTC) + timedelta(seconds=ahead_s)

    def stuck(*where, **how):
        if (folder / "asked").parent.exists() and (folder / "dns").exists():
            (folder / "asked").touch()
            while (folder / "dns").exists():
                time.sleep(0.1)
        return resolve(*where, **how)

    judge = of_tick.look

    def never_done(*asked):
        while (folder / "stuck").exists():
            time.sleep(0.1)
        return judge(*asked)

    def wait_for_readonly():
        while not (folder / "readonly").exists():
            time.sleep(0.05)
        turn_read_only()

    threading.Thread(target=wait_for_readonly, daemon=True).start()
    of_tick.look = never_done
    SystemClock.now = now
    socket.getaddrinfo = stuck


if __name__ == "__main__":
    ail(Path(sys.argv[1]))
    sys.exit(main(sys.argv[2:]))
