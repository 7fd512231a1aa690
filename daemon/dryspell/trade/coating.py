"""A coating: when it may be put on, how it dries, and what film it leaves."""

from collections.abc import Mapping
from itertools import pairwise
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, model_validator

from dryspell.units import Celsius, Kelvins, MetresPerSecond, Micrometres, Millimetres, Percent, read_quantity

StageName = Literal[
    "touch_dry", "dew_safe", "rain_safe", "recoat", "sandable", "overcoat_max", "hot_open", "hot_close",
    "in_service", "full_cure",
]  # fmt: skip


def _read_points(value: object) -> tuple[tuple[float, float], ...]:
    """Read {"10 degC": "9 h", "18 degC": "5 h"} into ((10.0, 9.0), (18.0, 5.0)), coldest first."""
    if isinstance(value, tuple):
        return value
    if not isinstance(value, Mapping) or not value:
        raise ValueError('needs at least one temperature with its time, such as { "18 degC" = "24 h" }')
    points = sorted((read_quantity(t, "degC"), read_quantity(h, "hour")) for t, h in value.items())
    for temperature, hours in points:
        if hours <= 0:
            raise ValueError(f"has a time of {hours:g} h at {temperature:g} degC; a time is more than nothing")
    for (cold, slow), (warm, fast) in pairwise(points):
        if cold == warm:
            raise ValueError(f"gives two times for {cold:g} degC")
        if fast > slow:
            raise ValueError(f"takes longer at {warm:g} degC ({fast:g} h) than at {cold:g} degC ({slow:g} h)")
    return tuple(points)


StagePoints = Annotated[tuple[tuple[float, float], ...], BeforeValidator(_read_points)]
"""What a data sheet prints for one stage: (film temperature degC, hours) pairs, coldest first."""


class Coating(BaseModel):
    """One coating with its limits and its clock. Text with units goes in, SI floats come out.

    `marks` says for each figure where it comes from: a source, "common practice, no source" or "yours".
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str = Field(description="the name the configuration gives it")
    family: str = Field(description="the built-in family it starts from")
    label: str
    cures_by: Literal["oxidation", "reaction", "coalescence"]

    air_c: tuple[Celsius, Celsius] = Field(alias="air", description="lowest and highest air temperature to coat in")
    surface_c: tuple[Celsius, Celsius] = Field(alias="surface", description="lowest and highest surface temperature")
    humidity_max_pct: Percent = Field(alias="humidity_max", description="relative humidity to coat in, at most")
    humidity_good_pct: tuple[Percent, Percent] = Field(alias="humidity_good", description="comfortable humidity")
    margin_apply_k: Kelvins = Field(alias="margin_apply", description="surface over dew point while brushing, at least")
    margin_hold_k: Kelvins = Field(alias="margin_hold", description="surface over dew point until dew-safe, at least")
    wind_good_m_s: MetresPerSecond = Field(alias="wind_good", description="wind at the piece up to which it flows well")
    wind_stop_m_s: MetresPerSecond = Field(alias="wind_stop", description="wind at the piece to stop at")
    film_low_c: Celsius = Field(alias="film_low", description="coldest the film may get before it is sandable (24 h)")
    sun_excess_k: Kelvins = Field(alias="sun_excess", description="how far sun may heat a wet film over the air")
    rain_max_mm: Millimetres = Field(alias="rain_max", description="rain before the film is rain-safe, less than")
    rain_chance_max_pct: Percent = Field(alias="rain_chance_max", description="chance of rain, less than")

    below_coldest: Literal["stops", "slows"] = Field(description="what drying does below the coldest tabulated time")
    humidity_slows: bool = Field(description="whether damp air slows its early drying")

    wet_film_um: Micrometres = Field(alias="wet_film", description="wet film of a full coat")
    solids_pct: Percent = Field(alias="solids", description="solids by volume")
    thinner_parts: tuple[float, ...] = Field(
        alias="thinner", description="parts of thinner to a hundred parts of coating, coat by coat; the last one stays"
    )

    touch_dry: StagePoints
    dew_safe: StagePoints
    rain_safe: StagePoints
    recoat: StagePoints
    sandable: StagePoints
    overcoat_max: StagePoints | None = None
    hot_open: StagePoints | None = None
    hot_close: StagePoints | None = None
    in_service: StagePoints | None = None
    full_cure: StagePoints | None = None

    marks: Mapping[str, str] = Field(default_factory=dict)

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        pairs: tuple[tuple[str, tuple[float, float]], ...] = (
            ("air", self.air_c), ("surface", self.surface_c), ("humidity_good", self.humidity_good_pct),
            ("wind_good and wind_stop", (self.wind_good_m_s, self.wind_stop_m_s)),
        )  # fmt: skip
        for name, (low, high) in pairs:
            if low > high:
                raise ValueError(f"{name}: the lower figure comes first, got {low:g} and {high:g}")
        if self.margin_hold_k > self.margin_apply_k:
            raise ValueError("margin_hold: a film is held to a smaller margin than it is brushed at")
        return self

    def stage(self, name: StageName) -> tuple[tuple[float, float], ...] | None:
        """Return the points of one stage, or None where the coating has no such stage."""
        points: tuple[tuple[float, float], ...] | None = getattr(self, name)
        return points

    def thinner_of(self, coat: int) -> float:
        """Return the parts of thinner to a hundred parts of coating for the coat of that number, counted from 1."""
        if not self.thinner_parts:
            return 0.0
        return self.thinner_parts[min(coat, len(self.thinner_parts)) - 1]

    def mark_of(self, key: str) -> str:
        """Return where the figure under that key comes from."""
        return self.marks.get(key, self.marks.get("default", "common practice, no source"))


def toml_keys() -> dict[str, Any]:
    """Return the keys a coating has in a configuration file, with their descriptions."""
    ours = {"key", "family", "marks"}
    return {f.alias or name: f.description for name, f in Coating.model_fields.items() if name not in ours}
