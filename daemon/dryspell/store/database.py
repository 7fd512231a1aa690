"""One SQLite file, opened so that a kill or a power cut at any moment loses nothing that was committed.

A Store holds a single connection, and a lock lets one thread at it at a time: the daemon commits about once a minute,
so nobody waits for long. Other processes (the command line beside the daemon) have their own connection; WAL lets them
read while one writes.
"""

import os
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from dryspell.clock import SystemClock
from dryspell.errors import StoreError
from dryspell.owner import make_folder, open_or_make
from dryspell.store.faults import BUSY_TIMEOUT_S, damaged, plain_errors
from dryspell.store.schema import MIGRATIONS, Migration, migrate

CACHE_KIB = 512
"""What is kept of the file in memory: the system keeps it as well, and two megabytes would fill up over a season."""
MIGRATION_TIMEOUT_S = 60.0
"""How long to wait for another process that keeps a copy and brings the file up."""


class Database:
    """An open state file; the classes that stand on it hold the queries.

    Parameters
    ----------
    path
        The file. It and its folder are made when absent, for the owner alone.

    Raises
    ------
    StoreError
        When it cannot be opened, is damaged, or is not ours; the message names the file.
    """

    def __init__(self, path: Path, *, migrations: Sequence[Migration] = MIGRATIONS) -> None:
        self.path = path
        self._lock = threading.RLock()
        try:
            make_folder(path.parent)
            os.close(open_or_make(path))
        except OSError as error:
            raise StoreError(
                f"the state file {path} cannot be opened for writing ({error.strerror}); "
                "check the folder and who owns it, or set another state folder"
            ) from None
        with self._plain_errors():
            self._connection = sqlite3.connect(
                path, timeout=BUSY_TIMEOUT_S, isolation_level=None, check_same_thread=False
            )
        try:
            with self._plain_errors():
                self._prepare(migrations)
        except BaseException:
            self._connection.close()
            raise

    def _prepare(self, migrations: Sequence[Migration]) -> None:
        mode = self._connection.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise StoreError(
                f"the state file {self.path} lies where SQLite cannot keep a write-ahead log (it answers {mode!r}); "
                "put the state folder on a local disk, not on a network share"
            )
        self._connection.execute("PRAGMA synchronous = FULL")
        self._connection.execute("PRAGMA foreign_keys = ON")
        self._connection.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
        answer = self._connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        if answer != "ok":
            raise StoreError(damaged(self.path))
        self._connection.execute(f"PRAGMA busy_timeout = {MIGRATION_TIMEOUT_S * 1000:.0f}")
        migrate(self._connection, str(self.path), migrations, keep=self._keep)
        self._connection.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_S * 1000:.0f}")

    def _keep(self, version: int) -> Path:
        """Keep the file as it is before it is brought up."""
        from dryspell.store.backup import keep_before_migration  # noqa: PLC0415  (once in many months)

        return keep_before_migration(self.path, version, SystemClock().now())

    def make_passing(self) -> None:
        """Wait for no disk from now on: of a state that is thrown away with its process."""
        with self._lock, self._plain_errors():
            self._connection.execute("PRAGMA synchronous = OFF")

    def close(self) -> None:
        """Close the file, after the transaction that is under way."""
        with self._lock, self._plain_errors():
            self._connection.close()

    @contextmanager
    def _transaction(self) -> Iterator[sqlite3.Connection]:
        """Write: all of the block is committed, or nothing of it."""
        with self._lock, self._plain_errors():
            self._connection.execute("BEGIN IMMEDIATE")
            try:
                yield self._connection
                self._connection.execute("COMMIT")
            except BaseException:
                # A full disk has rolled back by itself.
                if self._connection.in_transaction:
                    self._connection.execute("ROLLBACK")
                raise

    def _rows(self, query: str, *values: Any) -> list[tuple[Any, ...]]:
        with self._lock, self._plain_errors():
            return self._connection.execute(query, values).fetchall()

    def _array(self, columns: np.dtype[np.void], query: str, *values: Any) -> npt.NDArray[np.void]:
        """Return rows of numbers as an array, shape (rows,): a season of them as tuples would take ten times as much.

        Memory that small objects once took is hardly ever given back.
        """
        with self._lock, self._plain_errors():
            return np.fromiter(self._connection.execute(query, values), dtype=columns)

    @contextmanager
    def _plain_errors(self) -> Iterator[None]:
        with plain_errors(self.path):
            yield


def seconds(instant: datetime) -> int:
    """Return an aware instant as whole UTC seconds."""
    if instant.tzinfo is None:
        raise ValueError(f"an instant needs its offset from UTC, got {instant.isoformat()}")
    return int(instant.timestamp())


def instant(at: int) -> datetime:
    """Return UTC seconds as an aware instant."""
    return datetime.fromtimestamp(at, tz=UTC)
