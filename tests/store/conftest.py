import pytest

from dryspell.store import Store


@pytest.fixture
def path(tmp_path):
    return tmp_path / "state" / "dryspell.sqlite3"


@pytest.fixture
def store(path):
    with_file = Store(path)
    yield with_file
    with_file.close()
