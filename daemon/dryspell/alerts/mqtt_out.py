"""Publishes the state of each piece to an MQTT broker, retained, for whatever at home listens there.

`PREFIX/piece/KEY` holds the state of a piece as JSON, `PREFIX/status` is "online" while the daemon is and "offline"
when it left or, by its last will, when it fell silent. Quality of service 1; a state is published when it has changed,
and everything anew after each connection, for a broker may have lost what it had retained.
"""

import json
import threading
import time
from collections.abc import Iterable
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from dryspell.alerts.mqtt_states import SCHEMA, same_state
from dryspell.outlook.as_json import Document
from dryspell.weather.sensors.attended import Attended
from dryspell.weather.sensors.backoff import Backoff
from dryspell.weather.sensors.model import Broker
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.tls import client_context, connect_problem, refusal

CONNECT_WITHIN_S = 5.0
LOOK_EVERY_S = 0.5
LEAVE_WITHIN_S = 1.0
STEADY_AFTER_S = 60.0
ONLINE, OFFLINE = b"online", b"offline"


class StatePublisher:
    """Keeps what a broker holds of our pieces as it should be.

    Parameters
    ----------
    broker, prefix
        Where to publish, and what topics begin with.
    client_id
        Ours at the broker, the same after a restart: the connection of a daemon that was killed is then ended, and its
        last will told, before the new one says that it is online.
    notices
        Where trouble is said, once.
    """

    def __init__(
        self, broker: Broker, prefix: str, client_id: str, notices: Notices, *, backoff: Backoff | None = None
    ) -> None:
        self._broker = broker
        self._prefix = prefix
        self._client_id = client_id
        self._notices = notices
        self._backoff = backoff or Backoff()
        self._lock = threading.Lock()
        self._shown: dict[str, tuple[Document, bytes]] = {}
        self._topics: dict[str, bytes] | None = None
        self._attended = Attended(f"publishing to broker {broker.key}", self._work)

    def start(self) -> None:
        """Connect, now and whenever the connection is lost."""
        self._attended.start()

    def show(self, states: Iterable[Document]) -> None:
        """Take in the states of all pieces there are; what has changed is published soon."""
        with self._lock:
            shown = {}
            for state in states:
                before = self._shown.get(state["piece"])
                same = before is not None and same_state(before[0], state)
                shown[state["piece"]] = before if before and same else (state, _text(state))
            self._shown = shown
            self._topics = {f"{self._prefix}/piece/{piece}": payload for piece, (_, payload) in shown.items()}

    def stop(self) -> None:
        """Ask for the end."""
        self._attended.stop()

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end, and say whether it has come."""
        return self._attended.wait(timeout_s)

    def wanted(self) -> dict[str, bytes] | None:
        """Return what the broker should hold of pieces, by topic; None as long as nothing is known."""
        with self._lock:
            return None if self._topics is None else dict(self._topics)

    def _work(self, stop: threading.Event) -> None:
        name, key = self._broker.name, f"publishing {self._broker.key}"
        while not stop.is_set():
            connection = _Connection(self, self._broker, self._prefix, self._client_id)
            try:
                connection.hold(stop, lambda: self._notices.over(key, f"{name}: states are published again"))
            except _EndedError as error:
                self._notices.trouble(key, f"{name}: {error}; states are not published, and that is tried again")
                if connection.steady:
                    self._backoff.reset()
                stop.wait(self._backoff.wait_s())


class _EndedError(Exception):
    """The connection is over; the text says why, to follow the name of the broker."""


class _Connection:
    """One connection, from its beginning to its end; paho's client brings the protocol, its loop is turned here."""

    def __init__(self, publisher: StatePublisher, broker: Broker, prefix: str, client_id: str) -> None:
        self._publisher = publisher
        self._broker = broker
        self._status, self._pieces = f"{prefix}/status", f"{prefix}/piece/"
        self._refused = ""
        self._connected_at: float | None = None
        self._leaving = False
        # What the broker has accepted of us, what is on the way there, and what it holds of pieces there are no more.
        self._told: dict[str, bytes] = {}
        self._under_way: dict[int, tuple[str, bytes]] = {}
        self._left_over: set[str] = set()
        client = self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            client_id,
            clean_session=True,
            protocol=paho.MQTTv311,
            reconnect_on_failure=False,
        )
        client.connect_timeout = CONNECT_WITHIN_S
        client.will_set(self._status, OFFLINE, qos=1, retain=True)
        client.on_connect = self._on_connect
        client.on_publish = self._on_publish
        client.on_message = self._on_message

    @property
    def steady(self) -> bool:
        """Whether it went well long enough for the next one to be tried soon."""
        return self._connected_at is not None and time.monotonic() - self._connected_at >= STEADY_AFTER_S

    def hold(self, stop: threading.Event, went_well: Any) -> None:
        """Connect, and publish what changes until `stop` is set; _EndedError says why it could not go on."""
        self._connect()
        try:
            while not stop.is_set():
                self._turn(LOOK_EVERY_S)
                if self._connected_at is not None:
                    self._publish_changed()
                    if self._told.get(self._status) == ONLINE:
                        went_well()
            if self._connected_at is not None:
                self._leave()
        finally:
            self._client.disconnect()

    def _connect(self) -> None:
        broker = self._broker
        if broker.user:
            self._client.username_pw_set(broker.user, broker.password.get_secret_value() if broker.password else None)
        try:
            if broker.tls:
                self._client.tls_set_context(client_context(broker))
            self._client.connect(*broker.address, keepalive=int(broker.keepalive_s))
        except (OSError, ValueError) as error:
            raise _EndedError(connect_problem(error)) from None

    def _turn(self, timeout_s: float) -> None:
        code = self._client.loop(timeout=timeout_s)
        if self._refused:
            raise _EndedError(self._refused)
        if code != paho.MQTT_ERR_SUCCESS:
            lost = "the connection was lost" if self._connected_at is not None else "hung up before it let us in"
            raise _EndedError(lost)

    def _publish_changed(self) -> None:
        pieces = self._publisher.wanted()
        if pieces is None:
            return
        # An empty message takes a retained one away.
        gone = dict.fromkeys(self._left_over - set(pieces), b"")
        for topic, payload in {**gone, **pieces, self._status: ONLINE}.items():
            self._publish(topic, payload)

    def _publish(self, topic: str, payload: bytes) -> None:
        on_the_way = [sent for at, sent in self._under_way.values() if at == topic]
        if (on_the_way[-1] if on_the_way else self._told.get(topic)) != payload:
            self._under_way[self._client.publish(topic, payload, qos=1, retain=True).mid] = (topic, payload)

    def _leave(self) -> None:
        """Say that we leave: a last will is told only of who did not."""
        self._leaving = True
        self._publish(self._status, OFFLINE)
        until = time.monotonic() + LEAVE_WITHIN_S
        while self._told.get(self._status) != OFFLINE and time.monotonic() < until:
            self._turn(0.1)

    def _on_connect(self, client: paho.Client, _data: Any, _flags: Any, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refused = refusal(self._broker, reason)
            return
        self._connected_at = time.monotonic()
        # To see what is held of pieces there are no more, and a last will that came late. Where that is not allowed,
        # all else goes on.
        client.subscribe([(f"{self._pieces}+", 1), (self._status, 1)])

    def _on_publish(self, _client: Any, _data: Any, mid: int, _reason: Any, _properties: Any) -> None:
        if mid in self._under_way:
            topic, payload = self._under_way.pop(mid)
            self._told[topic] = payload

    def _on_message(self, _client: Any, _data: Any, message: paho.MQTTMessage) -> None:
        if message.topic == self._status:
            if message.payload != ONLINE and not self._leaving:
                self._told.pop(self._status, None)
        elif message.retain and _is_ours(bytes(message.payload)):
            self._left_over.add(message.topic)


def _text(state: Document) -> bytes:
    return json.dumps(state, ensure_ascii=False, separators=(",", ":")).encode()


def _is_ours(payload: bytes) -> bool:
    try:
        document = json.loads(payload)
    except (ValueError, RecursionError):
        return False
    return isinstance(document, dict) and document.get("schema") == SCHEMA
