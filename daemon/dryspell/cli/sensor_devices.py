"""Whether the devices, files and brokers that sensors speak through can be reached, tried once."""

import os
from collections.abc import Iterator
from datetime import datetime

from dryspell import __version__
from dryspell.cli.parts import Finding
from dryspell.config import Config
from dryspell.errors import WeatherError
from dryspell.outlook.figures import Units, quantity
from dryspell.weather.exchange import Exchange
from dryspell.weather.sensors.decode import PayloadError, parse_payload
from dryspell.weather.sensors.model import Followed, Mqtt, Poll, Sensor
from dryspell.weather.sensors.mqtt_try import try_broker
from dryspell.weather.sensors.path import MISSING, find, parse_path
from dryspell.weather.sensors.poll import question_of
from dryspell.weather.sensors.values import read_number, shown
from dryspell.weather.table import VARIABLES

_UNITS = {"percent": "%", "degC": "degC", "m/s": "m/s", "mm": "mm"}


def brokers(config: Config, *, offline: bool = False) -> Iterator[Finding]:
    """Yield whether each broker that a sensor uses lets us in."""
    for key in dict.fromkeys(sensor.way.broker for sensor in config.sensor.values() if isinstance(sensor.way, Mqtt)):
        broker = config.broker[key]
        name = broker.name.removeprefix("broker ")
        if offline:
            yield Finding("broker", "skipped", f"{name} was not asked")
        elif problem := try_broker(broker):
            yield Finding("broker", "bad", f"{name}: {problem}")
        else:
            yield Finding("broker", "good", f"{name}: lets us in{f' as {broker.user}' if broker.user else ''}")


def look_at(sensor: Sensor, now: datetime, *, offline: bool, units: Units) -> tuple[str, str]:
    """Return what is wrong with the device or file of a sensor, and what it answers; empty where there is nothing."""
    way = sensor.way
    if isinstance(way, Followed) and way.path is not None:
        if not os.access(way.path, os.F_OK):
            return "the file is not there yet", ""
        return "" if os.access(way.path, os.R_OK) else "the file cannot be read; check who owns it", ""
    if not isinstance(way, Poll):
        return "", ""
    return ("", "it was not asked") if offline else _asked(sensor, way, now, units)


def _asked(sensor: Sensor, way: Poll, now: datetime, units: Units) -> tuple[str, str]:
    exchange = Exchange(f"dryspell/{__version__}", timeout=(5.0, 5.0), total_s=10.0, retries=0)
    try:
        payload = parse_payload(exchange.ask(question_of(way), now).body)
    except (WeatherError, PayloadError) as error:
        return str(error), ""
    problems, values = [], []
    for measure in sensor.read:
        found = find(payload, measure.path, parse_path(measure.path))
        name, unit = plain(measure.variable), VARIABLES[measure.variable].unit
        if found is MISSING:
            problems.append(f"there is no {measure.path} in its answer, for {name}")
            continue
        try:
            value = read_number(found, measure.unit, unit)
        except ValueError as error:
            problems.append(f"{name}: {shown(found)} {error}")
        else:
            values.append(name + (" without a value" if value is None else f" {figure(value, unit, units)}"))
    return "; ".join(problems), f"it answers {', '.join(values)}" if values else ""


def figure(value: float, unit: str, units: Units) -> str:
    """Return a value in the unit of a weather variable as people read it."""
    known = _UNITS.get(unit)
    return quantity(value, known, units) if known else f"{value:.0f} {unit}"


def plain(variable: str) -> str:
    """Return what a variable is called in a message."""
    return variable.replace("_", " ")
