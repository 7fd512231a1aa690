"""Everything that brings readings in, begun and ended as one."""

import time
from collections.abc import Mapping
from pathlib import Path
from typing import Protocol

from dryspell.clock import Clock
from dryspell.weather.sensors.intake import Intake
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Broker, Followed, Mqtt, Poll, PushDoor, Pushed, Sensor
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.reading import Sink


class Way(Protocol):
    """A way in which readings arrive; it runs in a thread of its own."""

    def start(self) -> None:
        """Begin."""
        ...

    def stop(self) -> None:
        """Ask for the end."""
        ...

    def wait(self, timeout_s: float) -> bool:
        """Wait for the end, and say whether it has come."""
        ...


class Receivers:
    """The ways of all sensors.

    Parameters
    ----------
    sensors, brokers
        By key.
    push
        Where to listen; None where nothing is pushed.
    folder
        The folder of the state: a small file in it remembers how far files were read and what counters stood at.
    """

    def __init__(
        self,
        sensors: Mapping[str, Sensor],
        brokers: Mapping[str, Broker],
        push: PushDoor | None,
        folder: Path,
        clock: Clock,
    ) -> None:
        self._sensors = sensors
        self._brokers = brokers
        self._push = push
        self._folder = folder
        self._clock = clock
        self._notices = Notices()
        self._ways: list[Way] = []
        self._intake: Intake | None = None

    def start(self, sink: Sink) -> None:
        """Begin to take in readings; returns at once, whoever can be reached.

        Parameters
        ----------
        sink
            Called from the threads of the ways, by one of them at a time.
        """
        if not self._sensors:
            return
        memory = Memory(self._folder)
        self._intake = intake = Intake(self._sensors, sink, memory, self._notices)
        self._ways = [*self._from_brokers(intake, memory), *self._from_others(intake, memory)]
        for way in self._ways:
            way.start()

    def stop(self, wait_s: float = 1.0) -> bool:
        """End it all within `wait_s`, and say whether it has: the sink is then not called again."""
        for way in self._ways:
            way.stop()
        until = time.monotonic() + wait_s
        ended = True
        for way in self._ways:
            ended &= way.wait(max(0.0, until - time.monotonic()))
        if self._intake is not None:
            ended &= self._intake.close(max(0.0, until - time.monotonic()))
        return ended

    def troubles(self) -> dict[str, str]:
        """Return what is wrong now, one sentence each, by whose trouble it is."""
        return self._notices.current()

    # Each way brings libraries of its own, which are imported where a sensor uses it.

    def _from_brokers(self, intake: Intake, memory: Memory) -> list[Way]:
        from dryspell.weather.sensors.mqtt import BrokerWay  # noqa: PLC0415
        from dryspell.weather.sensors.mqtt_connection import Subscription  # noqa: PLC0415

        subscriptions: dict[str, list[Subscription]] = {}
        for key, sensor in self._sensors.items():
            if isinstance(sensor.way, Mqtt):
                subscriptions.setdefault(sensor.way.broker, []).append(Subscription(key, sensor.way.topic))
        return [
            BrokerWay(self._brokers[key], wanted, intake, memory, self._clock, self._notices)
            for key, wanted in subscriptions.items()
        ]

    def _from_others(self, intake: Intake, memory: Memory) -> list[Way]:
        from dryspell.weather.sensors.follow import FollowWay  # noqa: PLC0415
        from dryspell.weather.sensors.poll import PollWay  # noqa: PLC0415
        from dryspell.weather.sensors.push import PushDesk  # noqa: PLC0415
        from dryspell.weather.sensors.push_server import PushServer  # noqa: PLC0415

        ways: list[Way] = []
        for key, sensor in self._sensors.items():
            if isinstance(sensor.way, Poll):
                ways.append(PollWay(key, sensor.way, intake, self._clock, self._notices))
            elif isinstance(sensor.way, Followed):
                ways.append(FollowWay(key, sensor.way, intake, memory, self._notices))
        pushed = [key for key, sensor in self._sensors.items() if isinstance(sensor.way, Pushed)]
        if pushed and self._push is not None and self._push.token is not None:
            token = self._push.token.get_secret_value()
            desk = PushDesk(token, pushed, intake, self._clock, self._notices)
            ways.append(PushServer(self._push.listen, desk, self._notices))
        return ways
