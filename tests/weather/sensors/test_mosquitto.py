"""The same against mosquitto, a broker that others wrote: what it accepted is not lost, whoever stops and starts."""

import os
import pwd
import shutil
import socket
import subprocess
from contextlib import contextmanager

import paho.mqtt.client as paho
import pytest
import trustme
from paho.mqtt.enums import CallbackAPIVersion

from dryspell.clock import SystemClock
from dryspell.weather.sensors.model import Broker, Mqtt
from dryspell.weather.sensors.receivers import Receivers
from weather.sensors.bench import sensor, until

MOSQUITTO = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")

pytestmark = pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed (Debian: apt install mosquitto)")


class Mosquitto:
    """A broker with everything it keeps in a folder of its own."""

    def __init__(self, folder, *settings):
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self.config = folder / "mosquitto.conf"
        lines = [
            f"user {pwd.getpwuid(os.getuid()).pw_name}",
            "persistence true",
            f"persistence_location {folder}/",
            f"listener {self.port} 127.0.0.1",
            *(settings or ["allow_anonymous true"]),
        ]
        self.config.write_text("\n".join(lines) + "\n")
        self.process = None

    def start(self):
        self.process = subprocess.Popen(
            [MOSQUITTO, "-c", self.config], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        until(lambda: listens(self.port))
        return self

    def stop(self):
        """End it as an update of the system does: it writes down what it keeps."""
        self.process.terminate()
        assert self.process.wait(20) == 0


def listens(port):
    with socket.socket() as sock:
        return sock.connect_ex(("127.0.0.1", port)) == 0


@pytest.fixture
def start_broker(tmp_path):
    """Start a broker with some settings."""
    brokers = []

    def start(*settings):
        folder = tmp_path / "mosquitto"
        folder.mkdir(mode=0o700)
        brokers.append(Mosquitto(folder, *settings))
        return brokers[0].start()

    yield start
    for broker in brokers:
        if broker.process.poll() is None:
            broker.stop()


@pytest.fixture
def broker(start_broker):
    return start_broker()


@pytest.fixture
def daemon(tmp_path, sink):
    """Begin to take in readings from a port, on the state of this test."""
    running = []

    def start(port, *sensors, **how):
        house = Broker.model_validate({"key": "house", "host": "localhost", "port": port, "tls": False} | how)
        sensors = sensors or (mast(),)
        receivers = Receivers(
            {each.key: each for each in sensors}, {"house": house}, None, tmp_path / "state", SystemClock()
        )
        running.append(receivers)
        receivers.start(sink)
        return receivers

    yield start
    for receivers in running:
        assert receivers.stop(10)


def mast(topic="mast/+"):
    own = {"path": "ts", "format": "unix"}
    return sensor("mast", Mqtt(broker="house", topic=topic), air_temperature="t", time=own)


class Publisher:
    """Publishes numbers, and knows which of them the broker has accepted: those it acknowledged."""

    def __init__(self, port, topic="mast/climate"):
        self._topic = topic
        self._sent = {}
        self._client = paho.Client(CallbackAPIVersion.VERSION2)
        self._client.connect("127.0.0.1", port)
        self._client.loop_start()
        until(self._client.is_connected)

    def publish(self, *numbers, retain=False):
        for number in numbers:
            payload = f'{{"t": {number}, "ts": {1780315200 + number}}}'
            self._sent[number] = self._client.publish(self._topic, payload, 1, retain)

    @property
    def accepted(self):
        return {number for number, info in self._sent.items() if info.is_published()}

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self._client.disconnect()
        self._client.loop_stop()


def publish(port, *numbers, **how):
    """Publish numbers, and come back when the broker has accepted all of them."""
    with Publisher(port) as publisher:
        publisher.publish(*numbers, **how)
        until(lambda: len(publisher.accepted) == len(numbers))


def connect(port, sink):
    """Come back when the daemon reads from the broker: a retained message comes in as soon as it has subscribed."""
    publish(port, -1, retain=True)
    sink.wait_for(-1)


def test_nothing_is_lost_when_the_broker_stops_and_starts_in_mid_stream(broker, daemon, sink):
    daemon(broker.port)
    connect(broker.port, sink)
    with Publisher(broker.port) as publisher:
        publisher.publish(*range(100))
        sink.wait(lambda me: len(me.readings) > 20)
        sink.refuses = True  # so that some are on their way and none is acknowledged when the broker goes
        publisher.publish(*range(100, 300))
        until(lambda: len(publisher.accepted) > 150)
        broker.stop()
        accepted = publisher.accepted
    sink.refuses = False
    broker.start()
    publish(broker.port, *range(1000, 1050))
    sink.wait_for(*accepted, *range(1000, 1050))
    assert all(each.at.timestamp() - 1780315200 == each.value for each in sink.readings)


def test_nothing_is_lost_while_the_daemon_is_down(broker, daemon, sink):
    receivers = daemon(broker.port)
    connect(broker.port, sink)
    assert receivers.stop(10)
    publish(broker.port, *range(500))
    daemon(broker.port)
    sink.wait_for(*range(500))


def test_nothing_is_lost_while_both_are_down_one_after_the_other(broker, daemon, sink):
    receivers = daemon(broker.port)
    connect(broker.port, sink)
    assert receivers.stop(10)
    publish(broker.port, *range(50))
    broker.stop()
    broker.start()
    publish(broker.port, *range(50, 100))
    daemon(broker.port)
    sink.wait_for(*range(100))


def test_a_retained_message_without_a_time_is_no_fresh_reading(broker, daemon, sink):
    with Publisher(broker.port, "old/climate") as publisher:
        publisher.publish(30, retain=True)
        until(lambda: publisher.accepted)
    publish(broker.port, 1, retain=True)
    daemon(broker.port, mast(), sensor("old", Mqtt(broker="house", topic="old/#"), air_temperature="t"))
    sink.wait_for(1)
    with Publisher(broker.port, "old/climate") as publisher:
        publisher.publish(31)
        sink.wait_for(31)
    assert [each.value for each in sink.readings if each.sensor == "old"] == [31]


@pytest.fixture
def passwords(tmp_path):
    """A file of users: dryspell, whose password is right-hunter2."""
    file = tmp_path / "passwords"
    file.touch(0o600)
    subprocess.run(["mosquitto_passwd", "-b", file, "dryspell", "right-hunter2"], check=True, timeout=60)
    return file


def test_a_wrong_password_is_said_and_a_right_one_lets_in(start_broker, passwords, daemon, sink, logged):
    broker = start_broker("allow_anonymous false", f"password_file {passwords}")
    daemon(broker.port, user="dryspell", password="wrong-hunter2")
    until(lambda: "refuses user dryspell: not authorized; tried again until it goes well" in logged.text)
    assert "hunter2" not in logged.text
    logged.clear()
    daemon(broker.port, user="dryspell", password="right-hunter2")
    with paho_user(broker.port) as client:
        until(client.is_connected)
        client.publish("mast/climate", '{"t": 7, "ts": 1780315207}', 1, retain=True)
        sink.wait_for(7)


@contextmanager
def paho_user(port):
    client = paho.Client(CallbackAPIVersion.VERSION2)
    client.username_pw_set("dryspell", "right-hunter2")
    client.connect("127.0.0.1", port)
    client.loop_start()
    yield client
    client.disconnect()
    client.loop_stop()


def test_an_encrypted_connection_with_certificates_on_both_sides(start_broker, tmp_path, daemon, sink, logged):
    authority = trustme.CA()
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    theirs, ours = authority.issue_cert("localhost"), authority.issue_cert("dryspell.example")
    theirs.cert_chain_pems[0].write_to_path(tmp_path / "cert.pem")
    theirs.private_key_pem.write_to_path(tmp_path / "key.pem")
    ours.private_key_and_cert_chain_pem.write_to_path(tmp_path / "ours.pem")
    with socket.create_server(("127.0.0.1", 0)) as free:
        plain = free.getsockname()[1]
    broker = start_broker(
        "allow_anonymous true",
        f"cafile {tmp_path}/ca.pem",
        f"certfile {tmp_path}/cert.pem",
        f"keyfile {tmp_path}/key.pem",
        "require_certificate true",
        f"listener {plain} 127.0.0.1",
    )
    until(lambda: listens(plain))
    daemon(broker.port, tls=True, ca_file=tmp_path / "ca.pem", cert_file=tmp_path / "ours.pem")
    publish(plain, *range(100), retain=True)
    sink.wait_for(99)
    daemon(broker.port, tls=True)
    until(lambda: "its certificate cannot be trusted" in logged.text)
