"""What JSON documents for other programs are made of.

Every number carries its unit in its key, every instant is UTC with Z, and the site's zone is named beside it. A figure
that is not known is null. Keys may be added under the same schema; what a key means never changes under it.

A part takes its fields from the attributes of a model of the core, under the same name or its `validation_alias`.
"""

import json
from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from typing import Annotated, Any, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

P = TypeVar("P", bound="Part")


class Part(BaseModel):
    """Some of a document."""

    model_config = ConfigDict(
        frozen=True,
        from_attributes=True,
        validate_by_name=True,
        validate_by_alias=True,
        serialize_by_alias=True,
    )

    def as_json(self) -> dict[str, Any]:
        """Return it as plain values, what is not known as None."""
        plain: dict[str, Any] = json.loads(self.model_dump_json())
        return plain

    def text(self) -> str:
        """Return it as JSON for people to read as well."""
        return json.dumps(self.as_json(), ensure_ascii=False, indent=2)


def told_by(model: type[BaseModel]) -> Callable[[type[P]], type[P]]:
    """Let the fields of a part that say nothing of themselves say what those of a model of the core say."""

    def tell(part: type[P]) -> type[P]:
        for name, field in part.model_fields.items():
            whose = field.validation_alias if isinstance(field.validation_alias, str) else name
            if field.description is None and whose in model.model_fields:
                field.description = model.model_fields[whose].description
        part.model_rebuild(force=True)
        return part

    return tell


def _second(at: datetime) -> datetime:
    return at.astimezone(UTC).replace(microsecond=0)


def _or_none(text: str | None) -> str | None:
    return text or None


def _one_by_one(factors: Any) -> Any:
    if not isinstance(factors, Mapping):
        return factors
    return [{"factor": name, "multiplier": value} for name, value in factors.items()]


Instant = Annotated[datetime, AfterValidator(_second), Field(examples=["2026-06-03T08:00:00Z"])]
"""An instant, in UTC and to the second."""
TextOrNone = Annotated[str | None, BeforeValidator(_or_none)]
"""Text that is null where there is none."""


class Factor(Part):
    """Something that slows drying beside the weather."""

    factor: str = Field(description="what it is", examples=["thick_film"])
    multiplier: float = Field(description="drying takes so many times as long", examples=[1.3])


Factors = Annotated[list[Factor], BeforeValidator(_one_by_one)]
