"""How hard the sun is on a piece over the years, and how many coats are usual for that.

The classes have the names of EN 927-1 for the exposure of coated wood (mild, medium and severe; from memory, the
standard's text was not at hand), but go by the sun alone: rain and salt are not in them.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from dryspell.outlook.exposure import SHELTERS
from dryspell.outlook.sunlight import beam_reaches
from dryspell.science import sun
from dryspell.trade.piece import Piece, Site
from dryspell.trade.system import Lay

SunClass = Literal["mild", "medium", "severe"]

MEDIUM_FROM, SEVERE_FROM = 750.0, 1250.0
"""In a year of clear days, as `year_of_sun` reckons it. Our own choice, so that what the trade calls severe is: lying
flat, facing south to west, high up, in low latitudes (common practice, no source). [kWh m-2]"""
_AFTERNOON = 0.3
"""The sun heats wood more in the warmer air of the afternoon: its beam counts by so much more, in the morning by so
much less. Our own choice, so that a west face comes out over an east one."""
_MORE_A_KM = 0.1
"""Ultraviolet for each kilometre of height: 10 to 12 % (World Health Organization, from memory)."""
_ONLY_WHILE_COATED = ("cover", "tent", "shed")
"""Shelters that a piece leaves when it is built up: it is then in the open."""
_DAYS, _STEP_MIN = 5, 30


def year_of_sun(piece: Piece, site: Site) -> float:
    """Return the sun on a piece in a year of clear days, the sky even and its afternoons counted for more [kWh m-2].

    Roof, trees, skyline and hours of sun keep it off as they do from a wet film; a cover, tent or shed does not: that
    stands over the piece only while it is coated.
    """
    if piece.shelter in _ONLY_WHILE_COATED:
        piece = piece.model_copy(update={"shelter": "open"})
    minutes = np.arange(_STEP_MIN // 2, 24 * 60, _STEP_MIN) * np.timedelta64(60, "s")
    days = np.datetime64("2025-01-01T00:00:00", "s") + np.arange(0, 365, _DAYS) * np.timedelta64(86400, "s")
    times = (days[:, None] + minutes).ravel()
    zenith, azimuth = sun.position(times, site.latitude_deg, site.longitude_deg)
    total = sun.clear_sky_global(zenith)
    normal, diffuse = sun.split_global(total, zenith, sun.extraterrestrial_normal(times))
    plane = sun.plane_irradiance(zenith, azimuth, normal, diffuse, total, *piece.plane_deg)
    shelter = SHELTERS[piece.shelter]
    beam = plane.beam * beam_reaches(piece, site, times, zenith, azimuth) * shelter.beam
    weighted = beam * np.where(azimuth > 180.0, 1.0 + _AFTERNOON, 1.0 - _AFTERNOON)
    on_it = weighted + (plane.sky + plane.ground) * shelter.diffuse * piece.sky_pct / 100.0
    hours_each = _DAYS * _STEP_MIN / 60.0
    higher = 1.0 + _MORE_A_KM * max(site.elevation_m, 0.0) / 1000.0
    return float(on_it.sum()) * hours_each / 1000.0 * higher


def sun_class(piece: Piece, site: Site) -> SunClass:
    """Return how hard the sun is on a piece."""
    year = year_of_sun(piece, site)
    if year >= SEVERE_FROM:
        return "severe"
    return "medium" if year >= MEDIUM_FROM else "mild"


@dataclass(frozen=True)
class UsualCoats:
    """What is usual of the coating that finishes a build-up, for the sun on the piece.

    Attributes
    ----------
    sun
        How hard it is.
    coats
        How many coats are usual on bare wood; 0 where nothing is said of it.
    planned
        How many there are in the build-up.
    upkeep
        How many a season keep it after that, at least and at most; None where nothing is said of it.
    """

    sun: SunClass
    coats: int
    planned: int
    upkeep: tuple[int, int] | None

    @property
    def short(self) -> int:
        """How many coats the build-up has less than are usual."""
        return max(self.coats - self.planned, 0)


def usual_coats(piece: Piece, site: Site, lays: Sequence[Lay]) -> UsualCoats:
    """Return how many coats are usual for the sun on a piece; on an old film nobody counts them.

    Parameters
    ----------
    lays
        The build-up.
    """
    finish = lays[-1].coating
    found = sun_class(piece, site)
    counts = finish.coats_for if piece.over == "bare wood" else None
    upkeep = finish.upkeep if finish.upkeep and finish.upkeep[1] else None
    return UsualCoats(
        sun=found,
        coats=0 if counts is None else round(counts[("mild", "medium", "severe").index(found)]),
        planned=sum(lay.coating.key == finish.key for lay in lays),
        upkeep=upkeep and (round(upkeep[0]), round(upkeep[1])),
    )


def usual_coats_text(usual: UsualCoats, of: str = "") -> str:
    """Return how many coats are usual where a build-up has less, without a full stop; empty where it has enough.

    Parameters
    ----------
    of
        What they are coats of, where the build-up has other ones too.
    """
    return f"for {usual.sun} sun {usual.coats}{f' of {of}' * bool(of)} are usual" if usual.short else ""


def upkeep_text(usual: UsualCoats) -> str:
    """Return what keeps a build-up, as a sentence with its full stop; empty where nothing is said of it."""
    if usual.upkeep is None:
        return ""
    least, most = usual.upkeep
    many = f"{least} to {most} coats" if least != most else f"{most} coat{'s' * (most != 1)}"
    return f"Once built up, {many} a season keep{'s' * (most == 1)} it; the more sun, the more."
