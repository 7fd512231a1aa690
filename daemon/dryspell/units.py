"""Text with a unit becomes an SI float here, and nowhere else.

Every quantity in a configuration or table file is written with its unit ("18 degC", "65 degF", "75 um"). The annotated
types below are what the models use: the field holds a plain float in the unit the type names.
"""

import re
from collections.abc import Callable
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator

if TYPE_CHECKING:
    from pint import UnitRegistry

_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s].*?)?\s*$")

# Offset units read as differences where a difference is meant: nobody writes "delta_degF" on a shed wall.
_DIFFERENCE = {"degC": "delta_degC", "degF": "delta_degF", "°C": "delta_degC", "°F": "delta_degF"}
_MISTAKEN = {"C": "degC", "F": "degF"}
# On a can a mil is a thousandth of an inch of film; pint takes it for the gunner's angle.
_TRADE_NAMES = {"mil": "thou", "mils": "thou"}


@lru_cache(maxsize=1)
def registry() -> "UnitRegistry[Any]":
    """Return the unit registry; it is built at the first call because that takes a quarter of a second."""
    import pint  # noqa: PLC0415  (the registry is slow to build and many commands never need it)

    return pint.UnitRegistry()


def read_quantity(text: object, unit: str, *, difference: bool = False) -> float:
    """Read a quantity such as "18 degC" and return its magnitude in `unit`.

    Parameters
    ----------
    text
        What was written. Numbers without a unit are refused.
    unit
        The unit of the result, as pint spells it.
    difference
        Read temperatures as differences: "5 degF" is then 2.78 K.

    Raises
    ------
    ValueError
        Without a unit, with an unknown unit, or with one of another dimension; the text says what would be right.
    """
    wanted = f"a quantity in {unit} or a unit that converts to it"
    if not isinstance(text, str):
        raise ValueError(f"needs a unit: write {text} as text with its unit, {wanted}")  # noqa: TRY004
    match = _QUANTITY.match(text)
    if match is None:
        raise ValueError(f"is not a number with a unit; wanted {wanted}")
    number, name = float(match[1]), (match[2] or "").strip()
    if not name:
        raise ValueError(f"has no unit; wanted {wanted}")
    return convert(number, name, unit, difference=difference)


@lru_cache(maxsize=256)
def _linear(name: str, unit: str) -> tuple[float, float]:
    """Return scale and offset that turn a magnitude in `name` into one in `unit`."""
    import pint  # noqa: PLC0415

    units = registry()
    try:
        at_0 = float(units.Quantity(0.0, name).to(unit).magnitude)
        at_1 = float(units.Quantity(1.0, name).to(unit).magnitude)
    except pint.DimensionalityError as error:
        hint = f"; did you mean {_MISTAKEN[name]}?" if name in _MISTAKEN else ""
        raise ValueError(f"is measured in {error.units1}, which cannot be {unit}{hint}") from None
    except Exception:  # noqa: BLE001  (pint raises many kinds for text that is no unit)
        raise ValueError(f"has an unknown unit {name!r}; wanted one that converts to {unit}") from None
    return at_1 - at_0, at_0


def convert(number: float, name: str, unit: str, *, difference: bool = False) -> float:
    """Convert a number in the unit called `name` into `unit`; ValueError says what is wrong with the unit."""
    if number != number or number in (float("inf"), float("-inf")):  # noqa: PLR0124
        raise ValueError("is not a finite number")
    name = _TRADE_NAMES.get(name, name)
    scale, offset = _linear(_DIFFERENCE.get(name, name) if difference else name, unit)
    return round(number * scale + (0.0 if difference else offset), 9)


def _reader(unit: str, low: float, high: float, *, difference: bool = False) -> Callable[[Any], float]:
    def read(value: Any) -> float:
        # A model that is copied or rebuilt hands its own floats back.
        number = float(value) if isinstance(value, float) else read_quantity(value, unit, difference=difference)
        if not low <= number <= high:
            raise ValueError(f"is out of range: {number:g} {unit} is not within {low:g} to {high:g} {unit}")
        return number

    return read


Celsius = Annotated[float, BeforeValidator(_reader("degC", -60, 100))]
Kelvins = Annotated[float, BeforeValidator(_reader("K", 0, 30, difference=True))]
Percent = Annotated[float, BeforeValidator(_reader("percent", 0, 100))]
MetresPerSecond = Annotated[float, BeforeValidator(_reader("m/s", 0, 60))]
Millimetres = Annotated[float, BeforeValidator(_reader("mm", 0, 1000))]
Micrometres = Annotated[float, BeforeValidator(_reader("um", 0, 2000))]
SquareMetres = Annotated[float, BeforeValidator(_reader("m^2", 0.001, 10_000))]
SquareMetresPerHour = Annotated[float, BeforeValidator(_reader("m^2/hour", 0.01, 1000))]
Metres = Annotated[float, BeforeValidator(_reader("m", -500, 6000))]
Hours = Annotated[float, BeforeValidator(_reader("hour", 0, 24 * 365))]
Minutes = Annotated[float, BeforeValidator(_reader("minute", 0, 60 * 24 * 30))]
Seconds = Annotated[float, BeforeValidator(_reader("second", 0, 86400 * 400))]
Degrees = Annotated[float, BeforeValidator(_reader("degree", -360, 360))]
Latitude = Annotated[float, BeforeValidator(_reader("degree", -90, 90))]
Longitude = Annotated[float, BeforeValidator(_reader("degree", -180, 180))]
