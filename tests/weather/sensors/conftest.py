"""Parts that the ways of sensors are made of."""

import pytest

from dryspell.clock import FixedClock
from dryspell.weather.sensors.intake import Intake
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.notices import Notices
from weather.sensors.bench import NOON, Collected


@pytest.fixture
def clock():
    return FixedClock(NOON)


@pytest.fixture
def sink():
    return Collected()


@pytest.fixture
def notices():
    return Notices()


@pytest.fixture
def memory(tmp_path):
    return Memory(tmp_path / "state")


@pytest.fixture
def make_intake(sink, memory, notices):
    """Make an intake for some sensors."""

    def make(*sensors):
        return Intake({each.key: each for each in sensors}, sink, memory, notices)

    return make


@pytest.fixture(autouse=True)
def logged(caplog):
    """What was logged, from the level that is shown on."""
    caplog.set_level("INFO", logger="dryspell")
    return caplog
