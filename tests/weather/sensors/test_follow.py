"""Growing files: whole lines once each, over restarts and every kind of rotation."""

import os
import shutil

import pytest

from dryspell.weather.sensors.follow import CHUNK, FollowWay
from dryspell.weather.sensors.intake import Intake
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Followed
from weather.sensors.bench import sensor

HEADER = "time,temperature,rain\n"


@pytest.fixture
def file(tmp_path):
    return tmp_path / "log" / "readings.csv"


@pytest.fixture
def daemon(file, tmp_path, sink, notices):
    """Start anew on the same state, as after a restart: look until there is nothing new."""
    file.parent.mkdir()

    def start(**how):
        followed = Followed.model_validate({"path": file, "format": "csv"} | how)
        path = "temperature" if followed.format == "csv" else "data.t"
        one = sensor("logger", followed, air_temperature=path, time={"path": "time"})
        memory = Memory(tmp_path / "state")
        way = FollowWay("logger", followed, Intake({"logger": one}, sink, memory, notices), memory, notices)

        def look(times=4):  # as many as a rotation is given time for
            for _ in range(times):
                while way.look():
                    pass
            return sink.values

        return look

    return start


def row(number):
    return f"2026-06-01T{number // 60 % 24:02}:{number % 60:02}Z,{number},0\n"


def rows(*numbers):
    return "".join(map(row, numbers))


def add(file, text):
    with file.open("a") as out:
        out.write(text)


def test_new_lines_are_read_as_they_come(daemon, file):
    look = daemon()
    assert look() == []  # not there yet
    add(file, HEADER + rows(1, 2))
    assert look() == [1, 2]
    add(file, rows(3))
    assert look() == [1, 2, 3]
    assert look() == [1, 2, 3]


def test_a_line_is_left_until_it_is_whole(daemon, file):
    look = daemon()
    add(file, "# of the logger in the shed\ntime,tem")
    assert look() == []
    add(file, "perature,rain\n" + rows(1) + "2026-06-01T00:02Z,2")
    assert look() == [1]
    add(file, "1.5,0\n")
    assert look() == [1, 21.5]


def test_after_a_restart_it_goes_on_where_it_was(daemon, file, sink):
    add(file, HEADER + rows(1, 2))
    daemon()()
    add(file, rows(3, 4))
    assert daemon()() == [1, 2, 3, 4]
    assert [reading.at.minute for reading in sink.readings] == [1, 2, 3, 4]


def test_lines_whose_readings_could_not_be_kept_are_read_again(daemon, file, sink):
    look = daemon()
    add(file, HEADER + rows(1, 2))
    sink.refuses = True
    assert look() == []
    sink.refuses = False
    assert look() == [1, 2]


@pytest.mark.parametrize("restart", [False, True])
def test_a_file_that_was_renamed_is_read_to_its_end_and_then_the_new_one(daemon, file, restart):
    look = daemon()
    add(file, HEADER + rows(1, 2))
    look()
    add(file, rows(3))
    file.rename(file.with_name("readings.csv.1"))
    add(file, HEADER + rows(4))
    look = daemon() if restart else look
    assert look() == [1, 2, 3, 4]
    add(file, rows(5))
    assert look() == [1, 2, 3, 4, 5]


def test_the_writer_may_go_on_in_a_renamed_file_for_a_moment(daemon, file):
    look = daemon()
    add(file, HEADER + rows(1))
    look()
    file.rename(file.with_name("readings.csv.1"))
    file.write_text("")
    assert look(1) == [1]
    add(file.with_name("readings.csv.1"), rows(2))
    assert look(1) == [1, 2]
    add(file, HEADER + rows(3))
    assert look() == [1, 2, 3]


def test_between_renaming_and_the_new_file_nothing_is_lost(daemon, file):
    look = daemon()
    add(file, HEADER + rows(1))
    look()
    add(file, rows(2))
    file.rename(file.with_name("readings-20260601.csv"))
    assert look() == [1]
    add(file, HEADER + rows(3))
    assert look() == [1, 2, 3]


@pytest.mark.parametrize("restart", [False, True])
def test_a_file_that_was_copied_and_truncated_is_read_to_its_end_in_the_copy(daemon, file, restart):
    look = daemon()
    add(file, HEADER + rows(1, 2))
    look()
    add(file, rows(3))
    shutil.copy(file, file.with_name("readings.csv.1"))
    os.truncate(file, 0)
    add(file, HEADER + rows(4, 5, 6, 7))  # as long as before, and longer
    look = daemon() if restart else look
    assert look() == [1, 2, 3, 4, 5, 6, 7]
    add(file, rows(8))
    assert look() == [1, 2, 3, 4, 5, 6, 7, 8]


def test_a_file_that_was_truncated_without_a_copy_is_read_from_its_beginning(daemon, file):
    look = daemon()
    add(file, HEADER + rows(1, 2, 3))
    look()
    file.write_text(HEADER + rows(4))
    assert look() == [1, 2, 3, 4]


