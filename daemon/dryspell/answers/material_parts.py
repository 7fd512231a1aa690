"""The parts of the document of what to buy: every number with its unit in its key; prices are in any currency."""

from datetime import date
from typing import Annotated, Literal

from pydantic import Field

from dryspell.answers.common import Whole, edition
from dryspell.answers.part import Part

Key = Annotated[str, Field(description="the key of the coating")]


class CanPart(Part):
    """A size of can, and how many of it to buy."""

    size: str = Field(description="as it is printed on the can")
    size_l: float = Field(description="what is in it")
    count: int = Field(description="how many to buy")
    unopened: int = Field(description="how many of them stay shut")
    price: float | None = Field(description="of one, in the currency of the configuration")


class CansPart(Part):
    """The cans to buy of one coating."""

    buy: list[CanPart] = Field(description="by size")
    needed_l: float = Field(description="what is needed")
    bought_l: float = Field(description="what is in the cans")
    spare_pct: float | None = Field(description="what is over")
    price: float | None = Field(description="of all of them; null where a price is not told")


class PourPart(Part):
    """What a coat is poured from."""

    rest_l: float = Field(description="out of what was open")
    opened: list[str] = Field(description="the cans that are opened for it")
    left_l: float = Field(description="what is left open after it")
    kept: bool = Field(description="that keeps until the next coat")
    decant: bool = Field(description="it should be filled into a smaller vessel")


class BatchPart(Part):
    """How a two-part coat is mixed."""

    pot_life_h: float = Field(description="until a mix goes off")
    brushable_h: float = Field(description="while it still flows out under the brush")
    cups: int = Field(description="in how many batches")
    each_l: float = Field(description="how much is mixed at once")


class CoatNeedPart(Part):
    """What one coat takes."""

    coat: int = Field(description="its number")
    thinner_parts: float = Field(description="parts to a hundred of coating")
    wet_film_um: float = Field(description="how deep it is to be while wet")
    dry_film_um: float | None = Field(description="what it leaves")
    full: bool = Field(description="it is a full coat")
    abrasive: str = Field(description='what is sanded with before it, or "none"')
    planned_on: date | None = Field(description="its day in the plan; null where it has none yet")
    mix_l: float | None = Field(description="of coating and thinner")
    coating_l: float | None = Field(description="of coating")
    base_l: float | None = Field(description="of two parts, the base")
    hardener_l: float | None = Field(description="of two parts, the hardener")
    thinner_l: float | None = Field(description="of thinner")
    at_hand_l: float | None = Field(description="of it out of what is at hand")
    pour: PourPart | None
    batch: BatchPart | None


class PurchasePart(Part):
    """What the coats of one coating take, and the cans to buy for them."""

    coating: Key
    name: str = Field(description="what it is called")
    coats: list[CoatNeedPart] = Field(description="the coats to come of it")
    cans: CansPart | None = Field(description="null where nothing is to be bought")


class FilmNeedPart(Part):
    """The film there is and will be."""

    on_um: float | None = Field(description="dry, of the coats that are on")
    end_um: float | None = Field(description="dry, when all are on")
    full_on: int = Field(description="full coats that are on")
    full_end: int = Field(description="full coats when all are on")
    full_wanted: int | None = Field(description="full coats that are wanted")
    full_short: int = Field(description="how many are short of that")
    one_more_coating_l: float | None = Field(description="what one more full coat takes")
    as_planned: int = Field(description="coats on of which is not told how they were put on: taken as planned")


class PieceMaterial(Part):
    """What one piece takes."""

    piece: str = Field(description="the key of the piece")
    name: str = Field(description="what it is called")
    site: str = Field(description="the key of its site")
    timezone: str = Field(description="the zone of the site's clocks")
    area_m2: float | None = Field(description="its area; null is not told")
    loss_pct: float = Field(description="what stays in brush and cup")
    coats: int = Field(description="of the whole build-up")
    coats_on: int = Field(description="how many are on")
    mix_c: float | None = Field(description="the temperature a mix is reckoned at")
    film: FilmNeedPart
    coatings: list[PurchasePart] = Field(description="by coating, in the order they are put on")


class StockPart(Part):
    """What is at hand of a coating."""

    coating: Key
    at_hand_l: float | None = Field(description="what is at hand")
    stood_open_too_long: list[str] = Field(description="the cans, by their keys, that are not counted")


class ThinnerPart(Part):
    """The thinner that goes with a coating."""

    coating: Key
    mix_l: float | None = Field(description="into the coats")
    cleaning_l: float | None = Field(description="for brushes")


class AbrasiveCount(Part):
    """How many of a grit."""

    abrasive: str = Field(description="the grit")
    count: int = Field(description="how many")


class BrushCount(Part):
    """How many brushes for a coating."""

    coating: Key
    count: int = Field(description="how many")


class ConsumablesPart(Part):
    """What is used up beside the coating."""

    thinner: list[ThinnerPart]
    degreaser_l: float | None = Field(description="to wipe with")
    discs: list[AbrasiveCount]
    quarter_sheets: list[AbrasiveCount]
    brushes: list[BrushCount]
    tape_m: float | None = Field(description="masking tape")


class ItemPart(Part):
    """Something to buy."""

    count: int = Field(description="how many")
    size: str = Field(description="of which size")
    for_: str = Field(alias="for", description="what it is for")
    needed_on: date | None = Field(description="the day of the first coat that takes it; null for no date yet")


class GroupPart(Part):
    """Some of the list."""

    label: str = Field(description="what is in it")
    items: list[ItemPart]


class MaterialDocument(Whole):
    """What the coats to come take, and what to buy for them; prices are in any currency."""

    schema_: Literal["dryspell.material/1"] = edition("dryspell.material/1")
    pieces: list[PieceMaterial] = Field(description="each by itself")
    stock: list[StockPart] = Field(description="what is at hand")
    consumables: ConsumablesPart = Field(description="all pieces together")
    list_: list[GroupPart] = Field(alias="list", description="the list to go shopping with")
    cautions: list[str] = Field(description="the usual cautions; the data sheet decides")
