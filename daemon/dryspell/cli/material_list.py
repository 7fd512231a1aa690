"""The shopping list: how many of what size, for which coats of which piece, and what is to spare."""

from collections.abc import Iterator

from dryspell.answers.material_found import Found
from dryspell.answers.shopping_list import groups
from dryspell.cli.material_words import wrapped
from dryspell.cli.paint import Paint
from dryspell.cli.show import heading
from dryspell.outlook.figures import weekday_date

_TEXT = 20
"""Column at which it is said what a thing is for."""


def shopping_lines(found: Found, paint: Paint) -> Iterator[str]:
    """Yield the shopping list."""
    pieces = found.shopping.pieces
    names = pieces[0].work.piece.name if len(pieces) == 1 else f"{len(pieces)} pieces"
    yield from heading(f"To buy for {names}", f"{weekday_date(found.today)} {found.today.year}", paint)
    listed = list(groups(found))
    if not listed:
        yield "  Nothing: no coat is left to put on."
    for group in listed:
        yield from wrapped(group.label, "  ")
        for item in group.items:
            text = f"{item.text}; {item.when}" if found.planned_on and item.when else item.text
            yield from wrapped(text, _TEXT, f"{item.count:>6} x {item.size:<10} ")
        for text in group.said:
            yield from wrapped(text, _TEXT)
    if listed and not found.planned_on:
        yield from wrapped("By when is not known: no coat of it has its hours in a plan yet (dryspell plan).", "  ")
