"""What a configuration may say but its writer should look at twice."""

from datetime import datetime
from itertools import pairwise
from typing import get_args

from dryspell.science.cure import StageRate, fit_stage
from dryspell.trade.coating import YOURS, Coating
from dryspell.trade.families import family
from dryspell.trade.piece import Site
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
