"""What the tests of sensors share: a sensor in a line, and a sink that can be waited for."""

import threading
import time
from datetime import UTC, datetime

from dryspell.errors import StoreError
from dryspell.weather.sensors.model import Measure, OwnTime, Pushed, Sensor

NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)


def sensor(key="mast", way=None, *, time=None, **read):
    """A sensor; each reading is a path, or a dict of what its table holds; the unit is degC unless it says so."""
    measures = [
        Measure.model_validate(
            {"variable": name, "unit": "degC"} | (each if isinstance(each, dict) else {"path": each})
        )
        for name, each in read.items()
    ]
    own = OwnTime.model_validate(time) if time else None
    return Sensor(key=key, site="harbour", way=way or Pushed(), read=tuple(measures), time=own)


def until(condition, seconds=20.0):
    """Wait until `condition()` holds; fail the test where that takes too long."""
    pause = threading.Event()
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not come about"
        pause.wait(0.01)


class Collected:
    """A sink: keeps readings, or refuses to while `refuses` is set."""

    def __init__(self):
        self.readings = []
        self.calls = 0
        self.refuses = False
        self._changed = threading.Condition()

    def __call__(self, readings):
        with self._changed:
            self.calls += 1
            self._changed.notify_all()
            if self.refuses:
                raise StoreError("the state cannot be written: the disk is full")
            self.readings += readings

    @property
    def values(self):
        return [reading.value for reading in self.readings]

    def wait(self, enough, seconds=20.0):
        """Wait until `enough(self)`; fail the test where that takes too long."""
        with self._changed:
            assert self._changed.wait_for(lambda: enough(self), seconds), self.readings

    def wait_for(self, *values):
        self.wait(lambda me: set(values) <= set(me.values))
