"""One broker and its sensors, against a broker in this process that can be told to misbehave."""

import socket
import ssl
import threading

import pytest
import trustme

from dryspell.clock import FixedClock
from dryspell.weather.sensors import mqtt_connection
from dryspell.weather.sensors.backoff import Backoff
from dryspell.weather.sensors.intake import Intake
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Broker, Mqtt
from dryspell.weather.sensors.mqtt import BrokerWay
from dryspell.weather.sensors.mqtt_connection import Subscription
from weather.sensors.bench import NOON, sensor, until
from weather.sensors.small_broker import SmallBroker, matches

UNIX = {"path": "ts", "format": "unix"}


@pytest.fixture
def broker():
    broker = SmallBroker().start()
    yield broker
    broker.stop()


@pytest.fixture(autouse=True)
def _soon_idle(monkeypatch):
    monkeypatch.setattr(mqtt_connection, "IDLE_S", 0.05)


@pytest.fixture
def daemon(broker, tmp_path, sink, notices, clock):
    """Start the broker's sensors on the state of this test, and end them with it; returns the way and how to end it."""
    ways = []

    def start(*sensors, connected=True, at=None, **how):
        sensors = sensors or (timed(),)
        settings = Broker.model_validate({"key": "house", "host": "127.0.0.1", "port": broker.port, "tls": False} | how)
        memory = Memory(tmp_path / "state")
        intake = Intake({each.key: each for each in sensors}, sink, memory, notices)
        topics = [Subscription(each.key, each.way.topic) for each in sensors]
        way = BrokerWay(
            settings, topics, intake, memory, at or clock, notices, backoff=Backoff(0.02, 0.05, lambda: 1.0)
        )
        ways.append(way)
        way.start()
        if connected:
            until(lambda: broker.online and all(s.filters for s in broker.sessions.values()))
        return way

    yield start
    for way in ways:
        end(way)


def end(way):
    way.stop()
    assert way.wait(10)


def timed(key="mast", topic="mast/climate", **read):
    return sensor(key, Mqtt(broker="house", topic=topic), time=UNIX, **(read or {"air_temperature": "t"}))


def untimed(key="mast", topic="mast/climate"):
    return sensor(key, Mqtt(broker="house", topic=topic), air_temperature={})


def message(number):
    return f'{{"t": {number}, "ts": {1780315200 + number}}}'


def test_the_small_broker_matches_topics_as_the_standard_does():
    # The examples of MQTT 3.1.1, sections 4.7.1.2 and 4.7.1.3.
    game = "sport/tennis/player1"
    for topic in (game, game + "/ranking", game + "/score/wimbledon"):
        assert matches(game + "/#", topic)
    assert matches("sport/#", "sport")
    assert matches("sport/tennis/+", game)
    assert not matches("sport/tennis/+", game + "/ranking")
    assert not matches("sport/+", "sport")
    assert matches("sport/+", "sport/")
    assert matches("+/+", "/finance")
    assert matches("/+", "/finance")
    assert not matches("+", "/finance")


def test_readings_come_in_and_are_acknowledged_once_they_are_kept(broker, daemon, sink):
    daemon()
    broker.publish("mast/climate", message(1))
    broker.publish("elsewhere", message(2))
    sink.wait_for(1)
    assert [(each.sensor, (each.at - NOON).total_seconds()) for each in sink.readings] == [("mast", 1)]
    until(lambda: broker.acknowledged == [1])


def test_what_cannot_be_kept_is_not_acknowledged_and_comes_again(broker, daemon, sink, logged):
    daemon()
    sink.refuses = True
    for number in range(3):
        broker.publish("mast/climate", message(number))
    sink.wait(lambda me: me.calls >= 3)
    assert broker.acknowledged == []
    sink.refuses = False
    sink.wait_for(0, 1, 2)
    until(lambda: len(broker.acknowledged) == 3)
    assert logged.text.count("readings cannot be kept") == 1


def test_a_message_whose_acknowledgement_was_lost_comes_again(broker, daemon, sink):
    broker.breaks_before_ack = True
    daemon()
    broker.publish("mast/climate", message(1))
    until(lambda: broker.acknowledged)
    assert sink.values == [1, 1]  # known by its sensor, variable and instant: the second one does no harm
    assert broker.sent[-1][2]  # marked as sent again


def test_the_session_is_a_lasting_one_under_a_name_that_stays(broker, daemon, sink):
    end(daemon())
    for number in range(50):  # more than a broker has in flight at once
        broker.publish("mast/climate", message(number))
    daemon(connected=False)
    sink.wait_for(*range(50))
    assert sink.values == list(range(50))
    assert len(set(broker.connects)) == 1
    name, clean, _ = broker.connects[0]
    assert not clean
    assert name.startswith("dryspell-")


