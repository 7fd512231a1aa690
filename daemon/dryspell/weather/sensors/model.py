"""What a configuration says of a sensor: where it is, the way its readings arrive, and what its payloads hold."""

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Annotated, Any, Literal
from zoneinfo import ZoneInfo

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, SecretStr, ValidationInfo, field_validator

from dryspell.units import within
from dryspell.weather.sensors.scale import Scale, read_scale
from dryspell.weather.table import VARIABLES

Kind = Literal["amount", "counter"]
Format = Literal["csv", "jsonl"]

MEASURED = tuple(name for name in VARIABLES if name != "probability_of_precipitation")
"""What a sensor can read."""

_SUFFIXES: Mapping[str, Format] = {".csv": "csv", ".jsonl": "jsonl", ".ndjson": "jsonl"}
_HEADER = re.compile(r"[A-Za-z0-9-]{1,64}", re.ASCII)
_LONGEST_TOPIC = 65_535  # bytes of UTF-8: MQTT 3.1.1, section 1.5.3


def _read_path(value: Any, info: ValidationInfo) -> Path | None:
    if value is None or isinstance(value, Path):
        return value
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        raise ValueError('is no path; wanted text such as "readings.csv"')
    resolve = (info.context or {}).get("resolve", Path)
    return Path(resolve(value))


def _read_host(value: Any) -> str:
    if isinstance(value, str) and value.strip() == value and value.isprintable() and not set(value) & set("/@ "):
        host = value.removeprefix("[").removesuffix("]")
        if host:
            return host
    raise ValueError('is no host; wanted a name or an address alone, such as "broker.lan"')


def _read_topic(value: Any) -> str:
    """Read a topic filter (MQTT 3.1.1, section 4.7.1): + is one whole level, # all that follow and the last."""
    if not isinstance(value, str) or not value or not value.isprintable():
        raise ValueError('is no topic; wanted such as "shed/climate", "shed/+" or "shed/#"')
    *before, last = value.split("/")
    if any("#" in level for level in before) or ("#" in last and last != "#"):
        raise ValueError('has # in the middle; it stands for all that follows and comes last, as in "shed/#"')
    if any("+" in level and level != "+" for level in (*before, last)):
        raise ValueError('has + beside other letters; it stands for one whole level, as in "shed/+/state"')
    if len(value.encode()) > _LONGEST_TOPIC:
        raise ValueError(f"is too long; wanted {_LONGEST_TOPIC} bytes at the most")
    return value


def _read_url(value: Any) -> str:
    text = value if isinstance(value, str) and value.isprintable() and " " not in value else ""
    scheme, mark, rest = text.partition("://")
    host = rest.partition("/")[0].partition("?")[0]
    if not mark or scheme.lower() not in {"http", "https"} or not host:
        raise ValueError("is no web address; wanted one that begins with http:// or https://")
    if "@" in host:
        raise ValueError("holds a name or a password; wanted it without, and a token in token_env or token_file")
    return text


def _read_header(value: Any) -> str:
    if isinstance(value, str) and _HEADER.fullmatch(value):
        return value
    raise ValueError('is no name of a header; wanted such as "Authorization"')


def _read_columns(value: Any) -> tuple[str, ...]:
    if isinstance(value, list | tuple) and all(isinstance(name, str) and name.strip() for name in value):
        return tuple(value)
    raise ValueError('is no list of names; wanted such as ["time", "temperature"]')


def _read_listen(value: Any) -> tuple[str, int]:
    if isinstance(value, tuple):
        return value
    host, mark, port = value.rpartition(":") if isinstance(value, str) else ("", "", "")
    number = int(port) if port.isascii() and port.isdigit() and len(port) < 6 else -1
    if not mark or not 0 <= number <= 65_535 or (":" in host and not host.startswith("[")):
        raise ValueError('is no address to listen on; wanted host and port, such as "127.0.0.1:8470"')
    return _read_host(host), number


def _read_zone(value: Any) -> ZoneInfo | None:
    if value is None or isinstance(value, ZoneInfo):
        return value
    try:
        return ZoneInfo(str(value))
    except (ValueError, OSError, KeyError):
        raise ValueError("is no time zone; wanted UTC or an IANA name such as Europe/Berlin") from None


FilePath = Annotated[Path | None, BeforeValidator(_read_path)]
Topic = Annotated[str, BeforeValidator(_read_topic)]
Host = Annotated[str, BeforeValidator(_read_host)]
Text = Annotated[str, Field(strict=True)]


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)


