"""States over MQTT, against a small broker written from the standard and against mosquitto where it is installed.

What is promised: retained, quality of service 1, a last will (MQTT 3.1.1, sections 3.1.2.5, 3.3.1.3 and 4.3.2).
"""

import json
import re
import socket
import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import paho.mqtt.client as paho
import pytest
from paho.mqtt.enums import CallbackAPIVersion

from alerts.fakes import at, film, outlook, unknown, window
from dryspell.alerts.mqtt_out import StatePublisher
from dryspell.alerts.mqtt_states import SCHEMA, same_state, state_document
from dryspell.clock import FixedClock
from dryspell.outlook.model import Limit, Reason
from dryspell.service import Service
from dryspell.weather.sensors.backoff import Backoff
from dryspell.weather.sensors.model import Broker
from dryspell.weather.sensors.notices import Notices
from weather.sensors.bench import until
from weather.sensors.small_broker import SmallBroker
from weather.sensors.test_mosquitto import MOSQUITTO, Mosquitto
from yard import START, FakeSource, Taken, config, weather

NOW = at(3, "10:00")
OPEN = outlook(NOW, [window(3, "09:45", "14:00"), window(4, "10:00", "12:00", word="tight")])
WAIT = outlook(NOW, [window(4, "10:00", "12:00")])


@pytest.fixture
def broker():
    broker = SmallBroker().start()
    yield broker
    broker.stop()


@pytest.fixture
def publish():
    """Publish states to a broker until the test is over."""
    made = []

    def start(port, *states, prefix="home/varnish", **broker):
        to = Broker(key="yard", host="127.0.0.1", port=port, tls=False, **broker)
        quick = Backoff(0.05, 0.2)
        made.append(StatePublisher(to, prefix, "dryspell-out-test", Notices(), backoff=quick))
        if states:
            made[-1].show(states)
        made[-1].start()
        return made[-1]

    yield start
    for publisher in made:
        publisher.stop()
    assert all(publisher.wait(10) for publisher in made)


def held(broker):
    return {topic: payload.decode() for topic, payload in broker.retained.items()}


def status(broker):
    return held(broker).get("home/varnish/status")


def piece(broker, key="rail"):
    return json.loads(held(broker).get(f"home/varnish/piece/{key}", "null"))


def test_the_state_of_a_piece_tells_the_verdict_why_until_when_and_what_is_next():
    state = json.loads(json.dumps(state_document(OPEN)))
    assert (state["schema"], state["generated_at"]) == (SCHEMA, "2026-06-03T08:00:00Z")
    assert (state["piece"], state["name"], state["timezone"]) == ("rail", "Toe rail", "Europe/Berlin")
    # 14:00 in Berlin and 45 minutes of brushing.
    assert (state["verdict"], state["until"]) == ("coat", "2026-06-03T12:45:00Z")
    assert state["window"]["verdict"] == "coat"
    assert state["next_window"] == {
        "verdict": "tight",
        "start": "2026-06-04T08:00:00Z",
        "last_start": "2026-06-04T10:00:00Z",
        "brush_down_by": "2026-06-04T10:45:00Z",
        "tight_until": "2026-06-04T10:45:00Z",
        "probability": 1.0,
    }
    assert (state["next_coat"], state["coats"], state["film"]) == (4, 8, None)
    assert state["weather"]["attribution"] == "Weather data by Open-Meteo.com"


def test_a_piece_that_waits_tells_why_with_its_number_and_until_when():
    state = state_document(WAIT, "us")
    assert (state["verdict"], state["until"], state["window"]) == ("wait", "2026-06-04T08:00:00Z", None)
    assert state["reason"] == {"limit": "margin_hold", "value_k": -0.4, "bound_k": 1.0, "at": None}
    assert "°F" in state["reason_text"]
    assert state["next_window"]["verdict"] == "coat"


def test_a_film_is_told_with_its_stages():
    state = state_document(outlook(NOW, film=film(3, "08:00", at(3, "17:00"))))
    assert (state["film"]["coat"], state["film"]["finished_at"]) == (3, "2026-06-03T06:00:00Z")
    assert state["film"]["stages"]["dew_safe"] == "2026-06-03T15:00:00Z"
    assert state["film"]["stages"]["recoat"] is None


