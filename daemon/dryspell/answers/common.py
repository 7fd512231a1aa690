"""Parts that several documents have: a reason with its number, the stages of a film, and whose weather it is."""

from collections.abc import Mapping
from math import nan
from typing import Any

from pydantic import Field, model_validator

from dryspell.answers.part import Instant, Part, told_by
from dryspell.outlook.as_json import reason_document
from dryspell.outlook.model import Limit, Provenance, Reason, Stages


def _figure(what: str, unit: str) -> Any:
    return Field(default=None, exclude_if=_is_none, description=f"{what}, in {unit}".removesuffix(", in "))


def _is_none(value: object) -> bool:
    return value is None


_GIVEN, _ASKED = "what the weather gives, null where that is no number", "what the limit asks"


class ReasonPart(Part):
    """One limit with its number; value and bound stand under the key that ends with their unit, and under no other."""

    limit: Limit = Field(description="which limit", examples=["margin_hold"])
    value_k: float | None = _figure(_GIVEN, "kelvin")
    value_c: float | None = _figure(_GIVEN, "degrees Celsius")
    value_pct: float | None = _figure(_GIVEN, "percent")
    value_m_s: float | None = _figure(_GIVEN, "metres a second")
    value_mm: float | None = _figure(_GIVEN, "millimetres")
    value_h: float | None = _figure(_GIVEN, "hours")
    value: float | None = _figure(_GIVEN, "")
    bound_k: float | None = _figure(_ASKED, "kelvin")
    bound_c: float | None = _figure(_ASKED, "degrees Celsius")
    bound_pct: float | None = _figure(_ASKED, "percent")
    bound_m_s: float | None = _figure(_ASKED, "metres a second")
    bound_mm: float | None = _figure(_ASKED, "millimetres")
    bound_h: float | None = _figure(_ASKED, "hours")
    bound: float | None = _figure(_ASKED, "")
    variable: str | None = Field(
        default=None, exclude_if=_is_none, description="the weather variable that is not known, by its CF name"
    )
    dry_at: Instant | None = Field(
        default=None, exclude_if=_is_none, description="of a wet surface: when dew and rain are off it"
    )
    at: Instant | None = Field(description="when the value is met, or, of a limit without a number, when it lets go")

    @model_validator(mode="before")
    @classmethod
    def _named_by_unit(cls, reason: Any) -> Any:
        if not isinstance(reason, Reason):
            return reason
        # An unknown figure is null and not left out: NaN until it is written.
        named = reason_document(reason).items()
        return {key: nan if value is None and key != "at" else value for key, value in named}


@told_by(Stages)
class StagesPart(Part):
    """When a film reaches its stages; null is later than the weather reaches. Estimates: the data sheet decides."""

    touch_dry: Instant | None = Field(description="it does not stick to a finger any more")
    dew_safe: Instant | None = Field(description="dew does not mark it any more")
    rain_safe: Instant | None = Field(description="rain does not mark it any more")
    sandable: Instant | None = Field(description="it powders on the paper; of a stain, dry to coat")
    recoat: Instant | None = Field(description="the next coat may go on")
    sand_first_after: Instant | None
    hot_open: Instant | None
    hot_close: Instant | None
    in_service: Instant | None
    full_cure: Instant | None


@told_by(Provenance)
class WeatherPart(Part):
    """Whose weather something stands on."""

    source: str = Field(description="who gave it", examples=["open-meteo"])
    attribution: str = Field(description="the credit to show beside it")
    issued_at: Instant = Field(description="when it was made")
    age_h: float = Field(description="how old it was then")
    reaches: Instant | None
    notes: list[str] = Field(description="what a reader should know of it, in plain words")


def edition(name: str) -> Any:
    """Return the field that names a document and which edition of it this is."""
    return Field(default=name, alias="schema", description="which document it is, and which edition of it")


class Whole(Part):
    """What every document begins with."""

    schema_: str = edition("")
    generated_at: Instant = Field(description="when it was made")


def beside(model: Any, **more: Any) -> Mapping[str, Any]:
    """Return the fields of a model of the core, and some more beside them."""
    return {**dict(model), **more}
