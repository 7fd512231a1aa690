"""How a piece stands in the weather, as the numbers the energy balance wants.

The words of a configuration are turned into figures here. Absorptances, densities and factors are standard literature
values from memory unless a source is named; each is a default that measured surface temperatures should correct.
"""

from dataclasses import dataclass

import numpy as np

from dryspell.science.enclosure import Enclosure
from dryspell.science.face import Back, Exposure
from dryspell.trade.piece import Piece, Site

# Solar absorptance by colour. White 0.19 to 0.25 and black 0.975 were measured (SCIRP paper 88555); others from memory.
_ABSORPTANCE = {
    "white": 0.25,
    "cream": 0.35,
    "grey": 0.5,
    "mid": 0.65,
    "clear on light wood": 0.45,
    "clear on dark wood": 0.65,
    "dark": 0.85,
    "black": 0.95,
}


@dataclass(frozen=True)
class _Body:
    """Heat capacity of the layer that follows a day [J m-2 K-1], and how the back side is coupled [W m-2 K-1]."""

    heat_capacity: float
    back_conductance: float
    back: Back


# 20 mm hardwood 650 x 1600 x 0.02 = 21 kJ; of a 45 mm door the outer 20 to 25 mm follow a day; 3 mm steel 11 kJ; 10 mm
# laminate 16 kJ. Back of a board: wood 7.5 W/m2K in series with about 8 of air: 4. Densities from memory; conductivity
# of wood: Wood Handbook eq. 4-15.
_BODY = {
    "board": _Body(21e3, 4.0, "air"),
    "door": _Body(30e3, 2.5, "air"),
    "hull": _Body(16e3, 3.0, "mean_air"),
    "steel": _Body(11e3, 3.0, "air"),
    "heavy timber": _Body(45e3, 2.5, "mean_air"),
}

# 10 m wind to the piece: 0.75 at 2 m over short grass (FAO-56 log profile), about half in a yard, a quarter in a lee.
_WIND = {"exposed": 0.75, "normal": 0.5, "sheltered": 0.25}


@dataclass(frozen=True)
class Shelter:
    """What a shelter leaves of sky, beam, diffuse sun and wind (shares), and whether rain gets in.

    One with air of its own says how that follows the outdoor air [h], how often it is changed [h-1], and how far the
    sun warms it while it is shut [K W-1 m2].
    """

    sky: float
    beam: float
    diffuse: float
    wind: float
    rain: bool
    lag_h: float = 0.0
    air_changes_per_h: float | None = None
    shut_sun_k_m2_w: float = 0.0


# Common practice and memory, no source: a tree hides about two thirds of the sky; under a roof a face sees mostly the
# roof. A cover stands over the piece, with air through both ends. A tent is let through air and not clear: its air
# follows the outdoor air within half an hour. The air of a shed full of things follows by some hours and is changed
# more than once in an hour.
# What the sun on them does is left out where they are opened to it by day: people open a tent that gets hot. Shut, one
# of clear film is the hottest (reckoned in science/enclosure.py; a gardener's tunnel in Wales stood at 20 degC in air
# of 3 on a December noon: what-when-how.com/Tutorial/topic-10335f3). A shed's walls take up 0.7 of the sun outside,
# where 18 W/m2K carry most of it off: 0.7 / (18 x 4.3) = 0.009, less what ground and changes of air take.
SHELTERS = {
    "open": Shelter(sky=1.0, beam=1.0, diffuse=1.0, wind=1.0, rain=True),
    "trees": Shelter(sky=0.35, beam=0.3, diffuse=0.4, wind=0.7, rain=True),
    "roof": Shelter(sky=0.1, beam=1.0, diffuse=0.4, wind=0.8, rain=False),
    "cover": Shelter(sky=0.0, beam=0.0, diffuse=0.0, wind=0.2, rain=False),
    "tent": Shelter(
        sky=0.0, beam=0.0, diffuse=0.0, wind=0.2, rain=False, lag_h=0.25, air_changes_per_h=6.0, shut_sun_k_m2_w=0.025
    ),
    "shed": Shelter(
        sky=0.0, beam=0.0, diffuse=0.0, wind=0.2, rain=False, lag_h=3.0, air_changes_per_h=1.5, shut_sun_k_m2_w=0.006
    ),
}

ROOF_HIDES_ABOVE_DEG = 60.0
"""A roof lets the sun at an upright face only below this elevation; a flat face under it gets none. No source."""


def wind_factor(piece: Piece, site: Site) -> float:
    """Return what of the 10 m wind reaches the piece; over water it is hardly slowed."""
    if piece.wind_share_pct is not None:
        return piece.wind_share_pct / 100.0
    return (0.9 if site.afloat and piece.wind == "exposed" else _WIND[piece.wind]) * SHELTERS[piece.shelter].wind


def cover_wind(piece: Piece) -> float:
    """Return what a cover over the piece leaves of the wind that reaches it without."""
    return SHELTERS["cover"].wind / SHELTERS[piece.shelter].wind


def enclosure_of(piece: Piece) -> Enclosure | None:
    """Return the figures of the air in the shelter of a piece, None where that is the outdoor air."""
    shelter = SHELTERS[piece.shelter]
    if shelter.air_changes_per_h is None:
        return None
    sun_warmth = shelter.shut_sun_k_m2_w if piece.sun_warmth_k_m2_w is None else piece.sun_warmth_k_m2_w
    return Enclosure(
        lag_h=shelter.lag_h if piece.lag_h is None else piece.lag_h,
        air_changes_per_h=shelter.air_changes_per_h if piece.air_changes_per_h is None else piece.air_changes_per_h,
        heat_k=piece.heat_k,
        sun_k_m2_w=sun_warmth if piece.shut_by_day else 0.0,
    )


def exposure_of(piece: Piece, site: Site) -> Exposure:
    """Return the figures of the energy balance for a piece."""
    tilt, facing = piece.plane_deg
    body = _BODY[piece.body]
    sky = (1.0 + np.cos(np.radians(tilt))) / 2.0 * SHELTERS[piece.shelter].sky * piece.sky_pct / 100.0
    back_conductance = piece.back_conductance_w_m2_k
    return Exposure(
        tilt_deg=tilt,
        facing_deg=facing,
        sky_view=float(sky),
        absorptance=_ABSORPTANCE[piece.colour],
        heat_capacity_j_m2_k=body.heat_capacity,
        back_conductance_w_m2_k=body.back_conductance if back_conductance is None else back_conductance,
        back="indoor" if piece.heated_behind else body.back,
        wind_factor=wind_factor(piece, site),
        wet_absorbs_mm=0.3 if tilt < 30 else 0.1,
    )
