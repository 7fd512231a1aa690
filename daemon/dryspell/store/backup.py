"""Copies of the state file: whole ones, proved before anybody counts on them, and put back the same way.

A copy is made by SQLite's online backup, beside a daemon that goes on writing, and has everything in one file. It is
written under another name, checked, brought to the disk and only then called what it shall be called, so that whatever
has the name of a backup is one. What it replaces is kept.
"""

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from dryspell.errors import StoreError
from dryspell.owner import hand_over, make_folder, open_or_make
from dryspell.store.faults import BUSY_TIMEOUT_S, plain, plain_errors
from dryspell.store.schema import APPLICATION_ID, MIGRATIONS, newer
from dryspell.store.to_read import open_to_read

FOLDER = "backups"
"""In the state folder: what was kept before it was changed."""
KEPT = 5
"""So many of these stay; the oldest go."""
COUNTED = ("coats", "notices", "readings", "reading_days", "issues", "plans")
_MARGIN = 1 << 20


@dataclass(frozen=True)
class Copy:
    """A file that was found to be a whole state of ours: its version, its size [bytes], and rows by table."""

    path: Path
    version: int
    size: int
    counts: Mapping[str, int]


def name_of(version: int, now: datetime, why: str = "") -> str:
    """Return what a copy of a state of that version, made now, is called."""
    return f"dryspell-v{version}-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}{why and '-'}{why}.sqlite3"


def examine(path: Path) -> Copy:
    """Return what a file holds, every page of it read.

    Raises
    ------
    StoreError
        It is not there, is damaged, is not ours, or was written by a newer version.
    """
    if not path.is_file():
        raise StoreError(f"{path}: there is no such file")
    with closing(open_to_read(path)) as connection, plain_errors(path):
        return _examined(connection, path)


def copy_to(state: Path, target: Path) -> Copy:
    """Make a whole copy of a state file, which others may be writing to, and return what it holds.

    Parameters
    ----------
    target
        The file to make. It is never overwritten.

    Raises
    ------
    StoreError
        Nothing is left of it then.
    """
    if not state.is_file():
        raise StoreError(f"there is no state yet: no file {state}")
    with closing(open_to_read(state)) as connection:
        return _copy(connection, state, target)


def keep_before_migration(state: Path, version: int, now: datetime) -> Path:
    """Keep a copy of a state file of an older version before it is brought up, and return where.

    Raises
    ------
    StoreError
        No copy could be made, for want of room above all. The state is as it was.
    """
    folder = state.parent / FOLDER
    target = _free(folder / name_of(version, now))
    try:
        copy_to(state, target)
    except StoreError as error:
        raise StoreError(
            f"the state file {state} is of version {version}, this dryspell has {len(MIGRATIONS)}, and no copy could "
            f"be kept before it is brought up: {error}. Nothing was changed"
        ) from None
    thin_out(folder)
    return target


def put_back(copy: Path, state: Path, now: datetime) -> tuple[Copy, Path | None]:
    """Put a copy in the place of a state file, and return what it holds and where the one before is kept.

    The caller holds the daemon's lock. The copy is proved first; the one before is kept among the backups, as it lies
    there where it is damaged. A kill or a power cut leaves one or the other, never a mixture.

    Raises
    ------
    StoreError
        The copy cannot be used, or others use the state. Nothing was changed.
    """
    examine(copy)
    fresh = state.parent / f".{state.name}.{os.getpid()}.new"
    with _gone_unless_wanted(fresh), closing(open_to_read(copy)) as connection:
        found = _copy(connection, copy, fresh)
        kept = _set_aside(state, now) if state.exists() else None
        fresh.replace(state)
        _to_disk(state.parent)
    thin_out(state.parent / FOLDER)
    return found, kept


def thin_out(folder: Path, keep: int = KEPT) -> None:
    """Remove all but the newest of the copies that were kept."""
    copies = sorted(folder.glob("dryspell-v*.sqlite3"), key=lambda path: (path.stat().st_mtime_ns, path.name))
    for old in copies[: max(0, len(copies) - keep)]:
        with suppress(OSError):
            old.unlink()


def _copy(connection: sqlite3.Connection, state: Path, target: Path) -> Copy:
    """Copy what a connection reads into a file, prove it, and only then give it its name."""
    try:
        make_folder(target.parent)
        if target.exists():
            raise StoreError(f"{target} is there already and is not overwritten; name another file")
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".part", dir=target.parent)
        hand_over(handle, target.parent)
        os.close(handle)
    except OSError as error:
        raise StoreError(f"{target} cannot be made: {error.strerror}") from None
    part = Path(name)
    try:
        _check_room(connection, target)
        with closing(sqlite3.connect(part, timeout=BUSY_TIMEOUT_S)) as copy:
            with plain_errors(state):
                pages = connection.execute("PRAGMA page_count").fetchone()[0]
            try:
                # In steps, so that a daemon that writes meanwhile is never kept waiting.
                connection.backup(copy, pages=-1 if pages < 1000 else 1000, sleep=0.01)
                # One file, with nothing beside it that could be forgotten.
                copy.execute("PRAGMA journal_mode = DELETE")
            except sqlite3.Error as error:
                raise StoreError(_why_no_copy(error, target, state)) from None
            with plain_errors(target):
                found = _examined(copy, target)
        _to_disk(part)
        try:
            os.link(part, target)
        except FileExistsError:
            raise StoreError(f"{target} is there already and is not overwritten; name another file") from None
        except OSError:
            part.rename(target)  # a disk that knows no second names, such as a stick
        _to_disk(target.parent)
    except OSError as error:
        raise StoreError(f"{target} cannot be written: {error.strerror}") from None
    finally:
        for left in (part, part.with_name(f"{part.name}-journal"), part.with_name(f"{part.name}-wal")):
            left.unlink(missing_ok=True)
    return found


