"""What is at hand of a coating."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field

from dryspell.units import within

KEEPS_D = 21
"""An opened can is used up within about three weeks (common practice, no source). [d]"""


def _read_day(value: Any) -> Any:
    if value is None or (isinstance(value, date) and not isinstance(value, datetime)):
        return value
    try:
        return date.fromisoformat(value)
    except (TypeError, ValueError):
        raise ValueError('is no day; wanted such as "2026-05-01"') from None


Day = Annotated[date | None, BeforeValidator(_read_day)]
Litres = Annotated[float, within("L", 0, 10_000)]


class Stock(BaseModel):
    """A can of a coating that is at hand, or several alike."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    key: str
    coating: str = Field(
        examples=["oil_varnish_1k"], description="the key of a coating of yours or of a built-in family"
    )
    left_l: Litres = Field(alias="left", examples=["0.4 L"], description="what is in it, of a kit both parts together")
    opened: Day = Field(default=None, description="the day it was opened; left out, it is full and shut")
    counted: Day = Field(
        default=None, description="the day this was written down: coats recorded later are taken off; left out, none is"
    )

    def is_old(self, today: date) -> bool:
        """Say whether it has stood open for too long to be counted on."""
        return self.opened is not None and (today - self.opened).days > KEEPS_D


@dataclass(frozen=True)
class Use:
    """What a coat that is on took of a coating. [L]"""

    day: date
    coating: str
    litres: float


class AtHand:
    """What is left of what is at hand, while it is poured out.

    Parameters
    ----------
    stocks
        As they were written down.
    uses
        What coats took; off a can go those of later days than it was counted on.
    today
        Cans that have stood open for too long by then are not poured from.
    """

    def __init__(self, stocks: Iterable[Stock], uses: Iterable[Use], today: date) -> None:
        # Whoever coats empties the opened can first, the one that was opened first before the others.
        self._stocks = sorted(stocks, key=lambda stock: (stock.opened is None, stock.opened or date.max))
        self._left = {stock.key: stock.left_l for stock in self._stocks}
        for use in sorted(uses, key=lambda use: use.day):
            self._take(use.coating, use.litres, [s for s in self._stocks if s.counted and s.counted < use.day])
        self.old = tuple(stock for stock in self._stocks if stock.is_old(today) and self._left[stock.key] > 0.0)
        self._good = [stock for stock in self._stocks if not stock.is_old(today)]

    def left_l(self, coating: str) -> float:
        """Return what is left of a coating in cans that can be counted on. [L]"""
        return sum(self._left[stock.key] for stock in self._good if stock.coating == coating)

    def pour(self, coating: str, litres: float, *, fresh: bool) -> float:
        """Pour for a coat, and return what there was for it; `fresh` is out of cans that are shut only. [L]"""
        return self._take(coating, litres, [s for s in self._good if s.opened is None or not fresh])

    def _take(self, coating: str, litres: float, stocks: Iterable[Stock]) -> float:
        wanted = litres
        for stock in stocks:
            if stock.coating == coating:
                taken = min(wanted, self._left[stock.key])
                self._left[stock.key] -= taken
                wanted -= taken
        return litres - wanted
