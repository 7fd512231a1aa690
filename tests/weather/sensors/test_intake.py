"""The way in: nothing is taken for kept that was not."""

import pytest

from dryspell.weather.sensors.decode import Arrival
from dryspell.weather.sensors.intake import NotKeptError
from weather.sensors.bench import NOON, sensor


def test_readings_of_several_payloads_go_on_together(make_intake, sink):
    intake = make_intake(sensor("a", air_temperature="t"), sensor("b", air_temperature="t"))
    taken = intake.take([Arrival("a", b'{"t": 1}', NOON), Arrival("b", b'{"t": 2}', NOON), Arrival("a", b"\xff", NOON)])
    assert (taken.readings, taken.problems) == (2, ("the payload is not text in UTF-8",))
    assert [(each.sensor, each.value) for each in sink.readings] == [("a", 1), ("b", 2)]
    assert sink.calls == 1


def test_payloads_without_readings_trouble_nobody(make_intake, sink):
    assert make_intake(sensor(air_temperature="t")).take([Arrival("mast", b'{"t": null}', NOON)]).readings == 0
    assert sink.calls == 0


def test_what_cannot_be_kept_is_said_once_and_taken_in_again(make_intake, sink, logged):
    intake = make_intake(sensor(precipitation_amount={"path": "n", "unit": "mm", "kind": "counter"}))
    intake.take([Arrival("mast", b'{"n": 1}', NOON)])
    sink.refuses = True
    second = Arrival("mast", b'{"n": 3}', NOON.replace(minute=1))
    for _ in range(3):
        with pytest.raises(NotKeptError, match="taken in again later: the state cannot be written: the disk is full"):
            intake.take([second])
    assert len(logged.records) == 1
    sink.refuses = False
    intake.take([second])
    assert sink.values == [2]  # the rain of that minute, once
    assert "readings are kept again" in logged.text


def test_once_closed_nothing_more_is_taken_in(make_intake, sink):
    intake = make_intake(sensor(air_temperature="t"))
    assert intake.close(1)
    with pytest.raises(NotKeptError, match="the daemon is leaving"):
        intake.take([Arrival("mast", b'{"t": 1}', NOON)])
    assert sink.calls == 0


def test_a_sink_that_breaks_is_no_end(memory, notices, logged):
    from dryspell.weather.sensors.intake import Intake

    def breaks(_readings):
        raise ZeroDivisionError

    intake = Intake({"mast": sensor(air_temperature="t")}, breaks, memory, notices)
    for _ in range(2):
        with pytest.raises(NotKeptError):
            intake.take([Arrival("mast", b'{"t": 1}', NOON)])
    assert logged.text.count("Traceback") == 1
