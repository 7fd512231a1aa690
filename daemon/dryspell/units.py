"""Text with a unit becomes an SI float here, and nowhere else.

Every quantity in a configuration or table file is written with its unit ("18 degC", "65 degF", "75 um"). The annotated
types below are what the models use: the field holds a plain float in the unit the type names.
"""

import math
import re
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Annotated, Any

from pydantic import BeforeValidator

if TYPE_CHECKING:
    from pint import UnitRegistry

_QUANTITY = re.compile(r"^\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([^\d\s].*?)?\s*$", re.ASCII)

# One unit, or several with exponents of one digit: "m^2/h", "m2", "m s-1". Anything longer is no unit, and the unit
# parser would happily work out 9^9^9 before saying so.
_ONE_UNIT = r"(?:sq |square )?[^\W\d]+[°%]?(?:(?:\^|\*\*)?[+-]?[1-4])?"
_UNIT = re.compile(rf"(?:[°%]|°[A-Za-z]+|(?:1?/ ?)?{_ONE_UNIT}(?:(?: ?[*/·] ?| ){_ONE_UNIT}){{0,3}})")
_BARE_EXPONENT = re.compile(r"(?<=[^\W\d])([+-]?[1-4])")

# On a can a mil is a thousandth of an inch of film; pint takes it for the gunner's angle.
_TRADE_NAMES = {"mil": "thou", "mils": "thou"}
_MISTAKEN = {
    ("C", "degC"): "did you mean degC?",
    ("F", "degC"): "did you mean degF?",
    ("C", "K"): "did you mean K?",
    ("F", "K"): "did you mean degF?",
    ("N", "degree"): "north is written as 54.3 deg",
    ("S", "degree"): "south is written as -54.3 deg",
    ("W", "degree"): "west is written as -10.2 deg",
    ("E", "degree"): "east is written as 10.2 deg",
}
_DIMENSIONS = {
    "[length]": "a length",
    "[length] ** 2": "an area",
    "[length] ** 3": "a volume",
    "1 / [length]": "a spreading rate",
    "[length] / [time]": "a speed",
    "[mass]": "a mass",
    "[mass] / [time] ** 3": "a power on an area",
    "[mass] / [length] / [time] ** 2": "a pressure",
    "[mass] / [time] ** 3 / [temperature]": "a heat conductance",
    "[temperature] * [time] ** 3 / [mass]": "a heat resistance",
    "1 / [time]": "a rate",
    "[temperature]": "a temperature",
    "[time]": "a time",
    "dimensionless": "a share",
}
_ANGLES = {"degree", "radian", "arcminute", "arcsecond", "turn", "grade"}
_EXAMPLES = {
    "degC": "18 degC",
    "K": "3 K",
    "percent": "85 %",
    "m/s": "4 m/s",
    "mm": "0.2 mm",
    "um": "80 um",
    "m^2": "4.5 m^2",
    "litre": "0.4 L",
    "m": "12 m",
    "L": "0.5 L",
    "m^2/L": "12 m^2/L",
    "day": "400 d",
    "hour": "9 h",
    "minute": "15 min",
    "g/kg": "10 g/kg",
    "second": "60 s",
    "W/m^2/K": "4 W/m^2/K",
    "K m^2/W": "12 K m^2/kW",
    "1/hour": "1.2 / hour",
    "degree": "54.3 deg",
}


def example(unit: str) -> str:
    """Return what a quantity in that unit may look like, to follow "wanted"."""
    return f'such as "{_EXAMPLES[unit]}"' if unit in _EXAMPLES else f"a quantity that converts to {unit}"


# What nearly everything is written in, each unit in terms of itself and of a few more, as (scale, offset), so that no
# command waits half a second for pint where nothing else is read. A test holds each against pint, to the last bit.
_USUAL: dict[tuple[str, str], tuple[float, float]] = {
    (name, unit): (scale, 0.0)
    for unit, names in {
        "degC": {"degC": 1.0, "°C": 1.0},
        "K": {"K": 1.0},
        "percent": {"%": 1.0, "percent": 1.0},
        "m/s": {"m/s": 1.0},
        "mm": {"mm": 1.0},
        "um": {"um": 1.0, "µm": 1.0},
        "m^2": {"m^2": 1.0, "m2": 1.0},
        "m": {"m": 1.0},
        "L": {"L": 1.0, "mL": 0.001},
        "m^2/L": {"m^2/L": 1.0, "m2/L": 1.0},
        "day": {"d": 1.0},
        "hour": {"d": 24.0, "day": 24.0, "days": 24.0, "h": 1.0, "hour": 1.0, "hours": 1.0, "min": 1 / 60},
        "minute": {"h": 60.0, "min": 1.0},
        "second": {"d": 86400.0, "h": 3600.0, "min": 60.0, "s": 1.0},
        "degree": {"deg": 1.0, "°": 1.0},
        "hPa": {"hPa": 1.0},
    }.items()
    for name, scale in names.items()
}


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
    if not isinstance(text, str):
        raise ValueError(f"needs a unit: wanted text {example(unit)}")  # noqa: TRY004  (all bad input is a ValueError)
    match = _QUANTITY.match(text.replace("\N{MINUS SIGN}", "-"))
    if match is None:
        raise ValueError(f"is not a number with a unit; wanted {example(unit)}")
    number, name = float(match[1]), (match[2] or "").strip()
    if not name:
        raise ValueError(f"has no unit; wanted {example(unit)}")
    return convert(number, name, unit, difference=difference)


