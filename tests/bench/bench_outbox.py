"""How long it takes to thin out what waits after a week offline: `python tests/bench/bench_outbox.py [MANY]`."""

import sys
import time
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

from dryspell.store import Store
from dryspell.store.notices import Message

NOW = datetime(2026, 6, 3, 8, tzinfo=UTC)
PIECES, KINDS = ("rail", "door", "bench", "mast"), ("tomorrow", "coat_now", "wait", "film_risk")


def main():
    many = int(sys.argv[1]) if len(sys.argv) > 1 else 10_000
    blank = Message("", "", "", "", "Coat now", "why\n" * 20, NOW, NOW, ("phone", "mail"))
    step = timedelta(days=7) / many
    waiting = [
        replace(
            blank,
            id=f"{n}",
            key=f"{n}",
            piece=PIECES[n % 4],
            kind=KINDS[n % 3],
            created_at=NOW + n * step,
            expires_at=NOW + n * step + timedelta(hours=12),
        )
        for n in range(many // 2)
    ]
    with TemporaryDirectory() as folder:
        store = Store(Path(folder) / "state.sqlite3")
        store.save_round({}, [], waiting, [], NOW)
        now, begun = waiting[-1].created_at, time.perf_counter()
        gone = store.thin_out(now, ["phone", "mail"])
        left = store.due(now)
        took = time.perf_counter() - begun
        store.close()
    print(f"{many} that wait for two targets: {len(left)} left, {len(gone)} dropped, {took:.2f} s")


if __name__ == "__main__":
    main()
