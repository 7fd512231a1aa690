"""A coating: when it may be put on, how it dries, and what film it leaves."""

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo, field_validator

from dryspell.trade.factors import MARKS, NO_SOURCE, OUR_CHOICE, CuresBy, Factors, factor_keys, factors_of
from dryspell.trade.sizes import Cans
from dryspell.trade.stages import OptionalStagePoints, Points, StageName, StagePoints
from dryspell.units import Celsius, Kelvins, MetresPerSecond, Micrometres, Millimetres, Minutes, Percent, within

__all__ = ["NO_SOURCE", "OUR_CHOICE", "YOURS", "Coating", "StageName", "toml_keys"]

FACTORS = "factors."
"""Begins the name of a factor among the figures of a coating."""
YOURS = "yours"
_NO_FIGURES = ("name", "factors", "cans", "stain")
"""Keys of a configuration file that are no figure of how a coating behaves, or hold several."""
MOST_THINNER = 200
"""Parts of thinner to a hundred of coating: more than this is no coat."""
MOST_RATIO, MOST_FULL_COATS = 100, 40


def _rising(pair: tuple[float, float]) -> tuple[float, float]:
    if pair[0] > pair[1]:
        raise ValueError("has the higher figure first; the lower one comes first")
    return pair


def _read_parts(value: Any) -> tuple[float, ...]:
    """Read the parts of thinner, coat by coat: plain numbers, for they have no unit."""
    if not isinstance(value, (list, tuple)) or not value:
        raise ValueError("is no list of parts to a hundred of coating; wanted a number a coat, such as [25, 10, 0]")
    for part in value:
        is_number = isinstance(part, (int, float, Decimal)) and not isinstance(part, bool)
        if not is_number or not 0 <= float(part) <= MOST_THINNER:
            shown = f'"{part}"' if isinstance(part, str) else part
            raise ValueError(f"has {shown} in it; wanted numbers of 0 to {MOST_THINNER}, parts to a hundred of coating")
    return tuple(float(part) for part in value)


def _read_ratio(value: Any) -> tuple[float, float] | None:
    """Read base to hardener by volume: two plain numbers, for they have no unit."""
    if value is None or value == "none" or isinstance(value, tuple):
        return None if value == "none" else value
    parts = value if isinstance(value, list) else []
    numbers = [float(part) for part in parts if isinstance(part, (int, float, Decimal)) and not isinstance(part, bool)]
    if len(parts) != 2 or len(numbers) != 2 or not all(0 < number <= MOST_RATIO for number in numbers):
        raise ValueError(
            f"is no ratio; wanted parts of base and of hardener by volume, more than 0 and up to {MOST_RATIO}, such as "
            '[2, 1], or "none"'
        )
    return numbers[0], numbers[1]


def _read_count(value: Any) -> Any:
    if isinstance(value, float):
        return value
    if not isinstance(value, int) or isinstance(value, bool) or not 0 <= value <= MOST_FULL_COATS:
        raise ValueError(f"is no number of coats; wanted a whole number of 0 to {MOST_FULL_COATS}")
    return float(value)


def _read_counts(*names: str) -> Callable[[Any], Any]:
    """Return a reader of rising numbers of coats, one for each name."""

    def read(value: Any) -> Any:
        if value is None or value == "none" or isinstance(value, tuple):
            return None if value == "none" else value
        counts = value if isinstance(value, list) else []
        are_counts = all(isinstance(count, int) and not isinstance(count, bool) for count in counts)
        if len(counts) != len(names) or not are_counts or not all(0 <= each <= MOST_FULL_COATS for each in counts):
            raise ValueError(
                f"is no list of numbers of coats; wanted {len(names)} whole numbers of 0 to {MOST_FULL_COATS}, for "
                f'{" and ".join(names)}, or "none"'
            )
        if counts != sorted(counts):
            raise ValueError("does not rise; the least number of coats comes first")
        return tuple(map(float, counts))

    return read


def _read_row(value: Any) -> Any:
    if value is None or value == "none" or isinstance(value, float):
        return None if value == "none" else value
    if not isinstance(value, int) or isinstance(value, bool) or not 1 <= value <= MOST_FULL_COATS:
        raise ValueError(f'is no number of coats; wanted a whole number of 1 to {MOST_FULL_COATS}, or "none"')
    return float(value)


