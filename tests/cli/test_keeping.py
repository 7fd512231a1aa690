"""`dryspell backup` and `dryspell restore`, as a person calls them."""

import json
import stat
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime

import pytest

from dryspell.cli import main
from dryspell.outlook.model import Coat
from dryspell.store.backup import examine
from dryspell.store.lock import DaemonLock
from dryspell.store.store import FILE_NAME, open_store
from store.olden import write_old
from yard import TEXT

NOW = "2026-06-03T08:00Z"
AT = datetime(2026, 6, 3, 8, tzinfo=UTC)


@pytest.fixture
def config(tmp_path, monkeypatch):
    monkeypatch.delenv("DRYSPELL_STATE", raising=False)
    file = tmp_path / "yard.toml"
    file.write_text(TEXT.format(state=tmp_path / "state", more=""))
    return file


def put_on(tmp_path, number):
    with closing(open_store(tmp_path / "state")) as store:
        store.add_coat(Coat(piece="rail", number=number, finished_at=AT, recorded_at=AT))


def run(config, *arguments):
    return main([*arguments, "--config", str(config), "--now", NOW])


def test_into_a_folder_a_copy_is_called_by_its_version_and_instant(config, tmp_path, capsys):
    put_on(tmp_path, 4)
    stick = tmp_path / "stick"
    stick.mkdir()
    assert run(config, "backup", str(stick)) == 0
    (copy,) = stick.iterdir()
    assert copy.name == f"dryspell-v{examine(copy).version}-20260603T080000Z.sqlite3"
    assert "1 coat and 0 messages; read through and whole" in capsys.readouterr().out
    assert stat.S_IMODE((tmp_path / "state" / "last-backup.json").stat().st_mode) == 0o600


def test_a_second_copy_of_the_same_name_is_refused(config, tmp_path, capsys):
    put_on(tmp_path, 4)
    assert run(config, "backup", str(tmp_path / "kept.sqlite3")) == 0
    put_on(tmp_path, 5)
    assert run(config, "backup", str(tmp_path / "kept.sqlite3")) == 2
    assert "is there already and is not overwritten" in capsys.readouterr().err
    assert examine(tmp_path / "kept.sqlite3").counts["coats"] == 1


def test_a_copy_is_put_back_and_what_it_replaces_is_named(config, tmp_path, capsys):
    put_on(tmp_path, 4)
    run(config, "backup", str(tmp_path / "kept.sqlite3"), "--json")
    made = json.loads(capsys.readouterr().out)
    assert (made["schema"], made["rows"]["coats"]) == ("dryspell.backup/1", 1)
    put_on(tmp_path, 5)
    assert run(config, "restore", str(tmp_path / "kept.sqlite3"), "--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["schema"], told["rows"]["coats"]) == ("dryspell.restore/1", 1)
    assert examine(tmp_path / "state" / FILE_NAME).counts["coats"] == 1
    assert run(config, "restore", told["kept"]) == 0
    assert examine(tmp_path / "state" / FILE_NAME).counts["coats"] == 2


def test_nothing_is_put_back_under_a_running_daemon(config, tmp_path, capsys):
    put_on(tmp_path, 4)
    run(config, "backup", str(tmp_path / "kept.sqlite3"))
    put_on(tmp_path, 5)
    with DaemonLock(tmp_path / "state"):
        assert run(config, "restore", str(tmp_path / "kept.sqlite3")) == 2
    assert "stop that one first" in capsys.readouterr().err
    assert examine(tmp_path / "state" / FILE_NAME).counts["coats"] == 2


def test_a_copy_of_an_older_version_is_put_back_and_then_brought_up(config, tmp_path, capsys):
    write_old(tmp_path / "old.sqlite3", 4)
    assert run(config, "restore", str(tmp_path / "old.sqlite3")) == 0
    assert "its version is 4: the next command that opens it brings it to" in capsys.readouterr().out
    with closing(open_store(tmp_path / "state")) as store:
        assert [coat.number for coat in store.laid("piece 1")] == [1]


def test_without_a_state_there_is_nothing_to_copy(config, tmp_path, capsys):
    assert run(config, "backup", str(tmp_path)) == 2
    assert "there is no such file" in capsys.readouterr().err
    assert not (tmp_path / "state").exists()


def test_a_copy_is_made_beside_a_process_that_holds_the_state_and_writes(config, tmp_path):
    put_on(tmp_path, 4)
    code = (
        "import sys, time; from pathlib import Path; from dryspell.store.lock import DaemonLock\n"
        "from dryspell.store.store import open_store\n"
        "lock = DaemonLock(Path(sys.argv[1])); store = open_store(Path(sys.argv[1])); n = 0\n"
        "print('up', flush=True)\n"
        "while True:\n"
        "    n += 1\n"
        "    with store._transaction() as c:\n"
        "        c.execute('INSERT INTO alert_memory VALUES (?, ?)', (f'a{n}', 'x' * 2000))\n"
        "        c.execute('INSERT INTO alert_memory VALUES (?, ?)', (f'b{n}', 'x' * 2000))\n"
    )
    writer = subprocess.Popen([sys.executable, "-c", code, tmp_path / "state"], stdout=subprocess.PIPE, text=True)
    try:
        assert writer.stdout.readline() == "up\n"
        for copy in range(3):
            assert run(config, "backup", str(tmp_path / f"{copy}.sqlite3")) == 0
    finally:
        writer.kill()
        writer.wait()
        writer.stdout.close()
    for copy in range(3):
        with closing(open_store_at(tmp_path / f"{copy}.sqlite3")) as store:
            assert len(store.memory()) % 2 == 0


def open_store_at(path):
    from dryspell.store import Store

    return Store(path)
