"""What a configuration holds besides sites, pieces and coatings, and the whole of it once it is read."""

import re
from dataclasses import dataclass
from datetime import time
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, SecretStr, ValidationInfo, field_validator

from dryspell.config.places import resolve
from dryspell.trade.coating import Coating
from dryspell.trade.piece import Piece, Site
from dryspell.units import within

_CLOCK = re.compile(r"(\d{1,2}):(\d{2})", re.ASCII)
_MAILBOX = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
_WEB = re.compile(r"https?://[^\s/?#]+\S*", re.IGNORECASE)
_ANY_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://\S+")


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
        if _MAILBOX.fullmatch(text) or _WEB.fullmatch(text):
            return text
    raise ValueError('is no e-mail or web address in plain ASCII letters; wanted such as "you@example.org"')


def _read_web_address(value: Any) -> str:
    if isinstance(value, str) and _WEB.fullmatch(value) and value.isprintable():
        return value
    raise ValueError("is no web address; wanted one that begins with https:// or http://")


def _read_path(value: Any, info: ValidationInfo) -> Path | None:
    if value is None or isinstance(value, Path):
        return value
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        raise ValueError('is no path; wanted text such as "weather.csv"')
    context = info.context or {}
    return resolve(value, context.get("folder", Path()), context.get("env", {}))


def _read_alert_address(value: Any) -> SecretStr:
    """Take an address without ever repeating it in a message: it holds passwords and tokens."""
    if isinstance(value, SecretStr):
        return value
    if not isinstance(value, str) or _ANY_SCHEME.fullmatch(value.strip()) is None:
        raise ValueError("is no alert address; wanted scheme://... such as mailto://... or json://...")
    return SecretStr(value.strip())


FilePath = Annotated[Path | None, BeforeValidator(_read_path)]
Contact = Annotated[str, BeforeValidator(_read_contact)]
AlertAddress = Annotated[SecretStr, BeforeValidator(_read_alert_address)]


class Part(BaseModel):
    """One table of the configuration."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class TopSettings(Part):
    """What stands before the first table."""

    contact: Contact = Field(
        default="", description="your e-mail or web address, for the operator of a weather service"
    )
    state: FilePath = Field(default=None, description="folder of the state")


class WeatherSettings(Part):
    """Where the weather comes from, how often, and how old it may get."""

    source: Literal["open-meteo", "table"] = Field(default="open-meteo", description="a forecast service, or a file")
    file: FilePath = Field(default=None, description="the table file, CSV or JSON Lines")
    base_url: Annotated[str, BeforeValidator(_read_web_address)] = Field(
        default="https://api.open-meteo.com", description="the host of the service, such as one of your own"
    )
    stale_after_h: Annotated[float, within("hour", 1, 72)] = Field(
        default=6.0, alias="stale_after", description="older weather is not acted on: the answer is then unknown"
    )
    refresh_s: Annotated[float, within("second", 600, 86_400)] = Field(
        default=3600.0, alias="refresh", description="how often the service is asked, at most"
    )
    forecast_days: int = Field(default=16, strict=True, ge=3, le=16, description="how far ahead to look")

    @field_validator("refresh_s")
    @classmethod
    def _before_it_is_stale(cls, refresh_s: float, info: ValidationInfo) -> float:
        if refresh_s > 3600 * (stale_after_h := info.data.get("stale_after_h", refresh_s)):
            raise ValueError(f"is longer than stale_after ({stale_after_h:g} h); weather has to be fetched before that")
        return refresh_s


class AlertSettings(Part):
    """How alerts are worded and timed, whoever gets them."""

    evening: Annotated[time, BeforeValidator(_read_clock)] = Field(
        default=time(18, 0), description="local time of the word on tomorrow's windows"
    )
    units: Literal["metric", "us"] = Field(default="metric", description="units of messages")


class DaemonSettings(Part):
    """How the daemon runs."""

    tick_s: Annotated[float, within("second", 1, 3600)] = Field(
        default=60.0, alias="tick", description="how often everything is looked at again"
    )


class AlertTarget(Part):
    """Somebody who is told: an Apprise address and the pieces it is about."""

    key: str
    url: AlertAddress
    pieces: tuple[str, ...] | None = Field(default=None, description="keys of pieces; None is every piece")

    @property
    def scheme(self) -> str:
        """The part of the address that may be shown."""
        return scheme_of(self.url.get_secret_value())

    def hears_of(self, piece: str) -> bool:
        """Say whether this target is told about a piece."""
        return self.pieces is None or piece in self.pieces


def scheme_of(address: str) -> str:
    """Return an address with all but its scheme hidden."""
    return f"{address.partition('://')[0]}://…"


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
    alerts
        Targets by key.
    cautions
        What is allowed but worth a second look, one sentence each.
    """

    file: Path
    contact: str
    state_dir: Path
    site: dict[str, Site]
    piece: dict[str, Piece]
    coating: dict[str, Coating]
    weather: WeatherSettings
    alerting: AlertSettings
    alerts: dict[str, AlertTarget]
    daemon: DaemonSettings
    cautions: tuple[str, ...] = ()

    def site_of(self, piece: Piece) -> Site:
        """Return the site of a piece."""
        return self.site[piece.site]

    def coating_of(self, piece: Piece) -> Coating:
        """Return the coating of a piece."""
        return self.coating[piece.coating]