class Broker(_Part):
    """An MQTT broker; all sensors that name it share one connection."""

    key: str
    host: Host = Field(examples=["broker.lan"], description="its name or address")
    tls: bool = Field(default=True, strict=True, description="encrypted, and the broker's certificate is checked")
    port: int | None = Field(default=None, strict=True, ge=1, le=65_535, description="8883 with TLS, 1883 without")
    ca_file: FilePath = Field(default=None, description="the authority that signed its certificate; the system's")
    cert_file: FilePath = Field(default=None, description="a certificate of ours, where the broker wants one")
    key_file: FilePath = Field(default=None, description="the key of that certificate; in cert_file")
    user: Text = Field(default="", description="as whom we come")
    password: SecretStr | None = None
    keepalive_s: Annotated[float, within("second", 5, 3600)] = Field(
        default=60.0, alias="keepalive", description="how soon a connection that fell silent is given up"
    )

    @field_validator("ca_file", "cert_file")
    @classmethod
    def _of_an_encrypted_connection(cls, path: Path | None, info: ValidationInfo) -> Path | None:
        if path is not None and not info.data.get("tls", True):
            raise ValueError("is only for tls = true")
        return path

    @field_validator("key_file")
    @classmethod
    def _of_a_certificate(cls, path: Path | None, info: ValidationInfo) -> Path | None:
        if path is not None and info.data.get("cert_file", path) is None:
            raise ValueError("is only there with cert_file")
        return path

    @property
    def address(self) -> tuple[str, int]:
        """Host and port."""
        return self.host, self.port or (8883 if self.tls else 1883)

    @property
    def name(self) -> str:
        """What to call the broker in messages."""
        host, port = self.address
        return f"broker {self.key} ({f'[{host}]' if ':' in host else host}:{port})"


class PushDoor(_Part):
    """Where the daemon listens for readings that are pushed to it."""

    listen: Annotated[tuple[str, int], BeforeValidator(_read_listen)] = Field(
        default=("127.0.0.1", 8470), validate_default=True, description="host and port to listen on"
    )
    token: SecretStr | None = None


class Mqtt(_Part):
    """Messages of a broker."""

    broker: str
    topic: Topic = Field(examples=["shed/climate"], description="what is subscribed to; + and # are wildcards")


class Poll(_Part):
    """A device that is asked over HTTP."""

    url: Annotated[str, BeforeValidator(_read_url)] = Field(
        examples=["http://192.168.1.20/state"], description="the address that answers with the readings"
    )
    every_s: Annotated[float, within("second", 1, 86_400)] = Field(
        default=60.0, alias="every", examples=["60 s"], description="how often it is asked"
    )
    header: Annotated[str, BeforeValidator(_read_header)] = Field(
        default="Authorization", examples=["X-Token"], description="the header a token is sent in"
    )
    token: SecretStr | None = None


class Pushed(_Part):
    """Readings that somebody sends to the daemon."""


class Followed(_Part):
    """A file that somebody else adds lines to."""

    path: FilePath = Field(examples=["readings.csv"], description="the file")
    format: Format = Field(
        default="csv", examples=["jsonl"], description="csv, or jsonl: an object a line; by how its name ends"
    )
    separator: Literal[",", ";", "tab", "space"] = Field(
        default=",",
        examples=[";"],
        description="between the fields of a CSV line; with a semicolon, a comma in a number is its point",
    )
    columns: Annotated[tuple[str, ...], BeforeValidator(_read_columns)] = Field(
        default=(), examples=[["time", "temperature"]], description="names of the columns, where no header gives them"
    )


Way = Mqtt | Poll | Pushed | Followed


class Measure(_Part):
    """One variable in a payload."""

    variable: str
    path: Text = Field(
        default="", examples=["temperature"], description="where it stands; left out, the whole payload is the value"
    )
    unit: Annotated[Scale | None, BeforeValidator(read_scale)] = Field(
        default=None, examples=["degC"], description="its unit; left out, the payload has it beside the number"
    )
    kind: Kind = Field(
        default="amount",
        examples=["counter"],
        description="of rain: amount since the last message, or counter of all so far",
    )
    topic: Topic | None = Field(
        default=None, examples=["garden/rain"], description="only out of messages of this topic"
    )


class OwnTime(_Part):
    """The instant in a payload."""

    path: Text = Field(examples=["ts"], description="where it stands")
    format: Literal["unix", "unix_ms", "iso"] = Field(
        default="iso", examples=["unix"], description="seconds or ms since 1970, or ISO 8601"
    )
    zone: Annotated[ZoneInfo | None, BeforeValidator(_read_zone)] = Field(
        default=None, examples=["UTC"], description="of times without an offset; left out, those are not read"
    )


class Sensor(_Part):
    """A sensor at a site, or on or in a piece."""

    key: str
    label: Text = Field(default="", alias="name", description="what to call it in messages")
    site: str = Field(examples=["harbour"], description="the key of its site")
    piece: str | None = Field(
        default=None, description="the key of the piece it is on or in; left out, it reads the open air of the site"
    )
    silent_after_s: Annotated[float, within("second", 60, 7 * 86_400)] = Field(
        default=1800.0, alias="silent_after", description="without a reading for this long, it is taken to have failed"
    )
    way: Way
    read: tuple[Measure, ...]
    time: OwnTime | None = None

    @property
    def name(self) -> str:
        """What to call the sensor in messages."""
        return self.label or self.key.replace("_", " ")


def format_of(path: str) -> Format | None:
    """Return the format of a file by how its name ends, None where that does not tell."""
    return _SUFFIXES.get(Path(path).suffix.lower())