def _examined(connection: sqlite3.Connection, path: Path) -> Copy:
    answer = connection.execute("PRAGMA integrity_check(1)").fetchone()[0]
    if answer != "ok":
        raise StoreError(f"{path} is damaged: {answer}")
    if connection.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise StoreError(f"{path} is no state of dryspell")
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    if version > len(MIGRATIONS):
        raise StoreError(newer(str(path), version, len(MIGRATIONS)))
    tables = {name for (name,) in connection.execute("SELECT name FROM sqlite_master WHERE type = 'table'")}
    counts = {
        table: int(connection.execute(f"SELECT count(*) FROM {table}").fetchone()[0])  # noqa: S608  (no outside text)
        for table in COUNTED
        if table in tables
    }
    pages, size = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    return Copy(path, version, pages * size, counts)


def _check_room(connection: sqlite3.Connection, target: Path) -> None:
    pages, size = (connection.execute(f"PRAGMA {name}").fetchone()[0] for name in ("page_count", "page_size"))
    free = shutil.disk_usage(target.parent).free
    if free < pages * size + _MARGIN:
        raise StoreError(_no_room(target, pages * size, free))


def _no_room(target: Path, size: int, free: int) -> str:
    wanted, there = f"{(size + _MARGIN) / 1e6:.1f} MB", f"{free / 1e6:.1f} MB"
    return f"there is no room for a copy in {target.parent}: it takes {wanted}, and {there} are free"


def _why_no_copy(error: sqlite3.Error, target: Path, state: Path) -> str:
    name = getattr(error, "sqlite_errorname", "") or ""
    if name.startswith(("SQLITE_CORRUPT", "SQLITE_NOTADB")):
        return plain(state, error)
    if name.startswith(("SQLITE_FULL", "SQLITE_IOERR")):
        return f"{target} cannot be written: the disk is full or gives errors"
    return f"{target} cannot be written: {error}"


def _set_aside(state: Path, now: datetime) -> Path:
    """Keep a state file that is about to be replaced, and see to it that nothing of it is left beside its name."""
    folder = state.parent / FOLDER
    try:
        with closing(open_to_read(state)) as connection, plain_errors(state):
            version = connection.execute("PRAGMA user_version").fetchone()[0]
            kept = _free(folder / name_of(version, now, "replaced"))
            _copy(connection, state, kept)
    except StoreError as error:
        if "no room" in str(error):
            raise
        kept = _as_it_lies(state, folder, now)
    else:
        _close_wal(state)
    for beside in _beside(state):
        beside.unlink(missing_ok=True)
    return kept


def _close_wal(state: Path) -> None:
    """Bring all of a state into its one file, which only works while nobody else has it open."""
    with closing(sqlite3.connect(state, timeout=BUSY_TIMEOUT_S)) as connection:
        try:
            connection.execute("PRAGMA journal_mode = DELETE")
        except sqlite3.OperationalError as error:
            raise StoreError(plain(state, error)) from None


def _as_it_lies(state: Path, folder: Path, now: datetime) -> Path:
    """Keep a file that cannot be read as a database, with what lies beside it, byte by byte."""
    kept = _free(folder / f"dryspell-damaged-{now.astimezone(UTC):%Y%m%dT%H%M%SZ}.sqlite3")
    try:
        make_folder(folder)
        for source, ending in (
            (state, ""),
            *((beside, beside.name.removeprefix(state.name)) for beside in _beside(state)),
        ):
            if source.exists():
                os.close(open_or_make(kept.with_name(kept.name + ending)))
                shutil.copyfile(source, kept.with_name(kept.name + ending))
                _to_disk(kept.with_name(kept.name + ending))
    except OSError as error:
        raise StoreError(f"what is in {state} now cannot be kept in {folder}: {error.strerror}") from None
    return kept


def _beside(state: Path) -> list[Path]:
    return [state.with_name(state.name + ending) for ending in ("-wal", "-shm", "-journal")]


def _free(path: Path) -> Path:
    """Return a name that nothing has: several copies may be made within a second."""
    count, free = 1, path
    while free.exists():
        count += 1
        free = path.with_name(f"{path.stem}-{count}{path.suffix}")
    return free


@contextmanager
def _gone_unless_wanted(path: Path) -> Iterator[None]:
    path.unlink(missing_ok=True)
    try:
        yield
    finally:
        path.unlink(missing_ok=True)


def _to_disk(path: Path) -> None:
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)
