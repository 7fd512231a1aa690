"""The text of a first configuration. What it says of its keys is what their models say of them."""

import json
import re
import textwrap
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Literal, get_args, get_origin
from zoneinfo import ZoneInfo

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from dryspell.bundled import bundled
from dryspell.config.load import parse
from dryspell.config.settings import Config, TopSettings
from dryspell.config.wording import key_text, listed
from dryspell.trade.families import family_keys
from dryspell.trade.piece import Face, Piece, Site

EXAMPLE = "example.toml"
FACES: tuple[str, ...] = get_args(Face)
SITE = "home"
TARGET = "phone"
# Of a piece, what is often set, beside what is asked for.
_OFTEN = ("coats", "done", "shelter", "sun", "shade", "colour", "body", "brush_time")
_WIDTH = 118
_DEGREES = re.compile(r"\s*([+-]?\d{1,3}(?:\.\d+)?)\s*(?:°|deg)?\s*([NSEW]?)\s*", re.IGNORECASE)
_VARIABLE = re.compile(r"[A-Za-z_][A-Za-z0-9_]*", re.ASCII)


@dataclass(frozen=True)
class First:
    """What a first configuration is made of, as it is written in it.

    The defaults make a configuration that is good, so that answers can be tried one after the other.
    """

    latitude: str = "54.3 deg"
    longitude: str = "10.2 deg"
    timezone: str = "UTC"
    name: str = "Front door"
    coating: str = "oil_varnish_1k"
    area: str = "2 m^2"
    face: str = "vertical"
    facing: str = ""
    tilt: str = ""
    hours: str = "08:00-18:00"
    alert_env: str = ""
    contact: str = "you@example.org"

    @property
    def piece(self) -> str:
        """The key of the piece: its name as it can be typed on a command line."""
        return re.sub(r"\W+", "_", self.name.lower()).strip("_")


def read_place(text: str) -> tuple[str, str]:
    """Return latitude and longitude as a configuration has them, from "54.3, 10.2" or "54.3 N 10.2 E".

    Raises
    ------
    ValueError
        It is no such text.
    """
    parts = [part for part in re.split(r"[,;]", text) if part.strip()]
    if len(parts) == 1:
        parts = re.findall(r"[+-]?\d+(?:\.\d+)?\s*(?:°|deg)?\s*[NSEW]?", text, re.IGNORECASE)
        if "".join(parts).replace(" ", "") != text.replace(" ", ""):
            parts = []
    found = [_DEGREES.fullmatch(part) for part in parts]
    if len(found) != 2 or not all(found):
        raise ValueError(
            "is no place; wanted degrees with a point, latitude first, such as 54.3, 10.2 or 54.3 N 10.2 E"
        )
    (north, letter_n), (east, letter_e) = (match.groups() for match in found if match)
    if letter_n.upper() in ("E", "W") or letter_e.upper() in ("N", "S"):
        raise ValueError("has the longitude first; wanted latitude and then longitude, such as 54.3 N 10.2 E")
    return _degrees(north, letter_n, "S"), _degrees(east, letter_e, "W")


def _degrees(number: str, letter: str, other_way: str) -> str:
    number = number.lstrip("+")
    if letter.upper() == other_way:
        number = number[1:] if number.startswith("-") else f"-{number}"
    return f"{number} deg"


def zone_here(env: Mapping[str, str], root: Path = Path("/")) -> str:
    """Return the time zone that this computer is set to, UTC where that cannot be told."""
    named = [env.get("TZ", "").lstrip(":")]
    with suppress(OSError):
        named.append(str((root / "etc/localtime").readlink()).partition("zoneinfo/")[2])
    with suppress(OSError, ValueError):
        named.append((root / "etc/timezone").read_text("utf-8").strip())
    for name in filter(None, named):
        try:
            return ZoneInfo(name).key
        except (ValueError, OSError, KeyError):
            continue
    return "UTC"


def is_variable(name: str) -> bool:
    """Say whether text can be the name of a variable of the environment."""
    return _VARIABLE.fullmatch(name) is not None


def tried(first: First, file: Path, env: Mapping[str, str]) -> Config:
    """Return what a first configuration comes to, its secrets left where they are; ConfigError says what is wrong."""
    return parse(text_of(first), file, env=env, secrets=False)


def text_of(first: First) -> str:
    """Return the TOML text."""
    return "\n".join(_lines(first)) + "\n"


def _lines(first: First) -> Iterator[str]:
    yield from _comment(
        "What dryspell watches over. `dryspell check` looks it over, and says what is wrong with which key. Quantities "
        "are text with a unit, any of the right kind. `dryspell init --example` prints every key there is."
    )
    yield ""
    yield from _key(TopSettings, "contact", first.contact)
    yield ""
    yield f"[site.{SITE}]"
    yield from _key(Site, "latitude", first.latitude)
    yield from _key(Site, "longitude", first.longitude)
    yield from _key(Site, "timezone", first.timezone)
    yield ""
    yield f"[piece.{key_text(first.piece)}]"
    yield from _key(Piece, "name", first.name)
    yield from _key(Piece, "coating", first.coating, f"The families: {', '.join(family_keys())}.")
    yield from _key(Piece, "area", first.area)
    yield from _key(Piece, "face", first.face)
    for key, value in (("facing", first.facing), ("tilt", first.tilt)):
        if value:
            yield from _key(Piece, key, value)
    yield from _key(Piece, "hours", first.hours, "Days may go before them: Mon-Fri 16:00-20:00, Sat 08:00-18:00.")
    yield ""
    yield from _comment("What is often set as well, each as it is where it is left out, or as an example:")
    shown = _shown()
    for key in _OFTEN:
        yield from _comment(_sentence(_field(Piece, key)))
        yield shown[key]
    yield ""
    if first.alert_env:
        yield f"[alert.{TARGET}]"
        yield from _comment(
            "The variable of the environment that holds the address, as Apprise reads them: mailto://..., a chat, a "
            "push service, your own webhook."
        )
        yield f"url_env = {_quoted(first.alert_env)}"
    else:
        yield from _comment("Who is told, once the variable holds an address as Apprise reads them:")
        yield f"#[alert.{TARGET}]"
        yield '#url_env = "DRYSPELL_PHONE"'


def _key(model: type[BaseModel], key: str, value: str, more: str = "") -> Iterator[str]:
    yield from _comment(f"{_sentence(_field(model, key))} {more}".strip())
    yield f"{key} = {_quoted(value)}"


def _field(model: type[BaseModel], key: str) -> FieldInfo:
    return next(field for name, field in model.model_fields.items() if key in (field.alias, name))


def _sentence(field: FieldInfo) -> str:
    said = field.description or ""
    choices = f": {listed(get_args(field.annotation), 'or')}" if get_origin(field.annotation) is Literal else ""
    return f"{said[:1].upper()}{said[1:]}{choices}."


def _shown() -> dict[str, str]:
    """Return the lines of the example that show a key of a piece, commented out."""
    text = bundled(EXAMPLE).read_text("utf-8")
    of_piece = text[text.index("\n[piece.") : text.index("\n#[piece.")]
    return {key: f"#{line}" for line, key in re.findall(r"(?m)^#?(([a-z_]+) = .*)$", of_piece)}


def _comment(text: str) -> Iterator[str]:
    yield from (f"# {line}" for line in textwrap.wrap(text, _WIDTH, break_on_hyphens=False, break_long_words=False))


def _quoted(text: str) -> str:
    # A basic string of TOML takes what JSON writes, but for DEL; that no answer may hold.
    return json.dumps(text, ensure_ascii=False)
