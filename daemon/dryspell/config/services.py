"""The [weather] table: where the weather comes from, and the services that are asked."""

import re
from collections.abc import Mapping, Sequence
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, SecretStr, ValidationInfo, field_validator

from dryspell.config.part import FilePath, Part, WebAddress
from dryspell.config.wording import listed, meant
from dryspell.units import within

_MODEL = re.compile(r"[a-z][a-z0-9_]*", re.ASCII)

SourceKind = Literal["open-meteo", "open-meteo-ensemble", "met-norway", "nws", "table", "sensors"]
SOURCE_KINDS: tuple[SourceKind, ...] = get_args(SourceKind)
NETWORK_KINDS = frozenset(SOURCE_KINDS) - {"table", "sensors"}
"""Those that ask a service over the network."""
USUAL_YEARS = 10
"""So many past years are enough for what happens in one of ten."""


def _read_model(value: Any) -> str:
    if isinstance(value, str) and _MODEL.fullmatch(value):
        return value
    raise ValueError('is no model; wanted one of the names of Open-Meteo\'s ensembles, such as "ecmwf_ifs025_ensemble"')


def read_kinds(value: Any) -> tuple[SourceKind, ...]:
    """Read an order of preference; ValueError says what is wrong with it."""
    if not isinstance(value, list | tuple) or not value or not all(isinstance(kind, str) for kind in value):
        raise ValueError(f'is no list of sources; wanted such as ["open-meteo"], of {listed(SOURCE_KINDS)}')
    for kind in value:
        if kind not in SOURCE_KINDS:
            known = meant(kind, SOURCE_KINDS, f"there is {listed(SOURCE_KINDS)}")
            raise ValueError(f'has "{kind}", which is no source; {known}')
        if value.count(kind) > 1:
            raise ValueError(f'has "{kind}" more than once; keep one')
    return tuple(value)


class MetNorwaySettings(Part):
    """How MET Norway is asked."""

    base_url: WebAddress = Field(default="https://api.met.no", description="the host of the service")


class NwsSettings(Part):
    """How the US National Weather Service is asked."""

    base_url: WebAddress = Field(default="https://api.weather.gov", description="the host of the service")


class OpenMeteoSettings(Part):
    """How the forecast service of Open-Meteo is asked."""

    base_url: WebAddress = Field(
        default="https://api.open-meteo.com",
        description="the host of the service, such as that of paying customers or one of your own",
    )
    api_key_env: str = Field(default="", description="the variable of the environment that holds a customer's key")
    api_key_file: str = Field(default="", description="the file that holds it, instead")
    api_key: SecretStr = SecretStr("")


class EnsembleSettings(OpenMeteoSettings):
    """How the ensemble service of Open-Meteo is asked."""

    base_url: WebAddress = Field(
        default="https://ensemble-api.open-meteo.com",
        description="the host of the service, such as that of paying customers or one of your own",
    )
    model: Annotated[str, BeforeValidator(_read_model)] = Field(
        default="icon_seamless_eps", description="whose members: one of Open-Meteo's names of ensembles"
    )


class ArchiveSettings(OpenMeteoSettings):
    """How the archive of past weather of Open-Meteo is asked, for finish dates beyond the forecast."""

    base_url: WebAddress = Field(
        default="https://archive-api.open-meteo.com",
        description="the host of the service, such as that of paying customers or one of your own",
    )
    years: int | None = Field(
        default=None,
        strict=True,
        ge=0,
        le=40,
        description="how many past years it is asked for, 0 for none; left out, 10 where Open-Meteo's own host is "
        "among the sources, else none",
    )


SERVICES: Mapping[str, type[Part]] = {
    "open-meteo": OpenMeteoSettings,
    "open-meteo-ensemble": EnsembleSettings,
    "open-meteo-archive": ArchiveSettings,
    "met-norway": MetNorwaySettings,
    "nws": NwsSettings,
}
"""The tables under [weather], by the service they are of."""


class WeatherSettings(Part):
    """Where the weather comes from, how often, and how old it may get."""

    sources: Annotated[tuple[SourceKind, ...], BeforeValidator(read_kinds)] = Field(
        default=("open-meteo",), description="where the weather comes from, in order of preference"
    )
    file: FilePath = Field(default=None, description='the table file of the source "table", CSV or JSON Lines')
    stale_after_h: Annotated[float, within("hour", 1, 72)] = Field(
        default=6.0, alias="stale_after", description="older weather is not acted on: the answer is then unknown"
    )
    refresh_s: Annotated[float, within("second", 600, 86_400)] = Field(
        default=3600.0, alias="refresh", description="how often the service is asked, at most"
    )
    forecast_days: int = Field(default=16, strict=True, ge=3, le=16, description="how far ahead to look")
    members: int = Field(
        default=20,
        strict=True,
        ge=1,
        le=100,
        description="how many ways a single forecast may go are judged, for the odds; 1 is the forecast alone",
    )
    rain_without_forecast: Literal["unknown", "assume none"] = Field(
        default="unknown",
        description='what "sensors" alone, which cannot foresee rain, say of it; unknown is never a go in the open',
    )
    open_meteo: OpenMeteoSettings = Field(default=OpenMeteoSettings(), alias="open-meteo")
    open_meteo_ensemble: EnsembleSettings = Field(default=EnsembleSettings(), alias="open-meteo-ensemble")
    open_meteo_archive: ArchiveSettings = Field(default=ArchiveSettings(), alias="open-meteo-archive")
    met_norway: MetNorwaySettings = Field(default=MetNorwaySettings(), alias="met-norway")
    nws: NwsSettings = Field(default=NwsSettings())

    def years_asked(self, sources: Sequence[str]) -> int:
        """Return how many past years the archive is asked for, where the weather comes from some sources.

        Who has another host asked for forecasts does not want the public one to be asked behind their back.
        """
        if self.open_meteo_archive.years is not None:
            return self.open_meteo_archive.years
        hosts = {"open-meteo": self.open_meteo, "open-meteo-ensemble": self.open_meteo_ensemble}
        public = [name for name, of in hosts.items() if of.base_url == type(of).model_fields["base_url"].default]
        return USUAL_YEARS if set(public) & set(sources) else 0

    @field_validator("refresh_s")
    @classmethod
    def _before_it_is_stale(cls, refresh_s: float, info: ValidationInfo) -> float:
        if refresh_s > 3600 * (stale_after_h := info.data.get("stale_after_h", refresh_s)):
            raise ValueError(f"is longer than stale_after ({stale_after_h:g} h); weather has to be fetched before that")
        return refresh_s
