import os
import sqlite3
import stat
import subprocess
import sys
import threading

import pytest

from dryspell.errors import StoreError
from dryspell.store import Store
from dryspell.store.database import Database
from dryspell.store.schema import MIGRATIONS


def _version(path):
    with sqlite3.connect(path) as connection:
        version = connection.execute("PRAGMA user_version").fetchone()[0]
    connection.close()
    return version


def test_the_file_and_its_folder_are_for_the_owner_alone(store, path):
    store.memory()
    for file in path.parent.iterdir():
        assert stat.S_IMODE(file.stat().st_mode) == 0o600, file
    assert stat.S_IMODE(path.parent.stat().st_mode) == 0o700


def test_it_is_opened_to_lose_nothing_in_a_power_cut(store):
    (mode,), (synchronous,), (keys,) = (
        store._connection.execute(f"PRAGMA {name}").fetchone()
        for name in ("journal_mode", "synchronous", "foreign_keys")
    )
    # 2 is FULL: https://sqlite.org/pragma.html#pragma_synchronous
    assert (mode, synchronous, keys) == ("wal", 2, 1)


def test_all_tables_are_strict(store):
    for _, name, kind, _, _, strict in store._connection.execute("PRAGMA table_list").fetchall():
        if kind == "table" and not name.startswith("sqlite_"):
            assert strict, name


def test_a_file_that_is_no_database_is_refused_by_name(path):
    path.parent.mkdir()
    path.write_bytes(b"this is a letter, not a database, and long enough to be taken for one" * 20)
    with pytest.raises(StoreError, match=rf"{path} is damaged"):
        Store(path)


def test_a_file_with_a_page_overwritten_is_refused_by_name(path):
    store = Store(path)
    with store._transaction() as connection:
        connection.executemany(
            "INSERT INTO weather_met VALUES ('mooring', ?, 'air_temperature', 12.5, 0)", [(i,) for i in range(2000)]
        )
    store.close()
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.seek(size // 2)
        file.write(os.urandom(size // 4))
    with pytest.raises(StoreError, match=rf"{path} is damaged"):
        Store(path)


def test_the_database_of_another_program_is_not_written_to(path):
    path.parent.mkdir()
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE recipes (name TEXT)")
    connection.close()
    with pytest.raises(StoreError, match=rf"{path} is a database of another program"):
        Store(path)
    with sqlite3.connect(path) as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [("recipes",)]
    connection.close()


def test_a_file_of_a_newer_version_is_refused_and_left_as_it_is(path):
    Store(path).close()
    with sqlite3.connect(path) as connection:
        connection.execute("PRAGMA user_version = 99")
    connection.close()
    with pytest.raises(StoreError, match=r"newer dryspell \(its version is 99"):
        Store(path)
    assert _version(path) == 99


def test_an_older_file_is_brought_up_with_what_it_holds(path):
    Store(path).close()
    later = (*MIGRATIONS, ("ALTER TABLE coats ADD COLUMN brush TEXT NOT NULL DEFAULT 'flat'",))
    old = Database(path)
    with old._transaction() as connection:
        connection.execute(
            "INSERT INTO coats (piece, number, finished_at, who, batch, note, recorded_at) "
            "VALUES ('rail', 1, 0, '', '', '', 0)"
        )
    old.close()
    new = Database(path, migrations=later)
    assert new._rows("SELECT piece, brush FROM coats") == [("rail", "flat")]
    new.close()
    assert _version(path) == len(MIGRATIONS) + 1


def test_a_migration_that_fails_half_way_leaves_the_file_as_it_was(path):
    Store(path).close()
    broken = (*MIGRATIONS, ("ALTER TABLE coats ADD COLUMN brush TEXT", "ALTER TABLE there_is_none ADD COLUMN x TEXT"))
    with pytest.raises(StoreError, match="there_is_none"):
        Database(path, migrations=broken)
    assert _version(path) == len(MIGRATIONS)
    Store(path).close()


def test_two_processes_that_open_a_new_file_at_once_make_one_of_it(path):
    code = "import sys; from pathlib import Path; from dryspell.store import Store; Store(Path(sys.argv[1])).close()"
    processes = [subprocess.Popen([sys.executable, "-c", code, str(path)]) for _ in range(3)]
    assert [process.wait(60) for process in processes] == [0, 0, 0]
    Store(path).close()


def test_a_folder_that_cannot_be_written_to_is_named(tmp_path):
    in_the_way = tmp_path / "state"
    in_the_way.write_text("a file where the folder should be")
    with pytest.raises(StoreError, match=rf"{in_the_way}/dryspell.sqlite3 cannot be opened for writing"):
        Store(in_the_way / "dryspell.sqlite3")


def test_a_transaction_that_raises_leaves_nothing_behind(store):
    transaction = store._transaction()
    transaction.__enter__().execute("INSERT INTO alert_memory VALUES ('rail', '{}')")
    with pytest.raises(RuntimeError):
        transaction.gen.throw(RuntimeError())
    assert store.memory() == {}


def test_a_disk_that_is_full_is_said_and_the_store_goes_on_afterwards(store):
    pages = store._connection.execute("PRAGMA page_count").fetchone()[0]
    store._connection.execute(f"PRAGMA max_page_count = {pages + 2}")
    with pytest.raises(StoreError, match=r"the disk that holds the state file .* is full"), store._transaction() as c:
        c.executemany(
            "INSERT INTO alert_memory VALUES (?, ?)", [(f"piece {i}", "much to remember " * 200) for i in range(50)]
        )
    store._connection.execute(f"PRAGMA max_page_count = {pages + 1000}")
    with store._transaction() as connection:
        connection.execute("INSERT INTO alert_memory VALUES ('rail', '{}')")
    assert store.memory() == {"rail": "{}"}


def test_threads_that_write_at_once_all_get_through(store):
    def write(thread):
        for i in range(20):
            with store._transaction() as connection:
                connection.execute("INSERT INTO alert_memory VALUES (?, '{}')", (f"{thread}/{i}",))

    threads = [threading.Thread(target=write, args=(n,)) for n in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.memory()) == 80


def test_a_closed_store_says_so_as_any_other_fault_of_the_state(store):
    store.close()
    with pytest.raises(StoreError, match="cannot be used"):
        store.memory()
