"""What SQLite says of a state file, in words for people."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from dryspell.errors import StoreError

BUSY_TIMEOUT_S = 5.0


@contextmanager
def plain_errors(path: Path) -> Iterator[None]:
    """Turn what SQLite raises in the block into a StoreError that names the file."""
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(plain(path, error)) from error


def damaged(path: Path) -> str:
    """Return what to say of a file that is no whole database."""
    return (
        f"the state file {path} is damaged; put a backup in its place with `dryspell restore`, or move it away to "
        "begin a new one"
    )


def plain(path: Path, error: sqlite3.Error) -> str:
    """Return what to say of an error of SQLite."""
    name = getattr(error, "sqlite_errorname", "") or ""
    said = {
        "SQLITE_NOTADB": damaged(path),
        "SQLITE_CORRUPT": damaged(path),
        "SQLITE_CANTOPEN": f"the state file {path} cannot be opened; check the folder and who owns it",
        "SQLITE_READONLY": f"the state file {path} cannot be written to; check who owns it",
        "SQLITE_BUSY": f"the state file {path} has been held by another program for over {BUSY_TIMEOUT_S:g} s",
        "SQLITE_FULL": f"the disk that holds the state file {path} is full",
        "SQLITE_IOERR": f"the disk that holds the state file {path} gives errors",
    }
    # Extended names, such as SQLITE_IOERR_WRITE, begin with the plain one.
    return next(
        (text for key, text in said.items() if name.startswith(key)), f"the state file {path} cannot be used: {error}"
    )
