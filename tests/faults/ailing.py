"""`dryspell` with a part of its machine gone wrong, for tests: python ailing.py FOLDER ARGUMENTS OF DRYSPELL.

FOLDER may hold `clock`, by how many seconds the day's time runs ahead, which may change at any moment, and `dns`, which
keeps every name from being resolved for as long as it is there.
"""

import socket
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from dryspell.cli import main
from dryspell.clock import SystemClock


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

    SystemClock.now = now
    socket.getaddrinfo = stuck


if __name__ == "__main__":
    ail(Path(sys.argv[1]))
    sys.exit(main(sys.argv[2:]))
