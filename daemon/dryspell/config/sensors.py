"""The sensors, the brokers they are heard through, and the door at which readings are pushed in."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import partial
from itertools import zip_longest
from pathlib import Path
from typing import Any, TypeVar

from pydantic import SecretStr

from dryspell.config.places import resolve
from dryspell.config.problems import Problems, written_keys
from dryspell.config.secrets import SecretReader
from dryspell.config.wording import listed
from dryspell.weather.sensors.model import (
    MEASURED,
    Broker,
    Followed,
    Measure,
    Mqtt,
    OwnTime,
    Poll,
    PushDoor,
    Pushed,
    Sensor,
    Way,
    format_of,
)
from dryspell.weather.sensors.path import parse_path
from dryspell.weather.table import VARIABLES

Guarded = TypeVar("Guarded", Broker, Poll, PushDoor)
"""A model with a secret."""
Tables = Mapping[str, Mapping[str, Any]]

WAYS = ("mqtt", "http", "push", "file")
HEAD_KEYS = ("name", "site", "piece", "silent_after")
SENSOR_KEYS = (*HEAD_KEYS, *WAYS, "read", "time")

_LOOPBACK = ("localhost", "127.0.0.1", "::1")
_SHORTEST_TOKEN = 16


def keys_with_secret(model: type[Broker | Poll | PushDoor], secret: str) -> list[str]:
    """Return the keys of a model whose secret stands in the environment or in a file."""
    return [*(key for key in written_keys(model) if key != secret), f"{secret}_env", f"{secret}_file"]


@dataclass(frozen=True)
class Sensing:
    """The sensors and brokers by key, and where readings are pushed to."""

    sensor: dict[str, Sensor] = field(default_factory=dict)
    broker: dict[str, Broker] = field(default_factory=dict)
    push: PushDoor | None = None


class SensorReader:
    """Reads the tables that have to do with sensors.

    Parameters
    ----------
    problems, cautions
        Where to note what is wrong, and what deserves a second look.
    folder, env
        Where relative paths start, and the environment.
    fetch
        Look for passwords and tokens; without it there are none.
    """

    def __init__(
        self, problems: Problems, cautions: list[str], folder: Path, env: Mapping[str, str], *, fetch: bool
    ) -> None:
        self._problems = problems
        self._cautions = cautions
        self._secrets = SecretReader(problems, cautions, folder, env, what="a secret of a sensor")
        self._fetch = fetch
        self._context = {"resolve": partial(resolve, folder=folder, env=env)}

    def read(self, sensors: Tables, brokers: Tables, push: Mapping[str, Any], sites: Tables, pieces: Tables) -> Sensing:
        """Return what the tables describe; what is wrong with them is noted."""
        read_brokers = {key: self._broker(key, table) for key, table in brokers.items()}
        door = self._door(push, needed=any(table.get("push") is True for table in sensors.values()))
        read_sensors = {key: self._sensor(key, table, sites, pieces, brokers) for key, table in sensors.items()}
        return Sensing(
            {key: sensor for key, sensor in read_sensors.items() if sensor},
            {key: broker for key, broker in read_brokers.items() if broker},
            door,
        )

    def _broker(self, key: str, table: Mapping[str, Any]) -> Broker | None:
        path = ["broker", key]
        password = self._secret(path, table, "password")
        if "user" not in table and {"password_env", "password_file"} & set(table):
            self._problems.add(path, "has a password and no user; wanted both")
        broker = self._with_secret(Broker, path, table, "a broker", "password", {"key": key, "password": password})
        if broker and broker.user and not broker.tls and broker.host not in _LOOPBACK:
            text = f"broker.{key}: what is sent to {broker.host}, the password too, can be read on the way"
            self._cautions.append(f"{text}; set tls = true where it has encryption")
        return broker

    def _door(self, table: Mapping[str, Any], *, needed: bool) -> PushDoor | None:
        if not table and not needed:
            return None
        path = ["push"]
        token = self._secret(path, table, "token")
        if not {"token_env", "token_file"} & set(table):
            self._problems.add(path, "has no token; wanted one of token_env or token_file")
        if token is not None and len(token.get_secret_value()) < _SHORTEST_TOKEN:
            text = f"is shorter than {_SHORTEST_TOKEN} letters; wanted one that cannot be guessed"
            self._problems.add(["push"], f"leads to a token that {text}")
        door = self._with_secret(PushDoor, path, table, "[push]", "token", {"token": token})
        if door and door.listen[0] not in _LOOPBACK:
            text = f"push.listen: what is sent to {door.listen[0]}, the token too, can be read on the way"
            self._cautions.append(f"{text}; keep that port within your own network")
        return door

    def _sensor(
        self, key: str, table: Mapping[str, Any], sites: Tables, pieces: Tables, brokers: Tables
    ) -> Sensor | None:
        path, before = ["sensor", key], len(self._problems.found)
        self._problems.check_keys(path, table, SENSOR_KEYS, "a sensor")
        way = self._way(path, table, brokers)
        head = {name: table[name] for name in HEAD_KEYS if name in table}
        measures = self._measures([*path, "read"], table, way)
        filled_in = {
            "key": key,
            "way": way or Pushed(),  # where there is none, the rest is still looked at
            "read": measures,
            "time": self._time([*path, "time"], table["time"], way) if "time" in table else None,
            **self._site(path, head, sites, pieces),
        }
        if isinstance(way, Followed) and "time" not in table:
            text = 'is missing; a line that is read later needs its own time, such as time = { path = "time" }'
            self._problems.add([*path, "time"], text)
        sensor = self._problems.read(Sensor, path, head, owner="a sensor", filled_in=filled_in)
        if sensor and isinstance(way, Poll) and way.every_s > sensor.silent_after_s:
            text = (
                f"is shorter than every ({way.every_s:g} s); the sensor would be taken for silent between two answers"
            )
            self._problems.add_value([*path, "silent_after"], table.get("silent_after", "30 min"), text)
        if any(measure.variable == "surface_temperature" for measure in measures) and "piece" not in table:
            self._problems.add([*path, "piece"], "is missing; a surface temperature is that of a piece")
        return sensor if len(self._problems.found) == before else None

    def _site(self, path: list[str], head: Mapping[str, Any], sites: Tables, pieces: Tables) -> dict[str, Any]:
        """Check where a sensor is, and return its site where that is not written."""
        for name, known in (("site", sites), ("piece", pieces)):
            value = head.get(name)
            if isinstance(value, str) and value not in known:
                self._problems.add_reference([*path, name], value, known, name)
        first = next(iter(sites), "")
        piece = head.get("piece")
        of_piece = pieces[piece].get("site", first) if isinstance(piece, str) and piece in pieces else None
        if "site" in head:
            if of_piece is not None and head["site"] in sites and head["site"] != of_piece:
                self._problems.add_value([*path, "site"], head["site"], f"is not the site of piece {piece}")
            return {}
        if of_piece is None and len(sites) > 1:
            self._problems.add([*path, "site"], f"is missing; wanted one of the sites {listed(sites, 'or')}")
        return {"site": of_piece if isinstance(of_piece, str) else first}

    def _way(self, path: list[str], table: Mapping[str, Any], brokers: Tables) -> Way | None:
        given = [name for name in WAYS if name in table]
        if len(given) != 1:
            found = f"has {listed(given)}" if given else "has no way for its readings to arrive"
            self._problems.add(path, f"{found}; wanted one of {listed(WAYS, 'or')}")
            return None
        (name,) = given
        value, at = table[name], [*path, name]
        if name == "push":
            if value is not True:
                self._problems.add_value(at, value, "is not true; wanted push = true, without quotes, or none of it")
            return Pushed()
        if not isinstance(value, Mapping):
            self._problems.add_value(at, value, f"is no table; wanted such as {name} = {_EXAMPLES[name]}")
            return None
        readers: dict[str, Callable[[list[str], Mapping[str, Any]], Way | None]] = {
            "mqtt": partial(self._mqtt, brokers=brokers),
            "http": self._poll,
            "file": self._followed,
        }
        return readers[name](at, value)

    def _mqtt(self, path: list[str], table: Mapping[str, Any], brokers: Tables) -> Mqtt | None:
        filled_in = {}
        if "broker" not in table:
            filled_in["broker"] = next(iter(brokers), "")
            if len(brokers) != 1:
                wanted = f"one of the brokers {listed(brokers, 'or')}" if brokers else "a table headed [broker.KEY]"
                self._problems.add([*path, "broker"], f"is missing; wanted {wanted}")
        elif isinstance(table["broker"], str) and table["broker"] not in brokers:
            self._problems.add_reference([*path, "broker"], table["broker"], brokers, "broker")
        return self._problems.read(Mqtt, path, table, owner="mqtt", filled_in=filled_in)

    def _poll(self, path: list[str], table: Mapping[str, Any]) -> Poll | None:
        token = self._secret(path, table, "token")
        return self._with_secret(Poll, path, table, "http", "token", {"token": token})

    def _followed(self, path: list[str], table: Mapping[str, Any]) -> Followed | None:
        filled_in = {}
        if "format" not in table and isinstance(table.get("path"), str):
            filled_in["format"] = format_of(table["path"])
            if filled_in["format"] is None:
                self._problems.add([*path, "format"], 'is missing; wanted "csv" or "jsonl"')
                return None
        followed = self._problems.read(Followed, path, table, owner="file", filled_in=filled_in, context=self._context)
        if followed and followed.format != "csv":
            for name in ("separator", "columns"):
                if name in table:
                    self._problems.add_value([*path, name], table[name], "is only for CSV")
        return followed

    def _measures(self, path: list[str], sensor: Mapping[str, Any], way: Way | None) -> tuple[Measure, ...]:
        tables = sensor.get("read")
        if not isinstance(tables, Mapping) or not tables:
            text = 'wanted what it reads, such as read = { air_temperature = { path = "t", unit = "degC" } }'
            self._problems.add(path, f"is {'no table with anything in it' if 'read' in sensor else 'missing'}; {text}")
            return ()
        read = [self._measure([*path, name], name, table, way) for name, table in tables.items()]
        return tuple(measure for measure in read if measure)

    def _measure(self, path: list[str], name: str, table: Any, way: Way | None) -> Measure | None:
        if name not in MEASURED:
            self._problems.add_unknown(path, MEASURED, "what a sensor can read")
            return None
        if not isinstance(table, Mapping):
            self._problems.add_value(path, table, 'is no table; wanted such as { path = "t", unit = "degC" }')
            return None
        keys = [key for key in written_keys(Measure) if key != "variable"]
        self._problems.check_keys(path, table, keys, "a reading")
        known = {key: table[key] for key in keys if key in table}
        measure = self._problems.read(Measure, path, known, owner="a reading", filled_in={"variable": name})
        if measure is None:
            return None
        self._check_path([*path, "path"], measure.path, way)
        variable = VARIABLES[name]
        if "kind" in table and variable.cell != "sum":
            self._problems.add_value([*path, "kind"], table["kind"], "is only for precipitation_amount")
        if measure.unit is not None:
            try:
                measure.unit.to(1.0, variable.unit)
            except ValueError as error:
                self._problems.add_value([*path, "unit"], table["unit"], str(error))
        if measure.topic is not None and way is not None:
            subscribed = way.topic if isinstance(way, Mqtt) else None
            if subscribed is None:
                self._problems.add_value([*path, "topic"], measure.topic, "is only for mqtt")
            elif not _covers(subscribed, measure.topic):
                self._problems.add_value([*path, "topic"], measure.topic, f'is not in the topic "{subscribed}"')
        return measure

    def _time(self, path: list[str], table: Any, way: Way | None) -> OwnTime | None:
        if not isinstance(table, Mapping):
            self._problems.add_value(path, table, 'is no table; wanted such as { path = "ts", format = "unix" }')
            return None
        time = self._problems.read(OwnTime, path, table, owner="time")
        if time is not None:
            self._check_path([*path, "path"], time.path, way)
            if time.zone is not None and time.format != "iso":
                self._problems.add_value([*path, "zone"], table["zone"], 'is only for format = "iso"')
        return time

    def _check_path(self, path: list[str], text: str, way: Way | None) -> None:
        if isinstance(way, Followed) and way.format == "csv":
            if not text:
                self._problems.add(path, "is missing; wanted the name of a column")
            elif way.columns and text not in way.columns:
                self._problems.add_reference(path, text, way.columns, "column")
            return
        try:
            parse_path(text)
        except ValueError as error:
            self._problems.add_value(path, text, str(error))

    def _secret(self, path: list[str], table: Mapping[str, Any], name: str) -> SecretStr | None:
        given = [key for key in (f"{name}_env", f"{name}_file") if key in table]
        if len(given) > 1:
            self._problems.add(path, f"has {listed(given)}; wanted one of them")
            return None
        if not given:
            return None
        (key,) = given
        at, value = [*path, key], table[key]
        if not self._secrets.is_name(at, value) or not self._fetch:
            return None
        fetch = self._secrets.from_file if key.endswith("_file") else self._secrets.from_environment
        secret = fetch(at, value)
        if secret is not None and (not secret or not secret.isprintable()):
            self._problems.add_value(at, value, f"leads to what is no {name}; wanted one line of text")
            return None
        return SecretStr(secret) if secret else None

    def _with_secret(
        self, model: type[Guarded], path: list[str], table: Mapping[str, Any], owner: str, secret: str, filled_in: Any
    ) -> Guarded | None:
        """Read a model whose secret stands elsewhere and has been fetched."""
        keys = keys_with_secret(model, secret)
        self._problems.check_keys(path, table, keys, owner)
        known = {key: table[key] for key in written_keys(model) if key in table and key != secret}
        return self._problems.read(model, path, known, owner=owner, filled_in=filled_in, context=self._context)


_EXAMPLES = {
    "mqtt": '{ topic = "shed/climate" }',
    "http": '{ url = "http://192.168.1.20/state" }',
    "file": '{ path = "readings.csv" }',
}


def _covers(subscribed: str, topic: str) -> bool:
    """Say whether all that a topic filter matches is matched by another."""
    for wide, narrow in zip_longest(subscribed.split("/"), topic.split("/")):
        if wide == "#":
            return True
        if wide is None or narrow in {None, "#"} or wide not in {"+", narrow}:
            return False
    return True
