"""Copies are whole or are not there, and what they replace is kept."""

import shutil
import sqlite3
import stat
import subprocess
import sys
import threading
from contextlib import closing
from datetime import UTC, datetime

import pytest

from dryspell.errors import StoreError
from dryspell.outlook.model import Coat
from dryspell.store import Store, backup
from dryspell.store.backup import copy_to, examine, name_of, put_back
from dryspell.store.schema import MIGRATIONS
from store.olden import content_of, write_old

NOW = datetime(2026, 6, 3, 8, tzinfo=UTC)


def coat(number, piece="rail"):
    return Coat(piece=piece, number=number, finished_at=NOW, recorded_at=NOW)


def names(folder):
    return sorted(file.name for file in folder.iterdir())


def test_a_copy_holds_what_was_committed_and_is_one_file_for_its_owner(store, path, tmp_path):
    store.add_coat(coat(1))
    found = copy_to(path, tmp_path / "out" / "kept.sqlite3")
    assert (found.version, found.counts["coats"], found.counts["notices"]) == (len(MIGRATIONS), 1, 0)
    assert names(tmp_path / "out") == ["kept.sqlite3"]
    assert stat.S_IMODE((tmp_path / "out" / "kept.sqlite3").stat().st_mode) == 0o600
    assert content_of(tmp_path / "out" / "kept.sqlite3") == content_of(path)
    with closing(sqlite3.connect(tmp_path / "out" / "kept.sqlite3")) as connection:
        assert connection.execute("PRAGMA journal_mode").fetchone() == ("delete",)


def test_a_copy_made_while_others_write_is_of_one_moment(store, path, tmp_path):
    stop = threading.Event()

    def write():
        number = 0
        while not stop.is_set():
            number += 1
            with store._transaction() as connection:
                # Both or neither, in every copy.
                connection.execute("INSERT INTO alert_memory VALUES (?, ?)", (f"{number}", "x" * 3000))
                connection.execute("INSERT INTO plans VALUES (?, 0, '{}')", (f"{number}",))

    thread = threading.Thread(target=write)
    thread.start()
    try:
        for copy in range(5):
            copy_to(path, tmp_path / f"{copy}.sqlite3")
    finally:
        stop.set()
        thread.join(30)
    for copy in range(5):
        held = content_of(tmp_path / f"{copy}.sqlite3")
        assert len(held["alert_memory"]) == len(held["plans"])


def test_no_file_is_overwritten(store, path, tmp_path):
    there = tmp_path / "letter.txt"
    there.write_text("to my client")
    with pytest.raises(StoreError, match=rf"{there} is there already and is not overwritten"):
        copy_to(path, there)
    assert there.read_text() == "to my client"
    store.memory()


def test_where_there_is_no_state_none_is_made(tmp_path):
    with pytest.raises(StoreError, match="there is no state yet"):
        copy_to(tmp_path / "dryspell.sqlite3", tmp_path / "kept.sqlite3")
    assert list(tmp_path.iterdir()) == []


def test_a_disk_that_fills_up_under_a_copy_leaves_nothing_of_it(store, path, tmp_path):
    with store._transaction() as connection:
        connection.executemany("INSERT INTO alert_memory VALUES (?, ?)", [(f"{i}", "x" * 5000) for i in range(300)])
    # The process may write files of 200 kB at the most: SQLite meets an error as on a full disk.
    code = (
        "import resource, signal, sys; from pathlib import Path; from dryspell.store.backup import copy_to\n"
        "from dryspell.errors import StoreError\n"
        "signal.signal(signal.SIGXFSZ, signal.SIG_IGN); resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))\n"
        "try: copy_to(Path(sys.argv[1]), Path(sys.argv[2]))\n"
        "except StoreError as error: print(error)\n"
    )
    target = tmp_path / "out" / "kept.sqlite3"
    said = subprocess.run(
        [sys.executable, "-c", code, path, target], capture_output=True, text=True, check=True, timeout=60
    )
    assert said.stdout == f"{target} cannot be written: the disk is full or gives errors\n"
    assert list(target.parent.iterdir()) == []
    assert len(store.memory()) == 300