def test_a_file_put_in_its_place_with_the_same_beginning_is_read_on(daemon, file):
    look = daemon()
    add(file, HEADER + rows(1, 2))
    look()
    shutil.copy(file, file.with_name("readings.csv.bak"))
    part = file.with_name("part")
    part.write_text(HEADER + rows(1, 2, 3))
    part.replace(file)
    assert look() == [1, 2, 3]


def test_an_inode_given_to_another_file_does_not_pass_for_the_old_one(daemon, file):
    look = daemon()
    add(file, HEADER + rows(1, 2))
    look()
    inode = file.stat().st_ino
    with file.open("r+") as same:  # what a file system does that gives the number out again at once
        same.write(HEADER + rows(5, 6, 7, 8))
    assert file.stat().st_ino == inode
    assert look() == [1, 2, 5, 6, 7, 8]


def test_json_lines_are_read_too(daemon, file, logged):
    look = daemon(format="jsonl")
    add(file, '{"time": "2026-06-01T00:01Z", "data": {"t": 1}}\n\x00\x00\x00\n{"time": "2026-06')
    assert look() == [1]
    add(file, '-01T00:02Z", "data": {"t": 2}}\nnot json at all\n{"time": "2026-06-01T00:03Z", "data": {"t": 3}}\n')
    assert look() == [1, 2, 3]
    assert "there is no time, its time, in the payload, which is not JSON" in logged.text


def test_columns_may_be_named_where_there_is_no_header(daemon, file):
    look = daemon(columns=["time", "temperature", "rain"], separator=";")
    add(file, "2026-06-01T00:01Z;21,5;0\n2026-06-01T00:02Z;-1,5;0\n")
    assert look() == [21.5, -1.5]
    os.truncate(file, 0)
    add(file, "2026-06-01T00:03Z;3;0\n")
    assert look() == [21.5, -1.5, 3]


@pytest.mark.parametrize(("separator", "sign"), [("tab", "\t"), ("space", " ")])
def test_fields_may_be_parted_by_blanks(daemon, file, separator, sign):
    add(file, HEADER.replace(",", sign) + row(1).replace(",", sign) + f'"2026-06-01T00:02Z"{sign}2{sign}0\n')
    assert daemon(separator=separator)() == [1, 2]


def test_a_column_that_is_not_there_is_said(daemon, file, logged):
    add(file, "time,temp\n2026-06-01T00:01Z,5\n")
    assert daemon()() == []
    assert "sensor logger: air_temperature: there is no temperature in the payload" in logged.text


@pytest.mark.parametrize("lines", ['"2026\n', "\x00" * 50 + "\n", ",,,,\n", "\n\n", "a\rb\n", "2026-06-01T00:02Z\n"])
def test_lines_that_are_none_are_left_out(daemon, file, lines):
    add(file, HEADER + rows(1) + lines + rows(3))
    assert daemon()() == [1, 3]


def test_a_line_without_end_is_left_out(daemon, file, logged):
    add(file, HEADER + rows(1) + "x" * (CHUNK + 100) + "\n" + rows(2))
    assert daemon()() == [1, 2]
    assert "a line without end" in logged.text


def test_a_long_file_is_read_in_pieces(daemon, file, sink):
    add(file, HEADER + rows(*range(20_000)))
    assert daemon()() == list(range(20_000))
    assert sink.calls > 1


def test_a_file_that_cannot_be_read_is_said_once_and_tried_again(daemon, file, logged):
    look = daemon()
    file.mkdir()
    look()
    assert logged.text.count("readings.csv: Is a directory") == 1
    file.rmdir()
    add(file, HEADER + rows(1))
    assert look() == [1]
    assert "readings.csv can be read again" in logged.text


def test_two_sensors_may_follow_one_file(file, sink, memory, notices):
    file.parent.mkdir()
    add(file, HEADER + rows(1))
    followed = Followed(path=file)
    sensors = {
        key: sensor(key, followed, air_temperature="temperature", time={"path": "time"})
        for key in ("indoors", "outdoors")
    }
    intake = Intake(sensors, sink, memory, notices)
    for key in sensors:
        assert FollowWay(key, followed, intake, memory, notices).look()
    assert [each.sensor for each in sink.readings] == ["indoors", "outdoors"]


def test_the_thread_follows_until_it_is_told_to_stop(file, sink, memory, notices):
    file.parent.mkdir()
    followed = Followed(path=file)
    one = sensor("logger", followed, air_temperature="temperature", time={"path": "time"})
    way = FollowWay(
        "logger", followed, Intake({"logger": one}, sink, memory, notices), memory, notices, look_every_s=0.01
    )
    way.start()
    add(file, HEADER + rows(1))
    sink.wait_for(1)
    add(file, rows(2))
    sink.wait_for(2)
    way.stop()
    assert way.wait(5)
