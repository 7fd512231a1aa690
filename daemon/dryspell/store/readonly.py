"""The state as it is, without writing to it: beside a daemon, of an older version, on a disk that takes nothing."""

import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from dryspell.errors import StoreError
from dryspell.store.faults import damaged, plain_errors
from dryspell.store.store import FILE_NAME, Store
from dryspell.store.to_read import open_to_read


class ReadOnlyStore(Store):
    """A state that is only asked. It is neither checked nor brought up to this version.

    Raises
    ------
    StoreError
        It is not there or cannot be opened.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        self._connection = open_to_read(path)

    def begin(self) -> None:
        """From now on see the state as it is at this moment, whatever a daemon writes meanwhile."""
        with self._lock, plain_errors(self.path):
            self._connection.execute("BEGIN")
            self._connection.execute("SELECT 1 FROM sqlite_master LIMIT 1").fetchone()

    def stream(self, query: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        """Yield the rows of a query as they are read, however many they are."""
        with plain_errors(self.path):
            cursor = self._connection.execute(query, values)
            while rows := cursor.fetchmany(500):
                yield from rows

    def check(self) -> None:
        """Read every page; StoreError says that one is damaged."""
        with self._lock, plain_errors(self.path):
            if self._connection.execute("PRAGMA quick_check(1)").fetchone()[0] != "ok":
                raise StoreError(damaged(self.path))

    @property
    def version(self) -> int:
        """The version of its tables."""
        return int(self._rows("PRAGMA user_version")[0][0])


def open_store_to_read(state_dir: Path) -> ReadOnlyStore:
    """Open the state file of a state folder for reading; StoreError says what is wrong with it."""
    return ReadOnlyStore(state_dir / FILE_NAME)
