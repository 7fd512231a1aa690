"""One connection to an MQTT broker, from its beginning to its end."""

import select
import socket
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from dryspell.clock import Clock
from dryspell.weather.sensors.decode import Arrival
from dryspell.weather.sensors.intake import Intake
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Broker
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.tls import client_context, connect_problem, refusal

CONNECT_WITHIN_S = 5.0
IDLE_S = 1.0
BATCH = 200

SURE_WITHIN_S = 300.0
"""What waited at the broker while we were away for this long at the most is taken for read when it arrives."""
SETTLED_AFTER_S = 60.0
"""What comes later than this after connecting has not waited at the broker."""
STEADY_AFTER_S = 60.0


@dataclass(frozen=True)
class Subscription:
    """A topic filter and the sensor that reads what matches it."""

    sensor: str
    topic: str


@dataclass(frozen=True)
class Surroundings:
    """What every connection to one broker works with."""

    broker: Broker
    subscriptions: Sequence[Subscription]
    intake: Intake
    memory: Memory
    clock: Clock
    notices: Notices
    monotonic: Callable[[], float]
    wake: socket.socket

    @property
    def key(self) -> str:
        """Under what the broker's troubles and memories are kept."""
        return f"broker {self.broker.key}"

    @property
    def filters(self) -> list[str]:
        """What is subscribed to."""
        return sorted({each.topic for each in self.subscriptions})


class EndedError(Exception):
    """The connection is over; the text says why, to follow the name of the broker."""


class Connection:
    """One connection; `hold` makes it and keeps it. paho's client brings the protocol, its loop is turned here.

    A client of its own for each connection: what matters beyond one is kept by the broker.
    """

    def __init__(self, around: Surroundings) -> None:
        self._around = around
        self._batch: list[paho.MQTTMessage] = []
        self._refused = ""
        self._connected_at: float | None = None
        self._took = False
        # Until it falls silent, a session that has been taken up again sends what had waited for us.
        self._settled = False
        self._client = paho.Client(
            CallbackAPIVersion.VERSION2,
            around.memory.client_id(around.broker.key),
            clean_session=False,
            protocol=paho.MQTTv311,
            reconnect_on_failure=False,
            manual_ack=True,
        )
        self._client.connect_timeout = CONNECT_WITHIN_S
        self._client.on_connect = self._on_connect
        self._client.on_subscribe = self._on_subscribe
        self._client.on_message = lambda _client, _data, message: self._batch.append(message)

    @property
    def steady(self) -> bool:
        """Whether it went well long enough for the next one to be tried soon."""
        return self._took or self._held_s >= STEADY_AFTER_S

    @property
    def _held_s(self) -> float:
        return 0.0 if self._connected_at is None else self._around.monotonic() - self._connected_at

    def hold(self, ended: Callable[[], bool]) -> None:
        """Connect, and take in what comes until `ended` says so.

        Raises
        ------
        EndedError, NotKeptError
            The connection cannot be made or is lost, or readings cannot be kept.
        """
        try:
            self._connect()
            while not ended():
                self._step()
        finally:
            if self._connected_at is not None:
                self._around.memory.put(f"{self._around.key} left_at", self._around.clock.now().isoformat())
            self._client.disconnect()

    def _connect(self) -> None:
        broker = self._around.broker
        if broker.user:
            self._client.username_pw_set(broker.user, broker.password.get_secret_value() if broker.password else None)
        try:
            if broker.tls:
                self._client.tls_set_context(client_context(broker))
            self._client.connect(*broker.address, keepalive=int(broker.keepalive_s))
        except (OSError, ValueError) as error:
            raise EndedError(connect_problem(error)) from None

    def _step(self) -> None:
        """Take in what is there; what has come so far is handed on when no more is."""
        client = self._client
        code = paho.MQTT_ERR_SUCCESS
        readable, idle = self._wait(0.0 if self._batch else IDLE_S)
        if readable:
            code = client.loop_read()
        elif self._batch:
            self._hand_on()
        elif idle and self._connected_at is not None:
            self._settled = True
        if client.want_write() and not code:
            code = client.loop_write()
        code = code or client.loop_misc()
        if self._refused:
            raise EndedError(self._refused)
        if code == paho.MQTT_ERR_PROTOCOL:
            raise EndedError("does not speak MQTT 3.1.1")
        if code or client.socket() is None:
            lost = "the connection was lost" if self._connected_at is not None else "hung up before it let us in"
            raise EndedError(lost)
        if len(self._batch) >= BATCH:
            self._hand_on()

    def _wait(self, timeout_s: float) -> tuple[bool, bool]:
        """Wait for the socket; return whether there is something to read, and whether nothing happened at all."""
        sock: Any = self._client.socket()
        if sock is None:
            return False, False
        if hasattr(sock, "pending") and sock.pending():  # decrypted already, so that select does not see it
            return True, False
        wanting = [sock] if self._client.want_write() else []
        readable, writable, _ = select.select([sock, self._around.wake], wanting, [], timeout_s)
        return sock in readable, not readable and not writable

    def _on_connect(self, _client: Any, _data: Any, flags: paho.ConnectFlags, reason: Any, _properties: Any) -> None:
        if reason.is_failure:
            self._refused = refusal(self._around.broker, reason)
            return
        self._connected_at = self._around.monotonic()
        self._settled = not flags.session_present or self._was_here_just_now()
        # Always, for a broker may have lost some; one that has a subscription already replaces it.
        self._client.subscribe([(each, 1) for each in self._around.filters])
        self._forget_others()

    def _forget_others(self) -> None:
        """Take back what an earlier configuration subscribed to: the session has kept it."""
        name, filters = f"{self._around.key} topics", self._around.filters
        before = self._around.memory.get(name)
        if isinstance(before, list) and (others := [each for each in before if each not in filters]):
            self._client.unsubscribe(others)
        self._around.memory.put(name, filters)

    def _was_here_just_now(self) -> bool:
        left_at = self._around.memory.get(f"{self._around.key} left_at")
        with suppress(ValueError, TypeError):
            away_s = (self._around.clock.now() - datetime.fromisoformat(left_at)).total_seconds()
            return 0.0 <= away_s <= SURE_WITHIN_S
        return False

    def _on_subscribe(self, _client: Any, _data: Any, _mid: int, reasons: list[Any], _properties: Any) -> None:
        refused = [topic for topic, reason in zip(self._around.filters, reasons, strict=False) if reason.is_failure]
        name = self._around.broker.name
        if refused:
            self._around.notices.trouble(self._around.key, f"{name}: does not let us read {', '.join(refused)}")
        else:
            self._around.notices.over(self._around.key, f"{name}: connected")

    def _hand_on(self) -> None:
        """Take in the messages that have come, then acknowledge them in their order (MQTT 3.1.1, section 4.6)."""
        batch, self._batch = self._batch, []
        now = self._around.clock.now()
        self._settled = self._settled or self._held_s > SETTLED_AFTER_S
        self._around.intake.take([arrival for message in batch for arrival in self._arrivals(message, now)])
        self._took = True
        for message in batch:
            self._client.ack(message.mid, message.qos)

    def _arrivals(self, message: paho.MQTTMessage, now: datetime) -> list[Arrival]:
        try:
            topic = message.topic
        except UnicodeDecodeError:
            return []
        at = now if self._settled and not message.retain else None
        matching = [each for each in self._around.subscriptions if paho.topic_matches_sub(each.topic, topic)]
        return [Arrival(each.sensor, message.payload, at, topic) for each in matching]