_CelsiusRange = Annotated[tuple[Celsius, Celsius], AfterValidator(_rising)]
_PercentRange = Annotated[tuple[Percent, Percent], AfterValidator(_rising)]
_MinutesRange = Annotated[tuple[Minutes, Minutes], AfterValidator(_rising)]


def _read_optional(value: Any) -> Any:
    return None if value == "none" else value


_Parts = Annotated[tuple[float, ...], BeforeValidator(_read_parts)]
_Ratio = Annotated[tuple[float, float] | None, BeforeValidator(_read_ratio)]
_Count = Annotated[float, BeforeValidator(_read_count)]
_SunCounts = Annotated[
    tuple[float, float, float] | None, BeforeValidator(_read_counts("mild sun", "usual sun", "severe sun"))
]
_SeasonCounts = Annotated[tuple[float, float] | None, BeforeValidator(_read_counts("the least", "the most"))]
_Row = Annotated[float | None, BeforeValidator(_read_row)]
_Spread = Annotated[float, within("m^2/L", 0.1, 100)]
_OptionalSpread = Annotated[_Spread | None, BeforeValidator(_read_optional)]


class Coating(BaseModel):
    """One coating with its limits and its clock. Text with units goes in, SI floats come out.

    `marks` says for each figure, by its name in a configuration file, where it comes from: a source, "common practice,
    no source" or "yours".
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str = Field(description="the name the configuration gives it")
    family: str = Field(description="the built-in family it starts from")
    label: str = Field(alias="name", description="what to call it in messages")
    cures_by: CuresBy = Field(description="what makes a film of it")

    air_c: _CelsiusRange = Field(alias="air", description="lowest and highest air temperature to coat in")
    surface_c: _CelsiusRange = Field(alias="surface", description="lowest and highest surface temperature")
    humidity_max_pct: Percent = Field(alias="humidity_max", description="relative humidity to coat in, at most")
    humidity_good_pct: _PercentRange = Field(alias="humidity_good", description="comfortable humidity")
    margin_apply_k: Kelvins = Field(alias="margin_apply", description="surface over dew point while brushing, at least")
    margin_hold_k: Kelvins = Field(alias="margin_hold", description="surface over dew point until dew-safe, at least")
    wind_good_m_s: MetresPerSecond = Field(alias="wind_good", description="wind at the piece up to which it flows well")
    wind_stop_m_s: MetresPerSecond = Field(alias="wind_stop", description="wind at the piece to stop at")
    film_low_c: Celsius = Field(alias="film_low", description="coldest the film may get before it is sandable (24 h)")
    sun_excess_k: Kelvins = Field(alias="sun_excess", description="how far sun may heat a wet film over the air")
    rain_max_mm: Millimetres = Field(alias="rain_max", description="rain before the film is rain-safe, less than")
    rain_chance_max_pct: Percent = Field(alias="rain_chance_max", description="chance of rain, less than")

    below_coldest: Literal["stops", "slows"] = Field(description="what drying does below the coldest tabulated time")
    humidity_slows: bool = Field(strict=True, description="whether damp air slows its early drying")

    wet_film_um: Micrometres = Field(alias="wet_film", description="wet film of a full coat; 0 um: it leaves no film")
    solids_pct: Percent = Field(alias="solids", description="solids by volume")
    thinner_parts: _Parts = Field(
        alias="thinner", description="parts of thinner to a hundred parts of coating, coat by coat; the last one stays"
    )

    spread_m2_per_l: _OptionalSpread = Field(
        default=None, alias="spread", description="how far a litre of the mix goes, where it leaves no film"
    )
    full_coats: _Count = Field(
        default=0.0, description="full coats a build-up of it on bare wood should come to; 0: nothing is said of it"
    )
    coats_for: _SunCounts = Field(
        default=None, description="coats of it on bare wood that are usual in mild, usual and severe sun"
    )
    upkeep: _SeasonCounts = Field(default=None, description="coats a season that keep it, at least and at most")
    hot_most: _Row = Field(
        default=None, description="coats in a row on soft ones, the lowest counted, before one has to harden"
    )
    stain: bool = Field(
        default=False, strict=True, description="colour in the wood and no film: nothing is sanded on it"
    )
    ratio: _Ratio = Field(default=None, description="two-part mixes: base and hardener by volume, as on the can")
    cans: Cans = Field(default=None, description="sizes it is sold in; of two-part mixes kits, both parts together")

    touch_dry: StagePoints = Field(description="tack-free: it takes no dust and no print of a finger")
    dew_safe: StagePoints = Field(description="dew no longer marks it")
    rain_safe: StagePoints = Field(description="a shower no longer marks it")
    recoat: StagePoints = Field(description="least time to the next coat, unsanded where it may be")
    sandable: StagePoints = Field(description="hard right through: it powders on the paper")
    overcoat_max: OptionalStagePoints = Field(
        default=None, description="past it the film is sanded before it is coated"
    )
    hot_open: OptionalStagePoints = Field(default=None, description="when a coat on the soft one below may begin")
    hot_close: OptionalStagePoints = Field(default=None, description="when a coat on the soft one below must be on")
    in_service: OptionalStagePoints = Field(default=None, description="when it may be touched, loaded and covered")
    full_cure: OptionalStagePoints = Field(default=None, description="when it has all its hardness")

    pot_life: OptionalStagePoints = Field(
        default=None, description="two-part mixes: how long one lasts, by its own temperature"
    )
    induction_min: Annotated[_MinutesRange | None, BeforeValidator(_read_optional)] = Field(
        default=None, alias="induction", description="two-part mixes: shortest and longest wait from mixing to brush"
    )

    factors: Factors = Field(
        default_factory=Factors,
        examples=[{"dry_air": 0.8, "still_air": 1.3}],
        description="what multiplies its times beside temperature",
    )

    marks: Mapping[str, str] = Field(default_factory=dict)

    @field_validator("margin_hold_k")
    @classmethod
    def _no_more_than_to_apply(cls, margin_hold_k: float, info: ValidationInfo) -> float:
        if margin_hold_k > (to_apply := info.data.get("margin_apply_k", margin_hold_k)):
            raise ValueError(
                f"is more than margin_apply ({to_apply:g} K); a film is held to no more than it is laid at"
            )
        return margin_hold_k

    @field_validator("wind_stop_m_s")
    @classmethod
    def _no_less_than_good(cls, wind_stop_m_s: float, info: ValidationInfo) -> float:
        if wind_stop_m_s < (good := info.data.get("wind_good_m_s", wind_stop_m_s)):
            raise ValueError(f"is less than wind_good ({good:g} m/s)")
        return wind_stop_m_s

    def stage(self, name: StageName) -> Points | None:
        """Return the points of one stage, or None where the coating has no such stage."""
        points: Points | None = getattr(self, name)
        return points

    def thinner_of(self, coat: int) -> float:
        """Return the parts of thinner to a hundred parts of coating for the coat of that number, counted from 1."""
        return self.thinner_parts[min(coat, len(self.thinner_parts)) - 1]

    def mark_of(self, key: str) -> str:
        """Return where the figure under that key of a configuration file comes from."""
        if key.startswith(FACTORS):
            return self.marks.get(key, MARKS.get(key.removeprefix(FACTORS), NO_SOURCE))
        return self.marks.get(key, self.marks.get("default", NO_SOURCE))

    def figures(self) -> dict[str, Any]:
        """Return what the coating goes by, under the keys of a configuration file.

        Stages it has not are left out, and factors that have no part in how it cures; the name of a factor begins with
        "factors.".
        """
        fields = {f.alias or name: getattr(self, name) for name, f in Coating.model_fields.items()}
        own = {key: fields[key] for key in toml_keys() if key not in _NO_FIGURES and fields[key] is not None}
        fields, keys = factor_keys(), factors_of(self.cures_by, humidity_slows=self.humidity_slows)
        return own | {f"{FACTORS}{key}": getattr(self.factors, fields[key]) for key in keys}


def toml_keys() -> dict[str, str]:
    """Return the keys a coating has in a configuration file, with their descriptions; `family` is not among them."""
    ours = {"key", "family", "marks"}
    return {f.alias or name: f.description or "" for name, f in Coating.model_fields.items() if name not in ours}
