"""The weather a coat was put on in, as plain models: every figure with how it is known."""

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

Known = Literal["hand", "sensor", "estimate", "forecast"]
"""How a figure is known: measured by hand; read by a sensor; worked out from what sensors read nearby and a forecast of
the rest; out of a forecast, or worked out from it. The best known comes first."""


class _Part(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", cache_strings="keys")


class Figure(_Part):
    """A number and how it is known."""

    value: float = Field(description="in the unit of the key it stands under")
    known: Known = Field(description="how it is known")


class AtPiece(_Part):
    """The weather at a piece; None is not known."""

    air_c: Figure | None = None
    surface_c: Figure | None = None
    humidity_pct: Figure | None = None
    dew_point_c: Figure | None = None
    margin_k: Figure | None = Field(default=None, description="surface temperature over the dew point")
    wind_m_s: Figure | None = Field(default=None, description="a gust counts for two thirds")

    def over(self, other: "AtPiece") -> "AtPiece":
        """Return these figures, and those of the other where there are none here."""
        return other.model_copy(update={name: figure for name in FIGURES if (figure := getattr(self, name))})


FIGURES = tuple(AtPiece.model_fields)

NOTHING = AtPiece()


class Met(_Part):
    """What a coat met from its first stroke to its last."""

    began_at: datetime = Field(description="the first stroke, or what was taken for it")
    start: AtPiece = NOTHING
    end: AtPiece = NOTHING
    least: AtPiece = Field(default=NOTHING, description="the least of each figure from the first stroke to the last")
    most: AtPiece = NOTHING
    by_hand: AtPiece = Field(default=NOTHING, description="measured while coating, and what follows from that")
    forecast: str = Field(default="", description="whose forecast was gone by where nothing was measured")
    issued_at: datetime | None = Field(default=None, description="when that was made")
    attribution: str = Field(default="", description="the credit to show beside it")
    sensors: tuple[str, ...] = Field(default=(), description="the sensors that were read, by their keys")

    @property
    def told(self) -> AtPiece:
        """The figures to name first: by hand, else at the first stroke, else at the last."""
        return self.by_hand.over(self.start.over(self.end))

    @property
    def is_known(self) -> bool:
        """Whether anything is known of it."""
        return self.told != NOTHING

    @property
    def is_forecast(self) -> bool:
        """Whether a forecast has a part in it."""
        parts = (self.start, self.end, self.least, self.most, self.by_hand)
        figures = (getattr(part, name) for part in parts for name in FIGURES)
        return any(figure is not None and figure.known in ("estimate", "forecast") for figure in figures)