def test_the_broker_may_go_and_come_back_in_mid_stream(broker, daemon, sink, logged):
    daemon()
    broker.publish("mast/climate", message(1))
    sink.wait_for(1)
    broker.stop()
    broker.publish("mast/climate", message(2))
    until(lambda: "nobody listens there" in logged.text)
    broker.start()
    broker.publish("mast/climate", message(3))
    sink.wait_for(1, 2, 3)
    said = [record.getMessage() for record in logged.records]
    where = f"broker house (127.0.0.1:{broker.port})"
    assert said[0] == f"{where}: the connection was lost; tried again until it goes well"
    until(lambda: logged.records[-1].getMessage() == f"{where}: connected")


def test_several_sensors_share_one_connection(broker, daemon, sink):
    daemon(timed("low", "shed/low/+"), timed("all", "shed/#"), timed("high", "shed/+/high"))
    broker.publish("shed/low/high", message(1))
    until(lambda: len(sink.readings) >= 3)
    assert sorted(each.sensor for each in sink.readings[:3]) == ["all", "high", "low"]
    assert len(broker.connects) == 1


def test_values_may_have_topics_of_their_own_under_a_wildcard(broker, daemon, sink):
    way = Mqtt(broker="house", topic="shed/+")
    daemon(
        sensor("shed", way, air_temperature={"topic": "shed/t"}, relative_humidity={"topic": "shed/rh", "unit": "%"})
    )
    broker.publish("shed/t", "20.5")
    broker.publish("shed/rh", "55 %")
    broker.publish("shed/status", "online")
    sink.wait(lambda me: len(me.readings) == 2)
    assert {each.variable: each.value for each in sink.readings} == {"air_temperature": 20.5, "relative_humidity": 55}


def test_a_retained_message_counts_by_its_own_time_and_without_one_not_at_all(broker, daemon, sink):
    broker.publish("mast/climate", message(5), retain=True)
    broker.publish("old/climate", "30", retain=True)
    daemon(timed(), untimed("old", "old/climate"))
    sink.wait_for(5)
    broker.publish("old/climate", "31", retain=True)  # for a subscription that is there it comes as a fresh one
    sink.wait_for(31)
    assert [(each.sensor, each.value) for each in sink.readings] == [("mast", 5), ("old", 31)]
    until(lambda: len(broker.acknowledged) == 3)  # that one is acknowledged too, for it is of no use


def test_what_waited_while_we_were_away_for_long_counts_only_by_its_own_time(broker, daemon, sink):
    end(daemon(timed(), untimed("old", "old/climate")))
    broker.publish("mast/climate", message(1))
    broker.publish("old/climate", "30")
    later = FixedClock(NOON.replace(hour=13))
    daemon(timed(), untimed("old", "old/climate"), at=later, connected=False)
    sink.wait_for(1)
    until(lambda: len(broker.acknowledged) == 2)
    quiet = threading.Event()
    while 31 not in sink.values:  # once it has been quiet, what comes is fresh
        broker.publish("old/climate", "31")
        quiet.wait(0.2)
    assert 30 not in sink.values
    assert sink.readings[-1].at == later.now()


def test_what_waited_while_we_were_away_for_a_moment_counts_as_read_now(broker, daemon, sink):
    end(daemon(untimed()))
    broker.publish("mast/climate", "30")
    daemon(untimed(), connected=False)
    sink.wait_for(30)


def test_the_wrong_password_is_said_plainly_and_tried_again(broker, daemon, logged):
    broker.users = {"dryspell": "right"}
    daemon(user="dryspell", password="wrong-hunter2", connected=False)
    until(lambda: len(broker.connects) >= 3)
    where = f"broker house (127.0.0.1:{broker.port})"
    said = f"{where}: refuses user dryspell: bad user name or password; tried again until it goes well"
    assert [record.getMessage() for record in logged.records] == [said]
    broker.users = {"dryspell": "wrong-hunter2"}
    until(lambda: broker.online)
    broker.publish("mast/climate", message(1))
    until(lambda: f"{where}: connected" in logged.text)
    assert "hunter2" not in logged.text


def test_a_broker_that_wants_a_user_says_so(broker, daemon, logged):
    broker.users = {"dryspell": "right"}
    daemon(connected=False)
    until(lambda: "refuses us without a user: not authorized" in logged.text)


def test_a_topic_that_may_not_be_read_is_said_and_the_others_go_on(broker, daemon, sink, logged):
    broker.refuses = {"secret/+"}
    daemon(timed(), timed("spy", "secret/+"))
    until(lambda: "does not let us read secret/+" in logged.text)
    broker.publish("mast/climate", message(1))
    sink.wait_for(1)


def test_topics_of_an_earlier_configuration_are_taken_back(broker, daemon, sink):
    end(daemon(timed(), timed("gone", "gone/#")))
    daemon()
    until(lambda: broker.unsubscribed == ["gone/#"])
    broker.publish("mast/climate", message(1))
    sink.wait_for(1)