def test_a_piece_of_which_nothing_is_known_is_never_a_go():
    state = state_document(unknown(NOW))
    assert (state["verdict"], state["until"], state["window"], state["next_window"]) == ("unknown", None, None, None)


def test_a_built_up_piece_says_so():
    done = Reason(limit=Limit.BUILT_UP)
    state = state_document(outlook(NOW, word="wait", coat=9, reason=done, blocks=()))
    assert (state["verdict"], state["reason"]["limit"], state["until"]) == ("wait", "built_up", None)


def test_the_readme_tells_of_every_key_there_is():
    readme = (Path(__file__).resolve().parents[2] / "README.md").read_text("utf-8")
    (shown,) = (json.loads(block) for block in re.findall(r"```json\n(.*?)```", readme, re.DOTALL))
    wet = film(3, "08:00", at(3, "17:00"))
    state = state_document(outlook(NOW, [window(3, "09:45", "14:00")], film=wet))
    assert list(shown) == list(state)
    for part in ("window", "weather"):
        assert list(shown[part]) == list(state[part])
    assert list(shown["film"]) == list(state["film"])
    assert list(shown["film"]["stages"]) == list(state["film"]["stages"])


def test_states_are_retained_and_the_daemon_is_online(broker, publish):
    publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")
    assert piece(broker)["verdict"] == "coat"
    assert {(topic, qos, retain) for topic, _, qos, retain in broker.published} == {
        ("home/varnish/piece/rail", 1, True),
        ("home/varnish/status", 1, True),
    }
    # A listener that hears "online" finds the state of each piece there already.
    assert broker.published[-1][:2] == ("home/varnish/status", b"online")


def test_nothing_is_said_as_long_as_nothing_is_known(broker, publish):
    publisher = publish(broker.port)
    until(lambda: broker.online)
    assert broker.published == []
    publisher.show([state_document(OPEN)])
    until(lambda: status(broker) == "online")


def test_a_state_is_published_again_only_when_it_has_changed(broker, publish):
    publisher = publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")
    many = len(broker.published)
    later = OPEN.model_copy(update={"made_at": NOW + timedelta(minutes=1)})
    publisher.show([state_document(later)])
    publisher.show([state_document(WAIT)])
    until(lambda: piece(broker)["verdict"] == "wait")
    assert len(broker.published) == many + 1
    assert same_state(state_document(later), state_document(OPEN))


def test_who_leaves_says_so_and_who_dies_has_left_a_last_will(broker, publish):
    leaving = publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")
    leaving.stop()
    assert leaving.wait(10)
    assert broker.published[-1][:2] == ("home/varnish/status", b"offline")
    assert status(broker) == "offline"
    assert piece(broker)["verdict"] == "coat"  # what was known stays

    code = (
        "import sys, time; from dryspell.alerts.mqtt_out import StatePublisher; "
        "from dryspell.weather.sensors.model import Broker; from dryspell.weather.sensors.notices import Notices; "
        "p = StatePublisher(Broker(key='yard', host='127.0.0.1', port=int(sys.argv[1]), tls=False), "
        "'home/varnish', 'dryspell-out-other', Notices()); p.show([]); p.start(); time.sleep(60)"
    )
    process = subprocess.Popen([sys.executable, "-c", code, str(broker.port)])
    until(lambda: status(broker) == "online")
    process.kill()
    process.wait()
    until(lambda: status(broker) == "offline")


def test_a_last_will_that_is_told_late_does_not_leave_us_offline(broker, publish):
    publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")
    broker.publish("home/varnish/status", "offline", retain=True)
    until(lambda: status(broker) == "online")


def test_after_a_broker_that_was_away_everything_is_told_anew(broker, publish, caplog):
    publisher = publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")
    broker.stop()
    broker.retained.clear()  # one that kept nothing on its disk
    publisher.show([state_document(WAIT)])
    until(lambda: "states are not published" in caplog.text)
    broker.start()
    until(lambda: status(broker) == "online")
    assert piece(broker)["verdict"] == "wait"


def test_what_the_broker_did_not_say_it_has_is_sent_again(broker, publish):
    broker.breaks_before_puback = True
    publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")
    assert piece(broker)["verdict"] == "coat"
    assert len(broker.connects) == 2


