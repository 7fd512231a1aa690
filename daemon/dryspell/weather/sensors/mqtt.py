"""Readings out of an MQTT broker: one connection, which comes back, for all sensors that name the broker.

MQTT 3.1.1, for every broker speaks it. The session is a lasting one (a client name that stays, clean session off) and
messages are subscribed to with quality of service 1; each is acknowledged only when its readings are kept. What the
broker has accepted for us it therefore keeps while either side is down, as far as its own limits go, and sends again
what we have not acknowledged. A message that its sender published with quality of service 0 has no such promise.

A message without an instant of its own is taken for read when it arrives, unless it may have lain at the broker: one
that it had retained, and one that waited there while we were away for longer than `SURE_WITHIN_S` or fell out of
the daemon without saying when, are not used.
"""

import socket
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from dryspell.clock import Clock
from dryspell.weather.sensors.attended import Attended
from dryspell.weather.sensors.backoff import Backoff
from dryspell.weather.sensors.intake import Intake, NotKeptError
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Broker
from dryspell.weather.sensors.mqtt_connection import Connection, EndedError, Subscription, Surroundings
from dryspell.weather.sensors.notices import Notices


class BrokerWay:
    """Keeps up the connection to one broker.

    Parameters
    ----------
    broker, subscriptions
        Where to connect, and what for: a topic filter a sensor.
    memory
        Where the name of the session is kept.
    backoff, monotonic
        How long to wait between tries, and the stopwatch.
    """

    def __init__(
        self,
        broker: Broker,
        subscriptions: Sequence[Subscription],
        intake: Intake,
        memory: Memory,
        clock: Clock,
        notices: Notices,
        *,
        backoff: Backoff | None = None,
        monotonic: Callable[[], float] = time.monotonic,
    ) -> None:
        self._notices = notices
        self._backoff = backoff or Backoff()
        wake, self._waking = socket.socketpair()
        self._around = Surroundings(broker, subscriptions, intake, memory, clock, notices, monotonic, wake)
        self._attended = Attended(f"broker {broker.key}", self._work)

    def start(self) -> None:
        """Connect, now and whenever the connection is lost."""
        self._attended.start()

    def stop(self) -> None:
        """Ask for the end."""
        self._attended.stop()
        with suppress(OSError):
            self._waking.send(b".")

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end, and say whether it has come."""
        if not self._attended.wait(timeout_s):
            return False
        self._around.wake.close()
        self._waking.close()
        return True

    def _work(self, stop: threading.Event) -> None:
        name = self._around.broker.name
        while not stop.is_set():
            connection = Connection(self._around)
            try:
                connection.hold(stop.is_set)
            except NotKeptError:
                self._pause(connection, stop)  # said by the intake
            except EndedError as error:
                self._notices.trouble(self._around.key, f"{name}: {error}; tried again until it goes well")
                self._pause(connection, stop)

    def _pause(self, connection: Connection, stop: threading.Event) -> None:
        if connection.steady:
            self._backoff.reset()
        stop.wait(self._backoff.wait_s())
