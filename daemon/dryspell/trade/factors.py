"""What multiplies the times of a coat beside the temperature of its film, and where each figure is from.

A factor above 1 makes a time longer. "window" in a name is the factor on the longest times instead, those after which a
film has to be sanded before it is coated. Each can be set in a configuration, under `[coating.KEY.factors]`.
"""

from collections.abc import Mapping
from decimal import Decimal
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from dryspell.science.factors import (
    BUILD_UP_A_COAT,
    DAMP,
    FULL_EVAPORATION_PCT,
    FULL_MOISTURE_G_KG,
    THICKNESS_POWER,
)
from dryspell.units import read_quantity, within

NO_SOURCE = "common practice, no source"
OUR_CHOICE = "our own choice, no source"

CuresBy = Literal["oxidation", "reaction", "coalescence", "moisture"]

DRY_AIR_PCT = 30.0
"""Under this humidity a waterborne film dries faster than printed (common practice, no source)."""
STILL_AIR_M_S = 0.3
"""Under this wind at the piece the solvent hangs over the film (common practice, no source)."""
THINNED_PARTS = 25.0
"""From this much thinner on, the first coat on bare wood sinks in and dries sooner (common practice, no source)."""

DampPoints = tuple[tuple[float, float], ...]
_LEAST, _MOST = 0.1, 10.0


def _number(value: Any, low: float, high: float) -> float:
    is_number = isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)
    if not is_number or not low <= value <= high:
        raise ValueError(f"is no factor; wanted a number of {low:g} to {high:g}, without quotes and without a unit")
    return float(value)


def _plain(low: float, high: float) -> BeforeValidator:
    return BeforeValidator(lambda value: _number(value, low, high))


def _read_damp(value: Any) -> DampPoints:
    """Read {"65 %": 1, "90 %": 1.7} into ((65.0, 1.0), (90.0, 1.7))."""
    if isinstance(value, tuple):
        return value
    if not isinstance(value, Mapping) or not value:
        raise ValueError('is no table; wanted a factor for each humidity, such as { "65 %" = 1, "90 %" = 1.7 }')
    points = []
    for humidity, factor in value.items():
        try:
            at_pct = read_quantity(humidity, "percent")
        except ValueError as error:
            raise ValueError(f'cannot be used: the humidity "{humidity}" {error}') from None
        points.append((at_pct, _number(factor, 1.0, _MOST)))
    points.sort()
    if not all(0.0 <= at <= 100.0 for at, _ in points) or any(a[0] == b[0] or a[1] > b[1] for a, b in pairwise(points)):
        raise ValueError("cannot be used; wanted humidities of 0 to 100 %, each once, and no factor less in damper air")
    return tuple(points)


Multiplier = Annotated[float, _plain(_LEAST, _MOST)]


class Factors(BaseModel):
    """The multipliers of one coating; what is not set is common practice."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    damp: Annotated[DampPoints, BeforeValidator(_read_damp)] = Field(
        default=DAMP, description="by the humidity of the air, until it is dew-safe"
    )
    damp_late: Annotated[float, _plain(1.0, _MOST)] = Field(
        default=1.25, description="most that damp air may lengthen what comes after dew-safe"
    )
    dry_air: Multiplier = Field(default=0.8, description=f"waterborne, in air under {DRY_AIR_PCT:g} %")
    dry_window: Multiplier = Field(default=0.8, description="the same, on the longest times")
    evaporation_pct: Annotated[float, within("percent", 1.0, 99.0)] = Field(
        default=FULL_EVAPORATION_PCT,
        alias="evaporation",
        description="waterborne: humidity at the film up to which its times hold",
    )
    moisture_g_kg: Annotated[float, within("g/kg", 0.1, 100.0)] = Field(
        default=FULL_MOISTURE_G_KG,
        alias="moisture",
        description="moisture-cured: vapour in the air from which on its times hold",
    )
    still_air: Multiplier = Field(
        default=1.3, description=f"in a closed shed, or wind at the piece under {STILL_AIR_M_S:g} m/s"
    )
    still_window: Multiplier = Field(default=1.2, description="the same, on the longest times")
    film_power: Annotated[float, _plain(0.0, 4.0)] = Field(
        default=THICKNESS_POWER, description="power of the wet film over that of a full coat"
    )
    thinned_first: Multiplier = Field(
        default=0.8, description=f"coat 1 on bare wood with {THINNED_PARTS:g} parts of thinner or more"
    )
    oily_wood: Multiplier = Field(default=1.5, description="coat 1 on oily wood")
    pace: Multiplier = Field(
        default=1.0, description="how it dries for you; left out, learned from coats seen sandable"
    )
    build_up: Annotated[float, _plain(0.0, 1.0)] = Field(
        default=BUILD_UP_A_COAT, description="added for each coat above the third that follows at the least time"
    )


MARKS: Mapping[str, str] = {
    "pace": OUR_CHOICE,
    "evaporation": OUR_CHOICE,
    "moisture": "10 g/kg: a maker's advice on a moisture-cured urethane; that cure falls straight below it: our choice",
}
"""Where a default is from that is not plain common practice."""

_OF: Mapping[CuresBy, frozenset[str]] = {
    "oxidation": frozenset({"damp", "damp_late", "oily_wood", "build_up"}),
    "reaction": frozenset({"damp", "damp_late"}),
    "coalescence": frozenset({"damp", "damp_late", "dry_air", "dry_window", "evaporation"}),
    "moisture": frozenset({"moisture"}),
}
_OF_ALL = frozenset({"still_air", "still_window", "film_power", "thinned_first", "pace"})


def factor_keys() -> dict[str, str]:
    """Return the keys of the factors in a configuration file, with the names of their fields."""
    return {field.alias or name: name for name, field in Factors.model_fields.items()}


def factors_of(cures_by: CuresBy, *, humidity_slows: bool) -> tuple[str, ...]:
    """Return the keys of the factors that count for a coating, by how it cures."""
    names = _OF[cures_by] | _OF_ALL
    if not humidity_slows:
        names -= {"damp", "damp_late", "evaporation"}
    return tuple(key for key in factor_keys() if key in names)
