"""Whether a broker lets us in, asked once, against a broker in this process."""

import socket
import ssl

import pytest
import trustme

from dryspell.weather.sensors.model import Broker
from dryspell.weather.sensors.mqtt_try import try_broker
from weather.sensors.small_broker import SmallBroker


@pytest.fixture
def broker():
    broker = SmallBroker().start()
    yield broker
    broker.stop()


def settings(port, **how):
    return Broker.model_validate({"key": "house", "host": "127.0.0.1", "port": port, "tls": False} | how)


def test_a_broker_that_lets_us_in_is_well_and_keeps_nothing_of_it(broker):
    assert try_broker(settings(broker.port)) == ""
    ((client, clean, _),) = broker.connects
    assert clean
    assert len(client) <= 23  # MQTT 3.1.1, section 3.1.3.1: what every broker takes
    assert not any(session.filters for session in broker.sessions.values())


def test_the_wrong_password_and_none_are_told(broker):
    broker.users = {"dryspell": "hunter2"}
    assert try_broker(settings(broker.port, user="dryspell", password="hunter2")) == ""
    said = try_broker(settings(broker.port, user="dryspell", password="swordfish"))
    assert said == "refuses user dryspell: bad user name or password"
    assert try_broker(settings(broker.port)) == "refuses us without a user: not authorized"


def test_a_certificate_that_is_not_trusted_is_told(broker):
    authority = trustme.CA()
    broker.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(broker.context)
    assert try_broker(settings(broker.port, tls=True)).startswith("its certificate cannot be trusted: ")


def test_nobody_there_and_somebody_who_does_not_speak_mqtt_are_told():
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
        assert try_broker(settings(port), within_s=0.2) == "does not answer"
    assert try_broker(settings(port)) == "nobody listens there"
    cut = SmallBroker().start()
    cut.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)  # it will want a handshake that does not come
    assert try_broker(settings(cut.port)) == "hung up before it let us in"
    cut.stop()
