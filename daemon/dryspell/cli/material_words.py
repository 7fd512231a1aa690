"""Figures and numbers of coats as a shopping list has them."""

import re
import textwrap
from collections.abc import Iterator, Sequence
from itertools import groupby

from dryspell.answers.amounts import NONE, coats_text, number_spans, number_word, volume
from dryspell.cli.show import WIDTH
from dryspell.trade.material import CoatNeed

__all__ = ["NONE", "alike", "coats_text", "number_spans", "number_word", "volume", "wrapped"]

_NO_BREAK = "\N{NO-BREAK SPACE}"
_WITH_UNIT = re.compile(
    r"(?<=\d) (?=(?:%|mL|L|m|mm|m2|µm|mil|min|h|°C|°F|fl oz|gal|yd|: \d)(?!\w))|(?<=fl) (?=oz)|(?<=:) (?=\d)"
)


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
