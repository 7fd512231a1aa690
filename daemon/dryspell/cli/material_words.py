"""Figures and numbers of coats as a shopping list has them."""

import re
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from dryspell.cli.show import WIDTH
from dryspell.config.wording import listed
from dryspell.outlook.figures import Units
from dryspell.trade.material import CoatNeed

NONE = "-"
_NO_BREAK = "\N{NO-BREAK SPACE}"
_WITH_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|mL|L|m|mm|m2|µm|mil|min|h|°C|°F|fl oz|gal|yd|: \d)(?!\w))|(?<=fl) (?=oz)|(?<=:) (?=\d)"
)
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


def alike(needs: Sequence[CoatNeed]) -> Iterator[tuple[CoatNeed, str]]:
    """Yield the coats that follow each other and take the same, as one of them and their numbers."""
    for _, group in groupby(needs, key=lambda need: (need.lay.thinner_parts, need.lay.wet_film_um, need.mix_l)):
        same = list(group)
        first, last = same[0].lay.number, same[-1].lay.number
        yield same[0], str(first) if first == last else f"{first} to {last}"


def wrapped(text: str, indent: str | int, first: str | None = None) -> list[str]:
    """Return a text in lines of 80 columns, each number on one line with its unit.

    Parameters
    ----------
    indent
        What every line begins with, or how many spaces.
    first
        What the first one begins with, where that is something else.
    """
    rest = indent if isinstance(indent, str) else " " * indent
    lines = textwrap.wrap(
        _WITH_UNIT.sub(_NO_BREAK, text), WIDTH, initial_indent=rest if first is None else first,
        subsequent_indent=rest, break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace(_NO_BREAK, " ") for line in lines]
