"""A state of any earlier version is brought up with nothing lost, and what it was stays beside it."""

import sqlite3
from datetime import UTC, datetime
from hashlib import sha256

import pytest

from dryspell.errors import StoreError
from dryspell.store import Store, backup
from dryspell.store.backup import KEPT, examine, put_back
from dryspell.store.schema import MIGRATIONS
from store.olden import content_of, write_old

OLDER = range(1, len(MIGRATIONS))
NOW = datetime(2026, 6, 3, 8, tzinfo=UTC)
# What other people's files were made with: add the newest one's when it is published, and never change another.
PUBLISHED = (
    "01eb8523fb2bca13",
    "b2b158ef9bd287c3",
    "a42e3a35253b073f",
    "03bc0058f0aefe38",
    "ff013c35195dcd31",
    "6fee84fc91185bca",
    "33ec568f7daad6b6",
    "8448cc0221bd8823",
    "89b7250335ab4db7",
)


def test_no_published_migration_was_changed():
    hashes = tuple(sha256("\0".join(migration).encode()).hexdigest()[:16] for migration in MIGRATIONS)
    assert hashes[: len(PUBLISHED)] == PUBLISHED
    assert len(hashes) - len(PUBLISHED) in (0, 1), f"add to PUBLISHED: {hashes[len(PUBLISHED) :]}"


@pytest.mark.parametrize("version", OLDER)
def test_a_state_of_an_earlier_version_keeps_every_row_of_every_table(path, version):
    before = write_old(path, version)
    Store(path).close()
    after = content_of(path)
    # What the thinning of the outbox says in a column of its own is not said in the error any more.
    told = {"last_error"} if version < 6 else set()
    for table, rows in before.items():
        kept = [{name: row[name] for name in rows[0]} for row in after[table]] if rows else []
        if table == "coat_changes":
            kept = kept[: len(rows)]
        assert [without(row, told) for row in kept] == [without(row, told) for row in rows], table
    assert examine(path).version == len(MIGRATIONS)


def without(row, names):
    return {name: value for name, value in row.items() if name not in names}


@pytest.mark.parametrize("version", OLDER)
def test_an_upgrade_is_undone_with_the_copy_that_was_kept_before_it(path, version):
    before = write_old(path, version)
    Store(path).close()
    (copy,) = (path.parent / backup.FOLDER).iterdir()
    assert copy.name.startswith(f"dryspell-v{version}-")
    assert content_of(copy) == before
    found, replaced = put_back(copy, path, NOW)
    assert found.version == version
    assert content_of(path) == before
    assert examine(replaced).version == len(MIGRATIONS)
    # And forward once more.
    Store(path).close()
    assert examine(path).version == len(MIGRATIONS)


@pytest.mark.parametrize("version", OLDER)
def test_what_was_logged_and_sent_before_an_upgrade_reads_the_same_after_it(path, version):
    write_old(path, version)
    store = Store(path)
    try:
        assert {coat.number for row in (1, 3) for coat in store.laid(f"piece {row}")} == {1, 3}
        assert [each.delivered_at is not None for each in store.sendings()] == [False, True, False, False]
        assert store.memory() == {f"piece {row}": f"memory {row}" for row in range(1, 5)}
    finally:
        store.close()


def test_a_new_state_has_nothing_to_be_kept(path):
    Store(path).close()
    assert not (path.parent / backup.FOLDER).exists()


def test_where_there_is_no_room_for_the_copy_nothing_is_changed(path, monkeypatch):
    before = write_old(path, 3)
    usage = backup.shutil.disk_usage(path.parent)
    monkeypatch.setattr(backup.shutil, "disk_usage", lambda _: usage._replace(free=70_000))
    with pytest.raises(
        StoreError, match=r"is of version 3.*no room for a copy.* 0\.1 MB are free. Nothing was changed"
    ):
        Store(path)
    assert (content_of(path), examine(path).version) == (before, 3)
    assert list((path.parent / backup.FOLDER).iterdir()) == []


def test_a_step_that_fails_takes_its_copy_away_again(path):
    before = write_old(path, 3)
    with sqlite3.connect(path) as connection:
        connection.execute("CREATE TABLE coat_changes (in_the TEXT, way TEXT)")
    connection.close()
    for _ in range(KEPT + 2):
        with pytest.raises(StoreError, match="coat_changes"):
            Store(path)
    assert list((path.parent / backup.FOLDER).iterdir()) == []
    assert content_of(path) == {**before, "coat_changes": []}


def test_the_last_few_copies_are_kept(path, tmp_path):
    for upgrade in range(KEPT + 2):
        old = tmp_path / f"{upgrade}" / path.name
        write_old(old, 2)
        path.parent.mkdir(exist_ok=True)
        old.rename(path)
        Store(path).close()
    copies = list((path.parent / backup.FOLDER).iterdir())
    assert len(copies) == KEPT
    assert all(examine(copy).version == 2 for copy in copies)
