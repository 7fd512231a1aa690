"""How a database is opened that is not to be written to."""

import os
import shutil
import sqlite3
import tempfile
from pathlib import Path
from urllib.parse import quote

from dryspell.errors import StoreError
from dryspell.store.faults import BUSY_TIMEOUT_S, plain


def open_to_read(path: Path) -> sqlite3.Connection:
    """Open a database for reading.

    One with a write-ahead log is shared by way of files beside it. Where these are not there and cannot be made, nobody
    writes to it, and it is read as it lies; where a log is left over from a crash, from a copy in a folder that passes.

    Raises
    ------
    StoreError
        It is not there, or cannot be opened.
    """
    try:
        with path.open("rb"):
            pass
    except FileNotFoundError:
        raise StoreError(f"there is no state file {path}") from None
    except OSError as error:
        raise StoreError(f"the state file {path} cannot be read ({error.strerror}); check who owns it") from None
    try:
        return _opened(path, "mode=ro")
    except sqlite3.Error as error:
        name = getattr(error, "sqlite_errorname", "") or ""
        if not name.startswith(("SQLITE_CANTOPEN", "SQLITE_READONLY")):
            raise StoreError(plain(path, error)) from error
    try:
        log = path.with_name(f"{path.name}-wal")
        if not log.exists() or log.stat().st_size == 0:
            return _opened(path, "mode=ro&immutable=1")
        return _of_a_copy(path, log)
    except sqlite3.Error as error:
        raise StoreError(plain(path, error)) from error
    except OSError as error:
        raise StoreError(f"the state file {path} cannot be read ({error.strerror})") from None


def _opened(path: Path, how: str) -> sqlite3.Connection:
    connection = sqlite3.connect(
        f"file:{quote(os.fspath(path.absolute()))}?{how}",
        uri=True,
        timeout=BUSY_TIMEOUT_S,
        isolation_level=None,
        check_same_thread=False,
    )
    try:
        # Only the first question opens the file.
        connection.execute("SELECT count(*) FROM sqlite_master").fetchone()
    except BaseException:
        connection.close()
        raise
    return connection


def _of_a_copy(path: Path, log: Path) -> sqlite3.Connection:
    with tempfile.TemporaryDirectory(prefix="dryspell-") as folder:
        copy = Path(folder) / path.name
        shutil.copyfile(path, copy)
        shutil.copyfile(log, copy.with_name(log.name))
        # Its files stay for as long as they are open, and have no names any more.
        return _opened(copy, "mode=rw")
