"""The small file of what has to be known again."""

import json

import pytest

from dryspell.weather.sensors.memory import NAME, Memory


def test_what_was_put_is_there_after_a_restart(tmp_path):
    Memory(tmp_path / "state").put("a", [1, "x"])
    assert Memory(tmp_path / "state").get("a") == [1, "x"]
    assert Memory(tmp_path / "state").get("b") is None


def test_only_its_owner_can_read_the_file(tmp_path):
    Memory(tmp_path).put("a", 1)
    assert (tmp_path / NAME).stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("text", ["", "{", "[1]", "null", "\x00", "[" * 100_000])
def test_a_damaged_file_is_begun_anew(tmp_path, text):
    (tmp_path / NAME).write_text(text)
    memory = Memory(tmp_path)
    assert memory.get("a") is None
    memory.put("a", 1)
    assert json.loads((tmp_path / NAME).read_text()) == {"a": 1}


def test_where_the_file_cannot_be_written_values_are_kept_until_the_restart(tmp_path, logged):
    (tmp_path / "state").write_text("a file where the folder should be")
    memory = Memory(tmp_path / "state")
    memory.put("a", 1)
    assert memory.get("a") == 1
    assert "sensors.json cannot be" in logged.text


def test_the_name_of_the_session_stays_and_is_one_that_every_broker_takes(tmp_path):
    name = Memory(tmp_path).client_id("house")
    assert Memory(tmp_path).client_id("house") == name
    # MQTT 3.1.1, section 3.1.3.1: letters and digits, 23 at the most, have to be taken.
    assert len(name.encode()) <= 23
    assert name != Memory(tmp_path / "elsewhere").client_id("house")
    assert name != Memory(tmp_path).client_id("yard")  # two keys may be one broker, which would throw out the other
