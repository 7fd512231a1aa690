"""A configuration that is changed while a daemon runs on it."""

import pytest

from dryspell.alerts.configuration import compose_config
from dryspell.alerts.kinds import ConfigKind
from dryspell.config.watch import ConfigWatch
from dryspell.errors import ConfigError
from yard import TEXT


@pytest.fixture
def file(tmp_path):
    file = tmp_path / "yard.toml"
    file.write_text(TEXT.format(state=tmp_path / "state", more=""))
    return file


@pytest.fixture
def watch(file):
    watch = ConfigWatch(file)
    watch.load()
    return watch


def test_a_file_that_stays_as_it_is_asks_for_nothing(watch, file):
    file.touch()
    assert [watch.look() for _ in range(3)] == [None, None, None]
    assert watch.problem == ""


def test_a_change_counts_when_the_file_is_the_same_at_two_looks(watch, file):
    good = file.read_text()
    file.write_text(good[: len(good) // 2])  # an editor is half through
    assert watch.look() is None
    file.write_text(f"{good}\ndaemon.tick = '2 min'\n")
    assert (watch.look(), watch.problem) == (None, "")
    assert watch.look().daemon.tick_s == 120
    assert watch.look() is None


def test_a_change_with_a_fault_is_told_and_one_that_is_good_again_is_taken(watch, file):
    good = file.read_text()
    file.write_text("this is [no TOML")
    assert [watch.look(), watch.look()] == [None, None]
    assert "not TOML" in watch.problem
    file.unlink()
    assert [watch.look(), watch.look()] == [None, None]
    assert "there is no such file" in watch.problem
    file.write_text(good)
    assert watch.look() is None
    assert watch.look() is not None
    assert watch.problem == ""


def test_whoever_asks_is_answered_at_once(watch, file):
    file.write_text(f"{file.read_text()}\ndaemon.tick = '2 min'\n")
    assert watch.look(at_once=True).daemon.tick_s == 120


def test_a_configuration_that_is_not_good_at_the_start_is_an_error(file):
    file.write_text("")
    with pytest.raises(ConfigError, match="site"):
        ConfigWatch(file).load()


def test_one_is_found_in_the_usual_places(file, monkeypatch):
    monkeypatch.setenv("DRYSPELL_CONFIG", str(file))
    watch = ConfigWatch(None)
    assert watch.load().file == file
    file.write_text(f"{file.read_text()}\ndaemon.tick = '2 min'\n")
    assert watch.look(at_once=True).daemon.tick_s == 120


def test_of_many_problems_a_few_are_told():
    title, body = compose_config(ConfigKind.REFUSED, "\n".join(f"x: a{n} is wrong" for n in range(9)), "id1")
    assert title == "The changed configuration has a fault"
    assert body.count("is wrong") == 3
    assert "and 6 more: `dryspell check` tells." in body
    assert body.endswith("[id1]")