def test_a_piece_that_is_no_more_is_taken_away_and_what_is_not_ours_stays(broker, publish):
    gone = json.dumps({**state_document(OPEN), "piece": "mast"})
    broker.publish("home/varnish/piece/mast", gone, retain=True)
    broker.publish("home/varnish/piece/cat", '{"weight": 4}', retain=True)
    broker.publish("home/varnish/piece/dog", "not JSON", retain=True)
    publish(broker.port, state_document(OPEN))
    until(lambda: "home/varnish/piece/mast" not in broker.retained)
    until(lambda: status(broker) == "online")
    assert {topic.rpartition("/")[2] for topic in broker.retained} == {"rail", "cat", "dog", "status"}


def test_a_broker_that_lets_us_subscribe_to_nothing_is_published_to_all_the_same(broker, publish):
    broker.refuses |= {"home/varnish/piece/+", "home/varnish/status"}
    publish(broker.port, state_document(OPEN))
    until(lambda: status(broker) == "online")


def test_a_password_that_is_not_right_is_said_once_without_it(publish, caplog):
    broker = SmallBroker(users={"ada": "right"}).start()
    publish(broker.port, state_document(OPEN), user="ada", password="hunter2")
    until(lambda: len(broker.connects) > 3)
    broker.stop()
    assert caplog.text.count("refuses user ada") == 1
    assert "hunter2" not in caplog.text


def test_a_port_where_nobody_answers_as_a_broker_does_not_end_the_publisher(publish, caplog):
    with socket.create_server(("127.0.0.1", 0)) as server:
        publisher = publish(server.getsockname()[1], state_document(OPEN))
        for _ in range(2):
            server.accept()[0].close()
        until(lambda: "hung up before it let us in" in caplog.text)
        publisher.stop()


MQTT_OUT = """
broker.yard = {{ host = "127.0.0.1", port = {port}, tls = false }}
[mqtt_out]
prefix = "home/varnish"
"""


def test_the_daemon_publishes_each_piece_and_takes_leave(tmp_path, broker):
    settings = config(tmp_path, MQTT_OUT.format(port=broker.port))
    sources = {key: FakeSource(weather()) for key in settings.site}
    service = Service(settings, FixedClock(START), sender=Taken(), sources=sources)
    service._publisher.start()
    service.tick()
    until(lambda: status(broker) == "online")
    assert (piece(broker)["piece"], piece(broker, "bench")["name"]) == ("rail", "Bench")
    assert service.close(wait_s=10)
    assert status(broker) == "offline"


def test_the_name_at_the_broker_stays_over_restarts_and_is_short_enough_for_every_broker(tmp_path, broker):
    settings = config(tmp_path, MQTT_OUT.format(port=broker.port))
    for _ in range(2):
        service = Service(settings, FixedClock(START), sender=Taken(), sources={})
        many = len(broker.connects)
        service._publisher.start()
        until(lambda: len(broker.connects) > many)  # noqa: B023  (called here)
        service.close(wait_s=10)
    (name,) = {client for client, *_ in broker.connects}
    assert len(name) == 23


@pytest.mark.skipif(MOSQUITTO is None, reason="mosquitto is not installed (Debian: apt install mosquitto)")
def test_mosquitto_holds_the_states_over_its_own_restart_and_tells_the_last_will(tmp_path, publish):
    folder = tmp_path / "mosquitto"
    folder.mkdir(mode=0o700)
    broker = Mosquitto(folder).start()
    heard = {}
    listener = paho.Client(CallbackAPIVersion.VERSION2, "listener")
    listener.on_connect = lambda client, *_: client.subscribe("home/#", 1)
    listener.on_message = lambda _client, _data, message: heard.__setitem__(message.topic, message.payload)
    listener.reconnect_delay_set(1, 1)
    listener.connect("127.0.0.1", broker.port)
    listener.loop_start()
    publisher = publish(broker.port, state_document(OPEN))
    until(lambda: heard.get("home/varnish/status") == b"online")
    assert json.loads(heard["home/varnish/piece/rail"])["verdict"] == "coat"
    broker.stop()
    heard.clear()
    broker.start()
    until(lambda: heard.get("home/varnish/status") == b"online")
    assert json.loads(heard["home/varnish/piece/rail"])["verdict"] == "coat"
    publisher.show([state_document(WAIT)])
    until(lambda: json.loads(heard["home/varnish/piece/rail"])["verdict"] == "wait")
    publisher.stop()
    until(lambda: heard["home/varnish/status"] == b"offline")
    listener.loop_stop()
    broker.stop()
