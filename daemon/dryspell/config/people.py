"""The people who do the work, as a configuration names them."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from dryspell.config.problems import Problems
from dryspell.config.wording import listed
from dryspell.trade.person import Person

_KEYS = 'is no list of keys of pieces; wanted such as pieces = ["toe_rail"]'


def read_people(
    tables: Mapping[str, Mapping[str, Any]], pieces: Iterable[str], problems: Problems
) -> dict[str, Person]:
    """Return the people, by key; what is wrong is noted."""
    people, pieces = {}, list(pieces)
    for key, table in tables.items():
        path = ["person", key]
        theirs = _pieces([*path, "pieces"], table["pieces"], pieces, problems) if "pieces" in table else None
        person = problems.read(Person, path, table, owner="a person", filled_in={"key": key, "pieces": theirs})
        if person:
            people[key] = person
    return people


def _pieces(path: Sequence[str], value: Any, pieces: Sequence[str], problems: Problems) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(each, str) for each in value):
        problems.add_value(path, value, _KEYS)
        return ()
    for each in value:
        if each not in pieces:
            problems.add_reference(path, each, pieces, "piece")
    return tuple(value)


def nobodys(people: Mapping[str, Person], pieces: Iterable[str]) -> list[str]:
    """Return what looks odd: pieces that none of the people does."""
    left = [piece for piece in pieces if people and not any(person.does(piece) for person in people.values())]
    return [f"{listed(left)}: none of the people does it, and no plan is made for it"] if left else []