@pytest.mark.parametrize("payload", [b"", b"\xff\xfe", b"{", b"[]", b"null", b'{"t": "hot", "ts": 1}', b"x" * 100_000])
def test_malformed_messages_are_acknowledged_and_hold_nothing_up(broker, daemon, sink, payload):
    daemon()
    broker.publish("mast/climate", payload)
    broker.publish("mast/climate", message(1))
    sink.wait_for(1)
    until(lambda: len(broker.acknowledged) == 2)


def test_a_topic_that_is_not_text_holds_nothing_up(broker, daemon, sink):
    daemon(timed("all", "#"))
    broker.publish("mast/\udcff", message(1))
    broker.publish("mast/climate", message(2))
    sink.wait_for(2)
    until(lambda: len(broker.acknowledged) == 2)


def test_messages_of_no_promise_are_read_as_well(broker, daemon, sink):
    daemon()
    broker.publish("mast/climate", message(1), qos=0)
    sink.wait_for(1)
    assert broker.acknowledged == []


@pytest.mark.parametrize(
    ("answer", "problem"),
    [
        (b"\x20\x02\x00\x01", "does not speak MQTT 3.1.1"),  # table 3.1: unacceptable protocol version
        (b"HTTP/1.0 400 Bad Request\r\n\r\n", "hung up before it let us in"),
        (b"\xf0\x00", "does not speak MQTT 3.1.1"),  # a kind of packet that 3.1.1 forbids
        (b"\x20\xff\xff\xff\xff\xff", "does not speak MQTT 3.1.1"),  # a length of more than four bytes
    ],
)
def test_what_is_no_broker_is_said(daemon, logged, answer, problem):
    with socket.create_server(("127.0.0.1", 0)) as other:

        def serve():
            sock, _ = other.accept()
            with sock:
                sock.recv(100)
                sock.sendall(answer)

        thread = threading.Thread(target=serve)
        thread.start()
        daemon(connected=False, port=other.getsockname()[1])
        until(lambda: problem in logged.text)
        thread.join()


@pytest.fixture
def authority():
    return trustme.CA()


@pytest.fixture
def encrypted(broker, authority, tmp_path):
    """The broker with a certificate of a private authority.

    Messages are to be there before a client is: an encrypted socket is not for two threads at once.
    """
    broker.context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("127.0.0.1").configure_cert(broker.context)
    authority.cert_pem.write_to_path(tmp_path / "ca.pem")
    return broker


def test_an_encrypted_connection_is_made_to_a_broker_whose_authority_is_named(encrypted, daemon, sink, tmp_path):
    for number in range(30):
        encrypted.publish(f"mast/{number}", message(number), retain=True)
    daemon(timed(topic="mast/+"), tls=True, ca_file=tmp_path / "ca.pem")
    sink.wait_for(*range(30))


def test_a_certificate_of_our_own_is_shown_where_one_is_named(encrypted, authority, daemon, sink, tmp_path):
    encrypted.context.verify_mode = ssl.CERT_REQUIRED
    authority.configure_trust(encrypted.context)
    authority.issue_cert("dryspell.example").private_key_and_cert_chain_pem.write_to_path(tmp_path / "ours.pem")
    encrypted.publish("mast/climate", message(1), retain=True)
    daemon(tls=True, ca_file=tmp_path / "ca.pem", cert_file=tmp_path / "ours.pem")
    sink.wait_for(1)


@pytest.mark.parametrize(
    ("named", "problem"),
    [
        ({}, "its certificate cannot be trusted: unable to get local issuer certificate"),
        ({"host": "localhost"}, "its certificate cannot be trusted: Hostname mismatch"),
        ({"ca_file": "nowhere.pem"}, "nowhere.pem cannot be used as ca_file: No such file or directory"),
        ({"cert_file": "ca.pem"}, "ca.pem cannot be used as cert_file"),
    ],
)
def test_who_cannot_be_trusted_is_told_nothing(encrypted, daemon, logged, tmp_path, named, problem):
    how = {"ca_file": "ca.pem"} | named if named else {}
    files = {key: tmp_path / value for key, value in how.items() if key.endswith("_file")}
    daemon(connected=False, tls=True, **how | files)
    until(lambda: problem in logged.text)
    assert encrypted.connects == []


def test_encryption_where_there_is_none_is_said(daemon, logged):
    daemon(connected=False, tls=True)
    until(lambda: "no encrypted connection can be made; a broker without encryption has tls = false" in logged.text)


def test_who_does_not_answer_keeps_nobody_from_leaving(daemon):
    with socket.create_server(("127.0.0.1", 0)) as silent:
        way = daemon(connected=False, port=silent.getsockname()[1])
        silent.accept()[0].close()
        end(way)
