"""The broker goes away under the real daemon: said once, told by `status`, and nothing that it had accepted is lost.

What a broker and the way of MQTT do at every such turn is in tests/weather/sensors/test_mosquitto.py.
"""

import time

import pytest

from faults.test_faults import Yard, holds, put_on, receiver, wait_until
from weather.sensors.test_mosquitto import MOSQUITTO, Mosquitto, Publisher

__all__ = ["receiver"]  # a fixture

SENSOR = """
[broker.house]
host = "127.0.0.1"
port = {port}
tls = false
[sensor.mast]
mqtt = {{ topic = "mast" }}
read.air_temperature = {{ path = "t", unit = "degC" }}
"""

pytestmark = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed (Debian: apt install mosquitto)")


def test_a_broker_that_stops_and_comes_back_is_said_once_each_and_ticks_go_on(tmp_path, receiver):
    folder = tmp_path / "mosquitto"
    folder.mkdir(mode=0o700)
    broker = Mosquitto(folder).start()
    yard = Yard(tmp_path, receiver.url)
    yard.config.write_text(yard.config.read_text().replace("[daemon]", SENSOR.format(port=broker.port) + "[daemon]"))

    def heard():
        return yard.status()["sensors"][0]["last_at"]

    try:
        yard.start()
        held = put_on(yard)
        with Publisher(broker.port, "mast") as publisher:
            publisher.publish(20, retain=True)
        wait_until(lambda: yard.status()["sensors"])
        broker.stop()
        yard.daemon.wait_for("tried again until it goes well")
        before = yard.status()["daemon"]["last_tick_at"]
        wait_until(lambda: yard.status()["daemon"]["last_tick_at"] > before)
        time.sleep(3)  # some tries to connect again
        assert yard.status()["daemon"]["word"] == "good"
        broker.start()
        yard.daemon.wait_for("): connected")
        with Publisher(broker.port, "mast") as publisher:
            publisher.publish(21)
            wait_until(heard)
        # That it was lost, and that nobody listens: once each, however often it was tried.
        assert yard.counted("tried again until it goes well") <= 2, yard.daemon.log
        assert holds(yard, held)
    finally:
        yard.close()
        if broker.process.poll() is None:
            broker.stop()
