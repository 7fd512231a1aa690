"""A face that is being coated, as the figures its heat balance wants; and several side by side."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Literal

import numpy as np

from dryspell.science.bounds import FloatArray

Back = Literal["air", "indoor", "mean_air"]


@dataclass(frozen=True, kw_only=True)
class Exposure:
    """How a face stands in the weather, and what it is made of.

    Attributes
    ----------
    tilt_deg
        From horizontal: 0 looks up, 90 is upright, 180 looks down. [deg]
    facing_deg
        Where a tilted face looks, from north clockwise. [deg]
    sky_view
        Share of the half-space before the face that is open sky, the tilt's own (1 + cos tilt) / 2 included; the rest
        is taken to be as warm as the air. 0 to 1.
    absorptance
        Share of the sun's power on the face that is taken up, 0 to 1.
    emissivity
        For longwave; 0.85 to 0.95 for paint and varnish of any colour (from memory).
    heat_capacity_j_m2_k
        Of the layer behind the face that follows its temperature. [J m-2 K-1]
    back_conductance_w_m2_k
        From the face through the material to what is behind it. [W m-2 K-1]
    back
        What is behind: the air of the moment, a room at `indoor_c`, or ground and bulk that keep the mean of the air
        over the last 24 hours.
    indoor_c
        Temperature of the room behind. [degC]
    convection
        a and b of h = a + b v, with v the wind at the face. [W m-2 K-1 and W m-2 K-1 per m s-1] 4 and 4: the form of
        EN ISO 6946 for outside surfaces (from memory).
    stable_share
        What is left of h while radiation and the back draw the face under the temperature of the air: over wide level
        ground the cold air then lies still. About half over grass (our choice, in the tests); 1, no effect, for boards,
        which are too small to have air of their own: with that they cool as far as people say they do.
    wind_factor
        Wind at the face over wind at 10 m.
    wet_absorbs_mm
        The thickest film of water the face holds; more runs off. About 0.3 lying, 0.1 upright (no source). [mm]
    evaporating_share
        Of living or porous ground: the share of the face that gives off water as if wet, from inside, without a film.
        0 for anything coated.

    Raises
    ------
    ValueError
        For a value out of its range; the text names the field.
    """

    tilt_deg: float
    facing_deg: float
    sky_view: float
    absorptance: float
    heat_capacity_j_m2_k: float
    back_conductance_w_m2_k: float
    emissivity: float = 0.9
    back: Back = "air"
    indoor_c: float = 20.0
    convection: tuple[float, float] = (4.0, 4.0)
    stable_share: float = 1.0
    wind_factor: float = 1.0
    wet_absorbs_mm: float = 0.1
    evaporating_share: float = 0.0

    def __post_init__(self) -> None:
        ranges = {
            "tilt_deg": (0.0, 180.0),
            "facing_deg": (-360.0, 360.0),
            "sky_view": (0.0, 1.0),
            "absorptance": (0.0, 1.0),
            "heat_capacity_j_m2_k": (1.0, 1e7),
            "back_conductance_w_m2_k": (0.0, 1000.0),
            "emissivity": (0.01, 1.0),
            "indoor_c": (-60.0, 60.0),
            "wind_factor": (0.0, 2.0),
            "wet_absorbs_mm": (0.0, 10.0),
            "evaporating_share": (0.0, 1.0),
            "stable_share": (0.0, 1.0),
        }
        for name, (low, high) in ranges.items():
            value = getattr(self, name)
            if not low <= value <= high:
                raise ValueError(f"{name} is out of range: {value:g} is not within {low:g} to {high:g}")
        most = (1.0 + math.cos(math.radians(self.tilt_deg))) / 2.0
        if self.sky_view > most + 1e-6:
            raise ValueError(
                f"sky_view is {self.sky_view:g}, but a face tilted {self.tilt_deg:g} deg sees {most:.3g} at most"
            )
        if len(self.convection) != 2 or not all(0.0 <= part <= 100.0 for part in self.convection):
            raise ValueError(f"convection is {self.convection}; wanted two figures from 0 to 100")
        if self.back not in ("air", "indoor", "mean_air"):
            raise ValueError(f"back is {self.back!r}; wanted air, indoor or mean_air")


@dataclass(frozen=True)
class Faces:
    """The figures of one face, or of several side by side, as columns that weather broadcasts against.

    Attributes are those of `Exposure`, each of shape () for one face and (pieces, 1, 1) for several: pieces, members,
    times.
    """

    back: tuple[Back, ...]
    sky_view: FloatArray
    absorptance: FloatArray
    emissivity: FloatArray
    heat_capacity_j_m2_k: FloatArray
    back_conductance_w_m2_k: FloatArray
    indoor_c: FloatArray
    convection: FloatArray
    stable_share: FloatArray
    wind_factor: FloatArray
    wet_absorbs_mm: FloatArray
    evaporating_share: FloatArray

    @classmethod
    def of(cls, exposure: "OneOrMore") -> "Faces":
        """Stack faces that are not stacked yet; `convection` gets its two figures on an axis before all others.

        Raises
        ------
        ValueError
            For no face at all.
        """
        if isinstance(exposure, Faces):
            return exposure
        each = (exposure,) if isinstance(exposure, Exposure) else tuple(exposure)
        if not each:
            raise ValueError("exposure is empty; wanted a face, or several")
        shape = () if isinstance(exposure, Exposure) else (len(each), 1, 1)
        figures = {
            field.name: np.array([getattr(face, field.name) for face in each], dtype=np.float64)
            for field in fields(cls)
            if field.name != "back"
        }
        columns = {name: figure.T.reshape((*figure.shape[1:], *shape)) for name, figure in figures.items()}
        return cls(back=tuple(face.back for face in each), **columns)

    @property
    def shape(self) -> tuple[int, ...]:
        """The shape of each column."""
        return self.sky_view.shape

    def behind(self, air_c: FloatArray, day_mean_c: FloatArray) -> FloatArray:
        """Return the temperature behind each face [degC], from that of the air and its mean over the last 24 hours."""
        there_c = {"air": air_c, "mean_air": day_mean_c, "indoor": self.indoor_c}
        first, *others = set(self.back)
        behind_c = there_c[first]
        for kind in others:
            behind_c = np.where(np.reshape([back == kind for back in self.back], self.shape), there_c[kind], behind_c)
        return behind_c


OneOrMore = Exposure | Sequence[Exposure] | Faces
"""What a face can be given as where several can stand: one, a list of them, or those stacked before."""
