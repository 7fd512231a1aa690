"""The sources of weather that a configuration names."""

from functools import cache, partial
from pathlib import Path
from typing import TYPE_CHECKING

from dryspell.config import Config
from dryspell.config.services import SourceKind
from dryspell.store import Store
from dryspell.trade.piece import Site
from dryspell.weather.sources import Source

if TYPE_CHECKING:
    from collections.abc import Callable

    from dryspell.weather.http import HttpCache
    from dryspell.weather.sources.open_meteo_archive import OpenMeteoArchive

SPREAD = 0.1
"""Installations ask this share of the interval apart, so that they do not all ask at the full hour."""


def sources_of(config: Config, store: Store | None) -> dict[str, Source]:
    """Return the weather source of each site: the one it has, or several in order of preference.

    Parameters
    ----------
    store
        What a site that goes by its own sensors has read; None for nothing yet.
    """
    http = cache(partial(_http, config))
    return {key: _source_of(config, site, http, store) for key, site in config.site.items()}


def archive_of(config: Config, site: Site) -> "OpenMeteoArchive":
    """Return where the past weather of a site is to be had."""
    from dryspell.weather.sources.open_meteo_archive import OpenMeteoArchive  # noqa: PLC0415  (as below)

    archive = config.weather.open_meteo_archive
    return OpenMeteoArchive(
        site.latitude_deg,
        site.longitude_deg,
        _http(config),
        base_url=archive.base_url,
        api_key=archive.api_key.get_secret_value(),
        sea=site.afloat,
    )


def _http(config: Config) -> "HttpCache":
    from dryspell.weather.http import HttpCache  # noqa: PLC0415  (as below)

    least_s = config.weather.refresh_s * (1 - SPREAD)
    return HttpCache(config.state_dir / "weather", contact=config.contact, min_interval_s=least_s)


def _source_of(config: Config, site: Site, http: "Callable[[], HttpCache]", store: Store | None) -> Source:
    sources = [_source(kind, config, site, http, store) for kind in config.sources_of(site)]
    if len(sources) == 1:
        return sources[0]
    from dryspell.weather.sources.preferred import Preferred  # noqa: PLC0415  (as below)

    return Preferred(sources, stale_after_h=config.weather.stale_after_h)


def _source(
    kind: SourceKind, config: Config, site: Site, http: "Callable[[], HttpCache]", store: Store | None
) -> Source:
    # A source is imported where it is named: most go by one, and to start takes as long as what it imports.
    weather, place = config.weather, (site.latitude_deg, site.longitude_deg)
    match kind:
        case "open-meteo":
            from dryspell.weather.sources.open_meteo import OpenMeteo  # noqa: PLC0415  (as above)

            return OpenMeteo(
                *place,
                http(),
                base_url=weather.open_meteo.base_url,
                api_key=weather.open_meteo.api_key.get_secret_value(),
                sea=site.afloat,
                forecast_days=weather.forecast_days,
            )
        case "open-meteo-ensemble":
            from dryspell.weather.sources.open_meteo_ensemble import OpenMeteoEnsemble  # noqa: PLC0415  (as above)

            ensemble = weather.open_meteo_ensemble
            return OpenMeteoEnsemble(
                *place,
                http(),
                model=ensemble.model,
                base_url=ensemble.base_url,
                api_key=ensemble.api_key.get_secret_value(),
                sea=site.afloat,
                forecast_days=weather.forecast_days,
            )
        case "met-norway":
            from dryspell.weather.sources.met_norway import MetNorway  # noqa: PLC0415  (as above)

            # Left out, the service knows the height of the land better than our zero.
            height_m = site.elevation_m if "elevation_m" in site.model_fields_set else None
            return MetNorway(*place, http(), elevation_m=height_m, base_url=weather.met_norway.base_url)
        case "nws":
            from dryspell.weather.sources.nws import NwsGrid  # noqa: PLC0415  (as above)

            return NwsGrid(*place, http(), base_url=weather.nws.base_url)
        case "table":
            from dryspell.weather.sources.table_file import TableFile  # noqa: PLC0415  (as above)

            return TableFile(weather.file or Path(), zone=site.zone)
        case "sensors":
            from dryspell.tick.alone import SensorsAlone  # noqa: PLC0415  (as above)

            return SensorsAlone(store, site, assume_no_rain=weather.rain_without_forecast == "assume none")
