"""All ways at once, as the daemon begins and ends them."""

import requests

from dryspell.clock import SystemClock
from dryspell.weather.sensors.backoff import Backoff
from dryspell.weather.sensors.model import Broker, Followed, Mqtt, Poll, PushDoor, Pushed
from dryspell.weather.sensors.push_server import PushServer
from dryspell.weather.sensors.receivers import Receivers
from weather.sensors.bench import sensor, until
from weather.sensors.small_broker import SmallBroker


def test_sensors_of_every_way_are_begun_and_ended_together(tmp_path, sink):
    log = tmp_path / "readings.csv"
    log.write_text("time,t\n2026-06-01T12:00Z,3\n")
    broker = SmallBroker().start()
    sensors = [
        sensor("mast", Mqtt(broker="house", topic="mast/climate"), air_temperature="t"),
        sensor("gate", Pushed(), air_temperature="t"),
        sensor("logger", Followed(path=log), air_temperature="t", time={"path": "time"}),
        sensor("shed", Poll(url="http://127.0.0.1:9/"), air_temperature="t"),  # the discard port: nobody listens there
    ]
    receivers = Receivers(
        {each.key: each for each in sensors},
        {"house": Broker(key="house", host="127.0.0.1", port=broker.port, tls=False)},
        PushDoor(listen="127.0.0.1:0", token="correct horse battery"),
        tmp_path / "state",
        SystemClock(),
    )
    receivers.start(sink)
    until(lambda: broker.online and any(session.filters for session in broker.sessions.values()))
    broker.publish("mast/climate", '{"t": 1}')
    (door,) = [way for way in receivers._ways if isinstance(way, PushServer)]
    until(lambda: door.port)
    answer = requests.post(
        f"http://127.0.0.1:{door.port}/v1/readings/gate?t=2",
        headers={"Authorization": "Bearer correct horse battery"},
        timeout=20,
    )
    assert answer.status_code == 200
    sink.wait_for(1, 2, 3)
    assert {each.sensor for each in sink.readings} == {"mast", "gate", "logger"}
    assert receivers.stop(10)
    broker.stop()


def test_without_sensors_nothing_is_begun(tmp_path, sink):
    receivers = Receivers({}, {}, None, tmp_path / "state", SystemClock())
    receivers.start(sink)
    assert receivers.stop()
    assert not (tmp_path / "state").exists()


def test_what_is_wrong_can_be_asked_for(tmp_path, sink):
    log = sensor("logger", Followed(path=tmp_path / "none.csv"), air_temperature="t", time={"path": "time"})
    receivers = Receivers({"logger": log}, {}, None, tmp_path / "state", SystemClock())
    receivers.start(sink)
    until(receivers.troubles)
    assert receivers.troubles() == {"logger file": f"sensor logger: {tmp_path}/none.csv: is not there yet"}
    assert receivers.stop(10)


def test_waits_grow_to_the_longest_and_begin_anew():
    backoff = Backoff(1.0, 10.0, lambda: 1.0)
    assert [backoff.wait_s() for _ in range(6)] == [1, 2, 4, 8, 10, 10]
    backoff.reset()
    assert backoff.wait_s() == 1
    assert all(0.5 <= Backoff().wait_s() <= 1 for _ in range(50))
