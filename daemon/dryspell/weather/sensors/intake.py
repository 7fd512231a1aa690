"""The way in: whatever brought a payload, its readings go through here to where they are kept."""

import logging
import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from dryspell.errors import DryspellError
from dryspell.weather.sensors.counters import Counters
from dryspell.weather.sensors.decode import Arrival, Decoder, PayloadError
from dryspell.weather.sensors.memory import Memory
from dryspell.weather.sensors.model import Sensor
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.reading import Reading, Sink

log = logging.getLogger(__name__)


class NotKeptError(DryspellError):
    """Readings could not be kept; whoever brought them has to bring them again."""


@dataclass(frozen=True)
class Taken:
    """What came of payloads: how many readings were kept, and what was wrong with payloads that held none."""

    readings: int
    problems: tuple[str, ...]


class Intake:
    """Takes payloads apart and hands their readings on, from one thread at a time."""

    def __init__(self, sensors: Mapping[str, Sensor], sink: Sink, memory: Memory, notices: Notices) -> None:
        self._sink = sink
        self._notices = notices
        self._counters = Counters(memory)
        self._decoders = {key: Decoder(sensor, self._counters, notices) for key, sensor in sensors.items()}
        self._lock = threading.Lock()
        self._closed = False

    def take(self, arrivals: Sequence[Arrival]) -> Taken:
        """Return once the readings of some payloads are kept for good.

        Raises
        ------
        NotKeptError
            They are not, none of them.
        """
        with self._lock:
            if self._closed:
                raise NotKeptError("the daemon is leaving")
            readings: list[Reading] = []
            problems: list[str] = []
            for arrival in arrivals:
                try:
                    readings += self._decoders[arrival.sensor].readings(arrival)
                except PayloadError as error:
                    problems.append(str(error))
            self._keep(readings)
            return Taken(len(readings), tuple(problems))

    def close(self, timeout_s: float) -> bool:
        """Take in nothing more, and say whether nothing is under way any longer."""
        if not self._lock.acquire(timeout=timeout_s):
            return False
        self._closed = True
        self._lock.release()
        return True

    def _keep(self, readings: list[Reading]) -> None:
        try:
            if readings:
                self._sink(readings)
        except Exception as error:
            self._counters.roll_back()
            if not isinstance(error, DryspellError) and "intake" not in self._notices.current():
                log.exception("readings could not be handed on")
            text = f"readings cannot be kept, and are taken in again later: {error}"
            self._notices.trouble("intake", text, type(error).__name__)
            raise NotKeptError(text) from error
        self._counters.commit()
        if readings:
            self._notices.over("intake", "readings are kept again")