def _parsed(name: str) -> Any:
    """Return the unit called `name`, or None where there is no such unit."""
    if _UNIT.fullmatch(name) is None:
        return None
    spelt = name.replace("sq ", "square ") if name.startswith("sq ") else name
    spelt = f"1{spelt}" if spelt.startswith("/") else spelt  # "2 / hour"
    try:
        return registry().parse_units(_BARE_EXPONENT.sub(r"^\1", spelt))
    except Exception:  # noqa: BLE001  (pint raises many kinds for text that is no unit)
        return None


def _kind(units: Any) -> str:
    """Return in plain words what a unit measures; angles are kept apart from shares, which pint does not."""
    if _ANGLES & set(units._units):  # noqa: SLF001  (pint has no public list of a unit's parts)
        return "an angle"
    return _DIMENSIONS.get(str(units.dimensionality), f"measured in {units}")


@lru_cache(maxsize=256)
def _linear(name: str, unit: str) -> tuple[float, float]:
    """Return scale and offset that turn a magnitude in `name` into one in `unit`."""
    return _USUAL.get((name, unit)) or _worked_out(name, unit)


def _worked_out(name: str, unit: str) -> tuple[float, float]:
    units, wanted = _parsed(_TRADE_NAMES.get(name, name)), _parsed(unit)
    hint = f"; {_MISTAKEN.get((name, unit)) or f'wanted {example(unit)}'}"
    if units is None:
        raise ValueError(f"has an unknown unit {name!r}{hint}")
    kind, wanted_kind = _kind(units), _kind(wanted)
    if units.dimensionality != wanted.dimensionality or (kind == "an angle") != (wanted_kind == "an angle"):
        raise ValueError(f"is {kind}, not {wanted_kind}{hint}")
    try:
        at_0, at_1 = (float(registry().Quantity(n, units).to(wanted).magnitude) for n in (0.0, 1.0))
    except Exception:  # noqa: BLE001  (such as a difference of temperatures where a temperature is wanted)
        raise ValueError(f"cannot be {wanted_kind}{hint}") from None
    return at_1 - at_0, at_0


def convert(number: float, name: str, unit: str, *, difference: bool = False) -> float:
    """Convert a number in the unit called `name` into `unit`; ValueError says what is wrong with the unit."""
    if not math.isfinite(number):
        raise ValueError("is not a finite number")
    scale, offset = _linear(name, unit)
    return round(number * scale + (0.0 if difference else offset), 9)


def _range_in_own_unit(text: object, unit: str, low: float, high: float, *, difference: bool) -> str:
    """Return the bounds in the unit the reader wrote, so that they can be compared at sight."""
    match = _QUANTITY.match(text) if isinstance(text, str) else None
    name = (match[2] or "").strip() if match else unit
    scale, offset = _linear(name, unit)
    ends = [(end - (0.0 if difference else offset)) / scale for end in (low, high)]
    if abs(ends[1]) < 1:  # a range of thousandths says nothing at sight
        return f"{low:g} to {high:g} {unit}"
    return "{:g} to {:g}".format(*ends) + f" {name}"


@dataclass(frozen=True, slots=True)
class Within(BeforeValidator):
    """A validator that reads a quantity, with what it asks for: the unit it reads into and the least and most in it."""

    unit: str = ""
    low: float = 0.0
    high: float = 0.0
    difference: bool = False


def within(unit: str, low: float, high: float, *, difference: bool = False) -> Within:
    """Return a validator that reads a quantity into `unit` and refuses what is not within `low` to `high`."""

    def read(value: Any) -> float:
        # A model that is copied or rebuilt hands its own floats back. The configuration's own bare numbers are Decimal.
        number = value if isinstance(value, float) else read_quantity(value, unit, difference=difference)
        if not low <= number <= high:
            raise ValueError(f"is not within {_range_in_own_unit(value, unit, low, high, difference=difference)}")
        return number

    return Within(read, unit=unit, low=low, high=high, difference=difference)


Celsius = Annotated[float, within("degC", -60, 100)]
Kelvins = Annotated[float, within("K", 0, 30, difference=True)]
Percent = Annotated[float, within("percent", 0, 100)]
MetresPerSecond = Annotated[float, within("m/s", 0, 60)]
Millimetres = Annotated[float, within("mm", 0, 1000)]
Micrometres = Annotated[float, within("um", 0, 2000)]
SquareMetres = Annotated[float, within("m^2", 0.001, 10_000)]
Metres = Annotated[float, within("m", -500, 6000)]
Hours = Annotated[float, within("hour", 0, 24 * 365)]
Minutes = Annotated[float, within("minute", 0, 24 * 60)]
Degrees = Annotated[float, within("degree", -360, 360)]
Latitude = Annotated[float, within("degree", -90, 90)]
Longitude = Annotated[float, within("degree", -180, 180)]
