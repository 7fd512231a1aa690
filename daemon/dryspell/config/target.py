"""Somebody who is told: where, of what, and how."""

import re
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, SecretStr

from dryspell.alerts.kinds import ConfigKind, Kind, Level, OutageKind, SensorKind
from dryspell.alerts.quiet import Quiet, read_quiet
from dryspell.config.part import Part
from dryspell.config.wording import listed, meant

_ANY_SCHEME = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://\S+")

NOTICE_KINDS: tuple[str, ...] = (*Kind, *SensorKind, *OutageKind, *ConfigKind)
USUAL = "usual"


def _read_alert_address(value: Any) -> SecretStr:
    """Take an address without ever repeating it in a message: it holds passwords and tokens."""
    if isinstance(value, SecretStr):
        return value
    if not isinstance(value, str) or _ANY_SCHEME.fullmatch(value.strip()) is None:
        raise ValueError("is no alert address; wanted scheme://... such as mailto://... or json://...")
    return SecretStr(value.strip())


def _read_own_quiet(value: Any) -> Any:
    return value if value == USUAL else read_quiet(value)


def _read_level(value: Any) -> Level:
    if value in tuple(Level):
        return Level(value)
    names = [level.value for level in Level]
    known = meant(value, names, f"there is {listed(names)}") if isinstance(value, str) else f"there is {listed(names)}"
    raise ValueError(f"is no level; {known}")


def _read_notice_kinds(value: Any) -> tuple[str, ...] | None:
    if value is None or isinstance(value, tuple):
        return value
    if not isinstance(value, list) or not value or not all(isinstance(kind, str) for kind in value):
        raise ValueError(f'is no list of kinds of notices; wanted such as ["in_service"], of {listed(NOTICE_KINDS)}')
    for kind in value:
        if kind not in NOTICE_KINDS:
            known = meant(kind, NOTICE_KINDS, f"there is {listed(NOTICE_KINDS)}")
            raise ValueError(f'has "{kind}", which is no kind of notice; {known}')
    return tuple(value)


AlertAddress = Annotated[SecretStr, BeforeValidator(_read_alert_address)]


class TargetWays(Part):
    """How one target is told, beside what goes for all."""

    level: Annotated[Level, BeforeValidator(_read_level)] = Field(
        default=Level.PLAN, description="the least urgent that it is told of: wake, now, plan, or log for everything"
    )
    kinds: Annotated[tuple[str, ...] | None, BeforeValidator(_read_notice_kinds)] = Field(
        default=None, description="the kinds of notices that it is told of; left out, every kind"
    )
    quiet: Annotated[Quiet | Literal["usual"] | None, BeforeValidator(_read_own_quiet)] = Field(
        default="usual", description='quiet hours of its own, or "none"; left out, those of [alerts]'
    )
    units: Literal["metric", "us"] | None = Field(default=None, description="units of its messages; those of [alerts]")
    pictures: bool = Field(
        default=True, strict=True, description="a chart of the next 36 hours goes with a message, where both can"
    )


class AlertTarget(TargetWays):
    """Somebody who is told: an Apprise address and the pieces it is about."""

    key: str
    url: AlertAddress = Field(description="an address as Apprise reads it; better kept in url_env or url_file")
    pieces: tuple[str, ...] | None = Field(default=None, description="keys of pieces; left out, every piece")

    @property
    def scheme(self) -> str:
        """The part of the address that may be shown."""
        return scheme_of(self.url.get_secret_value())

    def hears_of(self, piece: str) -> bool:
        """Say whether this target is told about a piece."""
        return self.pieces is None or piece in self.pieces

    def hears(self, kind: str, level: Level) -> bool:
        """Say whether this target is told of a kind of notice that is so urgent."""
        return level.reaches(self.level) and (self.kinds is None or kind in self.kinds)

    def quiet_hours(self, usual: Quiet | None) -> Quiet | None:
        """Return its quiet hours, which are the usual ones where it has none of its own."""
        return usual if isinstance(self.quiet, str) else self.quiet


def scheme_of(address: str) -> str:
    """Return an address with all but its scheme hidden."""
    return f"{address.partition('://')[0]}://…"
