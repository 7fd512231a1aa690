"""Volumes and numbers of coats as people say them."""

from collections.abc import Iterable
from itertools import groupby

from dryspell.config.wording import listed
from dryspell.outlook.figures import Units

NONE = "-"
_FL_OZ_L = 0.0295735295625
_GALLON_L = 3.785411784
_WORDS = ("none", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def volume(litres: float, units: Units) -> str:
    """Return a volume as it is measured out: "373 mL", "1.86 L", "12.6 fl oz"."""
    if not litres:
        return NONE
    if units == "us":
        ounces = litres / _FL_OZ_L
        return f"{litres / _GALLON_L:.2f} gal" if litres >= _GALLON_L else f"{ounces:.{int(ounces < 99.95)}f} fl oz"
    return f"{litres * 1000:.0f} mL" if litres < 0.9995 else f"{litres:.2f} L"


def number_word(number: int) -> str:
    """Return a small number in words."""
    return _WORDS[number] if number < len(_WORDS) else str(number)


def coats_text(numbers: Iterable[int]) -> str:
    """Return numbers of coats as they are said: "coat 4", "coats 1, 2 and 5 to 8"."""
    spans = number_spans(numbers)
    return f"{'coats' if len(spans) > 1 or ' to ' in spans[0] else 'coat'} {listed(spans)}"


def number_spans(numbers: Iterable[int]) -> list[str]:
    """Return rising numbers with those that follow each other drawn together: ["1", "5 to 8"]."""
    spans: list[str] = []
    for _, group in groupby(enumerate(sorted(numbers)), key=lambda pair: pair[1] - pair[0]):
        run = [number for _, number in group]
        spans += [f"{run[0]} to {run[-1]}"] if len(run) > 2 else map(str, run)
    return spans
