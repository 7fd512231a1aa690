"""What a configuration holds besides sites, pieces and coatings, and the whole of it once it is read."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationInfo, field_validator

from dryspell.alerts.quiet import DEFAULT_QUIET, Quiet, QuietHours
from dryspell.config.page import PageSettings
from dryspell.config.part import WEB, FilePath, Part, read_web_address
from dryspell.config.services import SourceKind, WeatherSettings, read_kinds
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay, Step, System, lay_at, lays_of
from dryspell.units import within

if TYPE_CHECKING:  # models that most configurations have no table for
    from dryspell.config.target import AlertTarget
    from dryspell.trade.person import Person
    from dryspell.trade.stock import Stock
    from dryspell.weather.sensors.model import Broker, PushDoor, Sensor

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})", re.ASCII)
_MAILBOX = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
_TOPIC_LEVEL = re.compile(r"[A-Za-z0-9_-]+", re.ASCII)


def _read_clock(value: Any) -> time:
    if isinstance(value, time):
        return value
    match = _CLOCK.fullmatch(value) if isinstance(value, str) else None
    if match is None or int(match[1]) > 23 or int(match[2]) > 59:
        raise ValueError('is no time of day; wanted such as "18:00"')
    return time(int(match[1]), int(match[2]))


def _read_contact(value: Any) -> str:
    if isinstance(value, str) and value.isascii() and value.isprintable():
        text = value.strip()
        if _MAILBOX.fullmatch(text) or WEB.fullmatch(text):
            return text
    raise ValueError('is no e-mail or web address in plain ASCII letters; wanted such as "you@example.org"')


def _read_prefix(value: Any) -> str:
    levels = value.split("/") if isinstance(value, str) else []
    if not levels or not all(_TOPIC_LEVEL.fullmatch(level) for level in levels) or len(value) > 60:
        raise ValueError(
            'is no beginning of a topic; wanted letters, digits, _ and -, with / between, such as "dryspell"'
        )
    return str(value)


def _read_link(value: Any) -> str:
    return "" if value == "" else read_web_address(value)


Contact = Annotated[str, BeforeValidator(_read_contact)]


class TopSettings(Part):
    """What stands before the first table."""

    contact: Contact = Field(
        default="", description="your e-mail or web address, for the operator of a weather service"
    )
    state: FilePath = Field(default=None, description="folder of the state")


class AlertSettings(Part):
    """How alerts are worded and timed, whoever gets them."""

    evening: Annotated[time, BeforeValidator(_read_clock)] = Field(
        default=time(18, 0), description="local time of the word on tomorrow's windows"
    )
    units: Literal["metric", "us"] = Field(default="metric", description="units of messages")
    quiet: QuietHours = Field(
        default=DEFAULT_QUIET,
        validate_default=True,
        description="hours in which nobody is told of anything but a film that can still be saved",
    )
    again: int = Field(
        default=1, strict=True, ge=0, le=3, description="how often a thing may be said again while it matters"
    )
    link: Annotated[str, BeforeValidator(_read_link)] = Field(
        default="", description="where the page of this daemon is found, for the links in messages"
    )

    @field_validator("quiet")
    @classmethod
    def _clear_of_the_evening(cls, quiet: Quiet | None, info: ValidationInfo) -> Quiet | None:
        evening = info.data.get("evening")
        if quiet is not None and evening is not None and quiet.holds(evening):
            raise ValueError(f"hold the evening ({evening:%H:%M}), so that nothing could be said of the next day")
        return quiet


class MqttOutSettings(Part):
    """The broker to which states of pieces are published."""

    broker: str = Field(examples=["house"], description="the key of the broker")
    prefix: Annotated[str, BeforeValidator(_read_prefix)] = Field(
        default="dryspell", description="what all topics begin with"
    )


class DaemonSettings(Part):
    """How the daemon runs."""

    tick_s: Annotated[float, within("second", 1, 3600)] = Field(
        default=60.0, alias="tick", description="how often everything is looked at again"
    )


class RecordSettings(Part):
    """How long the record is kept that corrections and odds are learned from."""

    readings_d: Annotated[float, within("day", 7, 3660)] = Field(
        default=400.0, alias="readings", description="how long readings of sensors are kept"
    )
    forecasts_d: Annotated[float, within("day", 7, 3660)] = Field(
        default=400.0, alias="forecasts", description="how long forecasts are kept as they were issued"
    )


@dataclass(frozen=True)
class Config:
    """A configuration that is right in all its parts.

    Attributes
    ----------
    file
        Where it was read from.
    contact
        How the operator of a weather service can reach the user; empty where no service is asked.
    state_dir
        The folder of the state; it need not exist yet.
    site, piece
        By key.
    coating
        By key: every built-in family, and the user's own, merged with the family they start from.
    system
        Build-ups of several coatings, by key.
    alerts
        Targets by key.
    sensor, broker, push
        Sensors and brokers by key, and where readings are pushed to; None where nothing is.
    mqtt_out
        To which broker states of pieces are published; None to none.
    record
        How long readings and forecasts are kept.
    page
        Where the page is served, and to whom.
    stock
        What is at hand of coatings, by key.
    person
        Who does the work, by key; nobody told is one finisher, in the hours of each piece.
    cautions
        What is allowed but worth a second look, one sentence each.
    """

    file: Path
    contact: str
    state_dir: Path
    site: dict[str, Site]
    piece: dict[str, Piece]
    coating: Mapping[str, Coating]
    system: dict[str, System]
    weather: WeatherSettings
    alerting: AlertSettings
    alerts: "dict[str, AlertTarget]"
    daemon: DaemonSettings
    cautions: tuple[str, ...] = ()
    sensor: Mapping[str, "Sensor"] = field(default_factory=dict)
    broker: Mapping[str, "Broker"] = field(default_factory=dict)
    push: "PushDoor | None" = None
    mqtt_out: MqttOutSettings | None = None
    record: RecordSettings = field(default_factory=RecordSettings)
    page: PageSettings = field(default_factory=PageSettings)
    stock: Mapping[str, "Stock"] = field(default_factory=dict)
    person: Mapping[str, "Person"] = field(default_factory=dict)

    def site_of(self, piece: Piece) -> Site:
        """Return the site of a piece."""
        return self.site[piece.site]

    def sources_of(self, site: Site) -> tuple[SourceKind, ...]:
        """Return where a site's weather comes from, in order of preference."""
        return read_kinds(site.sources) if site.sources else self.weather.sources

    def lays_of(self, piece: Piece) -> tuple[Lay, ...]:
        """Return the build-up of a piece, coat by coat."""
        alike = (Step(coating=piece.coating, times=piece.coats),)
        steps = self.system[piece.system].coats if piece.system else alike
        return lays_of(steps, self.coating, on_old_film=piece.over == "old film")

    def lay_of(self, piece: Piece, number: int) -> Lay:
        """Return the coat of that number of a piece's build-up; past its last coat, that one."""
        return lay_at(self.lays_of(piece), number)

    def coatings_of(self, piece: Piece) -> list[str]:
        """Return the keys of the coatings of a piece's build-up, in their order."""
        return list(dict.fromkeys(lay.coating.key for lay in self.lays_of(piece)))