@pytest.mark.parametrize("what", ["letter", "cut", "flipped", "other", "newer"])
def test_what_is_no_whole_state_of_ours_is_never_put_back(store, path, tmp_path, what):
    store.add_coat(coat(1))
    with store._transaction() as connection:
        connection.executemany("INSERT INTO alert_memory VALUES (?, ?)", [(f"{i}", "x" * 900) for i in range(100)])
    store.close()
    copy = tmp_path / "kept.sqlite3"
    copy_to(path, copy)
    body = bytearray(copy.read_bytes())
    if what == "letter":
        copy.write_text("a letter, and long enough to be taken for a database " * 20)
    elif what == "cut":
        copy.write_bytes(body[: len(body) // 2])
    elif what == "flipped":
        middle = len(body) // 2 // 4096 * 4096
        body[middle : middle + 64] = bytes(255 - byte for byte in body[middle : middle + 64])
        copy.write_bytes(body)
    else:
        with closing(sqlite3.connect(copy)) as connection:
            connection.execute("PRAGMA application_id = 7" if what == "other" else "PRAGMA user_version = 99")
    before = content_of(path)
    said = {"other": "is no state of dryspell", "newer": "newer dryspell"}.get(what, "damaged")
    with pytest.raises(StoreError, match=said):
        put_back(copy, path, NOW)
    assert content_of(path) == before
    assert not (path.parent / backup.FOLDER).exists()


def test_what_is_replaced_is_kept_and_can_be_put_back_in_turn(path, tmp_path):
    with closing(Store(path)) as store:
        store.add_coat(coat(1))
    copy_to(path, tmp_path / "one.sqlite3")
    with closing(Store(path)) as store:
        store.add_coat(coat(2))
    found, kept = put_back(tmp_path / "one.sqlite3", path, NOW)
    assert found.counts["coats"] == 1
    assert kept.name == name_of(len(MIGRATIONS), NOW, "replaced")
    with closing(Store(path)) as store:
        assert [each.number for each in store.laid("rail")] == [1]
    put_back(kept, path, NOW)
    with closing(Store(path)) as store:
        assert [each.number for each in store.laid("rail")] == [1, 2]


def test_a_log_that_a_crash_left_is_kept_with_its_state_and_never_meets_the_new_one(path, tmp_path):
    with closing(Store(path)) as store:
        store.add_coat(coat(1))
    copy_to(path, tmp_path / "one.sqlite3")
    # A process that is killed leaves its last writes in the log beside the file.
    code = (
        "import os, sys; from pathlib import Path; from dryspell.store import Store; store = Store(Path(sys.argv[1]))\n"
        "with store._transaction() as c: c.execute(\"INSERT INTO alert_memory VALUES ('rail', 'said')\")\n"
        "os._exit(9)\n"
    )
    subprocess.run([sys.executable, "-c", code, path], check=False, timeout=60)
    assert path.with_name(f"{path.name}-wal").stat().st_size
    _, kept = put_back(tmp_path / "one.sqlite3", path, NOW)
    assert names(path.parent) == ["backups", path.name]
    assert content_of(kept)["alert_memory"] == [{"piece": "rail", "memory": "said"}]
    assert content_of(path)["alert_memory"] == []


def test_a_damaged_state_is_kept_as_it_lies(path, tmp_path):
    with closing(Store(path)) as store:
        store.add_coat(coat(1))
    copy_to(path, tmp_path / "one.sqlite3")
    path.write_bytes(b"not a database any more" * 100)
    path.with_name(f"{path.name}-wal").write_bytes(b"nor a log")
    _, kept = put_back(tmp_path / "one.sqlite3", path, NOW)
    assert kept.read_bytes() == b"not a database any more" * 100
    assert kept.with_name(f"{kept.name}-wal").read_bytes() == b"nor a log"
    with closing(Store(path)) as store:
        assert [each.number for each in store.laid("rail")] == [1]


def test_nothing_is_put_back_while_another_program_has_the_state_open(store, path, tmp_path, monkeypatch):
    monkeypatch.setattr(backup, "BUSY_TIMEOUT_S", 0.1)
    copy_to(path, tmp_path / "one.sqlite3")
    store.add_coat(coat(1))
    with pytest.raises(StoreError, match="has been held by another program"):
        put_back(tmp_path / "one.sqlite3", path, NOW)
    assert [each.number for each in store.laid("rail")] == [1]
    assert not list(path.parent.glob("*.new"))


def test_a_copy_is_put_where_there_is_no_state(store, path, tmp_path):
    store.add_coat(coat(1))
    copy_to(path, tmp_path / "one.sqlite3")
    elsewhere = tmp_path / "new" / path.name
    _, kept = put_back(tmp_path / "one.sqlite3", elsewhere, NOW)
    assert kept is None
    assert content_of(elsewhere) == content_of(path)


def test_a_state_with_a_log_on_a_disk_that_takes_nothing_is_read_all_the_same(store, path, tmp_path):
    store.add_coat(coat(1))
    there = tmp_path / "stick"
    there.mkdir()
    for file in path.parent.glob(f"{path.name}*"):
        if not file.name.endswith("-shm"):
            shutil.copy(file, there)
    # An account that may not write there, as far as the process can have one.
    there.chmod(0o500)
    try:
        assert examine(there / path.name).counts["coats"] == 1
    finally:
        there.chmod(0o700)


def test_an_older_state_is_copied_as_it_is(path, tmp_path):
    before = write_old(path, 4)
    assert copy_to(path, tmp_path / "one.sqlite3").version == 4
    assert content_of(tmp_path / "one.sqlite3") == before == content_of(path)
