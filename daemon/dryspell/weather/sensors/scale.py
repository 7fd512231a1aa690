"""The unit of a bare number in a payload: its name, or a quantity that one count of the number stands for."""

import re
from dataclasses import dataclass
from typing import Any

from dryspell.units import convert

_SCALE = re.compile(r"\s*((?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)?\s*(\S.*?)\s*", re.ASCII)


@dataclass(frozen=True)
class Scale:
    """What a bare number is multiplied by, and the unit it is then in.

    "degC" is the plain unit; with "0.1 degC" a payload counts tenths, with "0.2794 mm" the tips of a rain gauge, and
    with "100 %" a share of one.
    """

    factor: float
    unit: str

    def to(self, number: float, unit: str) -> float:
        """Return a number of the payload in another unit; ValueError says what is wrong with the units."""
        return convert(number * self.factor, self.unit, unit)


def read_scale(value: Any) -> Scale | None:
    """Read a unit or a quantity; None stays None."""
    if value is None or isinstance(value, Scale):
        return value
    match = _SCALE.fullmatch(value) if isinstance(value, str) else None
    if match is None:
        raise ValueError('is no unit; wanted such as "degC", or "0.1 degC" where tenths are counted')
    return Scale(float(match[1] or 1), match[2])
