"""From what a sensor sent to readings."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from paho.mqtt.client import topic_matches_sub

from dryspell.weather.sensors.counters import Counters
from dryspell.weather.sensors.model import Followed, Measure, Sensor
from dryspell.weather.sensors.notices import Notices
from dryspell.weather.sensors.path import MISSING, Steps, find, parse_path
from dryspell.weather.sensors.reading import Reading
from dryspell.weather.sensors.values import read_instant, read_number, shown
from dryspell.weather.table import VARIABLES

LARGEST_PAYLOAD = 64 * 2**10  # bytes


@dataclass(frozen=True)
class Arrival:
    """Something that a sensor sent.

    Attributes
    ----------
    sensor
        Its key.
    payload
        Bytes as they came, or what has been taken apart already: the fields of a line or a query.
    at
        When it came (aware, UTC); None where that does not tell how old it is.
    topic
        The MQTT topic it came under.
    """

    sensor: str
    payload: Any
    at: datetime | None
    topic: str = ""


class PayloadError(ValueError):
    """A payload holds no readings; the text says why, with nothing of the payload but the value at fault in it."""


def parse_payload(payload: Any) -> Any:
    """Return what a payload holds: JSON, or else text.

    Raises
    ------
    PayloadError
        It is neither, or too large.
    """
    if not isinstance(payload, bytes | bytearray):
        return payload
    if len(payload) > LARGEST_PAYLOAD:
        raise PayloadError(f"a payload of more than {LARGEST_PAYLOAD // 1024} KiB is not read")
    try:
        text = payload.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise PayloadError("the payload is not text in UTF-8") from None
    try:
        return json.loads(text)
    except (ValueError, RecursionError):
        return text


class Decoder:
    """Takes the payloads of one sensor apart.

    A value that is missing is no reading. That is said once when it begins: of null and the like always, of a key that
    is not there only until it has been seen, for many devices send now these values and now those.
    """

    def __init__(self, sensor: Sensor, counters: Counters, notices: Notices) -> None:
        self._sensor = sensor
        self._counters = counters
        self._notices = notices
        way = sensor.way
        flat = isinstance(way, Followed) and way.format == "csv"
        self._decimal_comma = isinstance(way, Followed) and flat and way.separator == ";"
        self._measures = [(measure, () if flat else parse_path(measure.path)) for measure in sensor.read]
        self._time_steps: Steps = () if flat or sensor.time is None else parse_path(sensor.time.path)
        self._seen: set[str] = set()

    def readings(self, arrival: Arrival) -> list[Reading]:
        """Return the readings in a payload.

        Raises
        ------
        PayloadError
            It is malformed as a whole.
        """
        measures = [each for each in self._measures if _is_of(each[0], arrival.topic)]
        if not measures or arrival.payload == b"":
            return []
        key = self._sensor.key
        try:
            payload = parse_payload(arrival.payload)
            at = self._instant(payload, arrival)
        except PayloadError as error:
            self._notices.trouble(key, f"sensor {key}: {error}", "payload")
            raise
        self._notices.over(key, f"sensor {key}: payloads can be read again")
        return [] if at is None else list(self._values(payload, measures, at))

    def _instant(self, payload: Any, arrival: Arrival) -> datetime | None:
        own, key = self._sensor.time, self._sensor.key
        if own is None:
            if arrival.at is None:
                text = f"sensor {key}: what the broker had kept is not used, for it does not say when it was read"
                self._notices.trouble(f"{key} age", text)
            else:
                self._notices.over(f"{key} age", f"sensor {key}: fresh messages come in")
            return arrival.at
        found = find(payload, own.path, self._time_steps)
        if found is MISSING:
            raise PayloadError(f"there is no {own.path}, its time, in the payload{_form(payload)}")
        try:
            at = read_instant(found, own)
        except ValueError as error:
            raise PayloadError(f"{own.path} = {shown(found)} {error}") from None
        if at is None:
            raise PayloadError(f"{own.path} = {shown(found)} gives no time")
        return at

    def _values(self, payload: Any, measures: list[tuple[Measure, Steps]], at: datetime) -> Iterator[Reading]:
        for measure, steps in measures:
            value = self._value(find(payload, measure.path, steps), payload, measure)
            if value is not None and measure.kind == "counter":
                value = self._counters.amount(f"{self._sensor.key}/{measure.variable}", at, value)
            if value is not None:
                yield Reading(self._sensor.key, measure.variable, at, value)

    def _value(self, found: Any, payload: Any, measure: Measure) -> float | None:
        name = f"{self._sensor.key} {measure.variable}"
        begin = f"sensor {self._sensor.key}: {measure.variable}"
        if found is MISSING:
            if name not in self._seen:
                self._notices.trouble(
                    name, f"{begin}: there is no {measure.path} in the payload{_form(payload)}", "none"
                )
            return None
        try:
            unit = VARIABLES[measure.variable].unit
            value = read_number(found, measure.unit, unit, decimal_comma=self._decimal_comma)
        except ValueError as error:
            self._notices.trouble(name, f"{begin}: {shown(found)} {error}", "wrong")
            return None
        if value is None:
            self._notices.trouble(name, f"{begin} has no value: {shown(found)}", "null")
            return None
        self._seen.add(name)
        self._notices.over(name, f"{begin} has values again")
        return value


def _is_of(measure: Measure, topic: str) -> bool:
    return measure.topic is None or topic_matches_sub(measure.topic, topic)


def _form(payload: Any) -> str:
    return ", which is not JSON" if isinstance(payload, str) else ""
