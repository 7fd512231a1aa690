"""Writes deploy/reference.md, every key of a configuration, from the models that read it."""  # noqa: INP001  (a script)

# The examples are the lines of config/example.toml, which a test loads.

import re
import types
from collections.abc import Iterator, Mapping
from datetime import time
from pathlib import Path
from typing import Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel, SecretStr
from pydantic.fields import FieldInfo

from dryspell.config.page import PageSettings
from dryspell.config.problems import as_toml
from dryspell.config.services import SERVICES, WeatherSettings
from dryspell.config.settings import (
    AlertSettings,
    DaemonSettings,
    MqttOutSettings,
    RecordSettings,
    TopSettings,
)
from dryspell.config.target import AlertTarget
from dryspell.trade.coating import Coating
from dryspell.trade.factors import Factors
from dryspell.trade.person import Person
from dryspell.trade.piece import Piece, Site
from dryspell.trade.stock import Stock
from dryspell.trade.system import Step, System
from dryspell.units import Within
from dryspell.weather.sensors.model import Broker, Followed, Measure, Mqtt, OwnTime, Poll, PushDoor, Sensor

ROOT = Path(__file__).resolve().parents[1]
PAGE = ROOT / "deploy" / "reference.md"
SHOWN_DEFAULT = 60

SECTIONS: tuple[tuple[str, str, type[BaseModel]], ...] = (
    ("", "Before the first table", TopSettings),
    ("site.KEY", "Where pieces stand", Site),
    ("piece.KEY", "What is being built up", Piece),
    ("person.KEY", "Who does the work", Person),
    ("coating.KEY", "A coating of your own, over its `family`", Coating),
    ("coating.KEY.factors", "What multiplies its times", Factors),
    ("system.KEY", "A build-up of several coatings", System),
    ("system.KEY.coats", "One coat of it, or several alike: a list of tables", Step),
    ("stock.KEY", "What is at hand", Stock),
    ("weather", "Where the weather comes from", WeatherSettings),
    *((f"weather.{name}", "A service", model) for name, model in SERVICES.items()),
    ("sensor.KEY", "A sensor; one of `mqtt`, `http`, `push` or `file` says how its readings arrive", Sensor),
    ("sensor.KEY.read.VARIABLE", "What it reads, by CF name", Measure),
    ("sensor.KEY.time", "The time of a reading", OwnTime),
    ("sensor.KEY.mqtt", "Out of messages of a broker", Mqtt),
    ("sensor.KEY.http", "Asked over the network", Poll),
    ("sensor.KEY.file", "Out of a file that grows", Followed),
    ("broker.KEY", "An MQTT broker", Broker),
    ("push", "Where readings are pushed to", PushDoor),
    ("record", "How long the record is kept", RecordSettings),
    ("alerts", "How alerts are worded and timed", AlertSettings),
    ("alert.KEY", "Who is told; `sites` and `tags`, as `pieces`, say of what", AlertTarget),
    ("mqtt_out", "States for a home hub", MqttOutSettings),
    ("page", "The page", PageSettings),
    ("daemon", "The daemon", DaemonSettings),
)

HEAD = """\
# Every key of a configuration

Written by `python deploy/reference.py` from the models that read the keys. Every quantity is text with its unit, and
any unit of the right kind will do; ranges stand in one of them. Where a key takes a secret it has `_env` and `_file`
beside it: the name of a variable of the environment, or of a file that only you can read. `dryspell check` says what is
wrong with a configuration, all of it at once, and `dryspell check --figures` what a coating is taken to be.
"""
COLUMNS = "| key | what it is | wanted | left out | example |\n|---|---|---|---|---|"


def page() -> str:
    """Return the page."""
    examples = examples_of((ROOT / "config" / "example.toml").read_text("utf-8"))
    parts = [HEAD]
    for heading, what, model in SECTIONS:
        rows = list(_rows(heading, model, examples))
        title = f"## `[{heading}]`\n\n{what}." if heading else f"## {what}"
        parts += [
            f"{title}\n",
            "| key | what it is | wanted | left out | example |",
            "|---|---|---|---|---|",
            *rows,
            "",
        ]
    return "\n".join(parts).rstrip() + "\n"


def examples_of(text: str) -> Mapping[tuple[str, str], str]:
    """Return the example lines of a commented configuration, by kind of table and key."""
    found: dict[tuple[str, str], str] = {}
    table = ""
    for line in text.splitlines():
        if heading := re.fullmatch(r"#?\[+([^\]]+)\]+", line):
            kind, *rest = heading[1].split(".")
            table = heading[1] if kind == "weather" else ".".join([kind, *["KEY"] * bool(rest), *rest[1:]])
        elif example := re.fullmatch(r"#{0,2}([a-z_][a-z0-9_-]*) = (.+)", line):
            found.setdefault((table, example[1]), f"{example[1]} = {example[2]}")
    return found


def _rows(heading: str, model: type[BaseModel], examples: Mapping[tuple[str, str], str]) -> Iterator[str]:
    for name, field in model.model_fields.items():
        if not field.description or name == "key":  # filled in from elsewhere
            continue
        key = field.alias or name
        family = model is Coating and field.is_required()
        own = next((f"{key} = {as_toml(each)}" for each in field.examples or ()), "")
        example = examples.get((heading, key)) or own
        cells = (f"`{key}`", field.description, _wanted(field), "of its family" if family else _default(field))
        yield f"| {' | '.join(_cell(cell) for cell in cells)} | {f'`{_cell(example)}`' if example else ''} |"


def _wanted(field: FieldInfo) -> str:
    if ranges := [*_ranges(field.metadata), *_ranges([field.annotation])]:
        text = f"{ranges[0].low:g} to {ranges[0].high:g} {ranges[0].unit}"
        return f"two of {text}" if _is_pair(field.annotation) else text
    parts = [part for part in get_args(field.annotation) if part is not type(None)]
    choices = [value for part in (field.annotation, *parts) if get_origin(part) is Literal for value in get_args(part)]
    if choices:
        return ", ".join(f'"{value}"' for value in choices)
    least = next((rule.ge for rule in field.metadata if hasattr(rule, "ge")), None)
    most = next((rule.le for rule in field.metadata if hasattr(rule, "le")), None)
    if least is not None and most is not None:
        return f"{least} to {most}"
    if least is not None:
        return f"{least} or more"
    return "true or false" if field.annotation is bool else ""


def _ranges(found: Any) -> Iterator[Within]:
    for part in found:
        if isinstance(part, Within):
            yield part
        else:
            yield from _ranges([*get_args(part), *getattr(part, "__metadata__", ())])


def _is_pair(annotation: Any) -> bool:
    if get_origin(annotation) in (Union, types.UnionType):
        return any(_is_pair(part) for part in get_args(annotation))
    origin = get_origin(annotation)
    return origin is tuple or (hasattr(annotation, "__metadata__") and _is_pair(annotation.__origin__))


def _default(field: FieldInfo) -> str:
    if field.is_required():
        return "has to be there"
    value = field.get_default(call_default_factory=True)
    if value is None or value in ("", ()) or isinstance(value, BaseModel | SecretStr):
        return ""
    ranges = [*_ranges(field.metadata), *_ranges([field.annotation])]
    if ranges and isinstance(value, float):
        return f"`{value:g} {ranges[0].unit}`"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    if isinstance(value, time):
        return f"`{value:%H:%M}`"
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return f"`{text}`" if isinstance(value, str | int | float) and len(text) <= SHOWN_DEFAULT else "as in the example"


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("\n", " ")


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
