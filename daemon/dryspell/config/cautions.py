"""What a configuration may say but its writer should look at twice."""

from collections.abc import Container, Iterable
from datetime import datetime, time
from itertools import pairwise
from typing import get_args

from dryspell.config.services import WeatherSettings
from dryspell.science.cure import StageRate, fit_stage
from dryspell.trade.coating import YOURS, Coating
from dryspell.trade.families import family
from dryspell.trade.hours import Span
from dryspell.trade.piece import Piece, Site
from dryspell.trade.stages import StageName

# The order in which a film goes through them; a family that does not keep to it is not held to it.
_ORDER: tuple[StageName, ...] = ("touch_dry", "dew_safe", "rain_safe")
_AT_C = 18.0

_FARTHEST_H = 4.0
"""Clocks keep within some three hours of the sun (western China: three); more is a forgotten minus sign."""


def of_site(site: Site) -> list[str]:
    """Return what looks odd about a site: a longitude that is not where its time zone is."""
    offset = datetime(2026, 1, 1, tzinfo=site.zone).utcoffset()
    ahead_h = (offset.total_seconds() / 3600 if offset else 0.0) - site.longitude_deg / 15
    apart_h = abs((ahead_h + 12) % 24 - 12)
    if apart_h < _FARTHEST_H:
        return []
    apart = f"the sun of its longitude and the clocks of {site.zone.key} are {apart_h:.0f} h apart"
    return [f"site.{site.key}: {apart}; east is positive, west negative"]


def of_weather(settings: WeatherSettings, services: Iterable[str], used: Container[str]) -> list[str]:
    """Return what looks odd about the weather.

    Parameters
    ----------
    services
        Those that have a table of their own.
    used
        The sources that any site takes its weather from.
    """
    of_sources = [name for name in services if name != "open-meteo-archive"]
    odd = [f"weather.{name} is set, but {name} is not among the sources" for name in of_sources if name not in used]
    for name, service in (
        ("open-meteo", settings.open_meteo),
        ("open-meteo-ensemble", settings.open_meteo_ensemble),
        ("open-meteo-archive", settings.open_meteo_archive),
    ):
        if service.api_key.get_secret_value() and not service.base_url.lower().startswith("https://"):
            odd.append(f"weather.{name}.base_url does not begin with https://: its key can be read on the way")
    return odd


def of_piece(piece: Piece) -> list[str]:
    """Return what looks odd about how a piece stands."""
    sentences = []
    if piece.cover and not any(_clear_of(piece.cover, start, end) for _, start, end in piece.hours):
        sentences.append(
            f"piece.{piece.key}: its cover is on in all the hours you can work, and nobody brushes under it"
        )
    if piece.heat_k and "shut_by_day" not in piece.model_fields_set:
        sentences.append(
            f"piece.{piece.key}: is its {piece.shelter} kept shut while it is heated? With shut_by_day = true the sun "
            "on it counts, with false it is opened before it gets hot"
        )
    return sentences


def _clear_of(cover: tuple[Span, ...], start: time, end: time) -> bool:
    """Say whether some time of a day between two is not under a cover."""
    reached = start
    for _, on, off in sorted(cover, key=lambda span: span[1]):
        if on <= reached:
            reached = max(reached, off)
    return reached < end


def of_coating(coating: Coating) -> list[str]:
    """Return what looks odd about the times of a coating of the user's own, one sentence each."""
    return _odd_rates(coating) + _out_of_order(coating)


def _odd_rates(coating: Coating) -> list[str]:
    sentences = []
    stages: tuple[StageName, ...] = get_args(StageName)
    for stage in stages:
        rate = _rate(coating, stage)
        if coating.marks.get(stage) == YOURS and rate is not None and rate.implausible:
            energy = f"{rate.activation_energy_j_mol / 1000:.0f} kJ/mol; most lie between 20 and 90"
            sentences.append(
                f"coating.{coating.key}.{stage} changes with temperature as the times of few coatings do ({energy}): "
                "compare it with the sheet"
            )
    return sentences


def _out_of_order(coating: Coating) -> list[str]:
    """Find stages of the can's sheet that have overtaken those of the family, which stay when a sheet is silent."""
    sentences = []
    for first, then in pairwise(_ORDER):
        before, after = _hours(coating, first), _hours(coating, then)
        if before > after and _hours(family(coating.family), first) <= _hours(family(coating.family), then):
            times = f"{before:.3g} h and {after:.3g} h at {_AT_C:g} degC"
            sentences.append(
                f"coating.{coating.key}: {first} comes after {then} ({times}); set both, {then} to the careful side"
            )
    return sentences


def _rate(coating: Coating, stage: StageName) -> StageRate | None:
    points = coating.stage(stage)
    return None if points is None else fit_stage([t for t, _ in points], [hours for _, hours in points])


def _hours(coating: Coating, stage: StageName) -> float:
    rate = _rate(coating, stage)
    return rate.reference_h if rate is not None and rate.reference_c == _AT_C else float("nan")
