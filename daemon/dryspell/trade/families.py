"""The built-in coating families, and coatings of the user's own that start from one of them."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from functools import cache
from typing import Any

from dryspell.bundled import bundled
from dryspell.trade.coating import FACTORS, YOURS, Coating

_HEAD = re.compile(r"^\[(\w+)\]$", re.ASCII | re.MULTILINE)
"""What the table of a family begins with; those within it have a point in their name."""


@cache
def _texts() -> Mapping[str, str]:
    """Return the table of each family as text: few of them are asked for, and TOML is slow to read."""
    _, *rest = _HEAD.split(bundled("coatings.toml").read_text("utf-8"))
    return {key: f"[{key}]{text}" for key, text in zip(rest[::2], rest[1::2], strict=True)}


@cache
def _table(key: str) -> Mapping[str, Any]:
    table: Mapping[str, Any] = tomllib.loads(_texts()[key])[key]
    return table


def family_keys() -> tuple[str, ...]:
    """Return the keys of the built-in families, in the order of their file."""
    return tuple(_texts())


@cache
def family(key: str) -> Coating:
    """Return a built-in family; KeyError where there is none of that key."""
    return Coating.model_validate({**_table(key), "key": key, "family": key})


class Families(Mapping[str, Coating]):
    """Every built-in family by its key, each read when it is asked for."""

    def __getitem__(self, key: str) -> Coating:
        return family(key)

    def __contains__(self, key: object) -> bool:
        return key in _texts()

    def __iter__(self) -> Iterator[str]:
        return iter(family_keys())

    def __len__(self) -> int:
        return len(_texts())


class Over(Mapping[str, Coating]):
    """Coatings by key that go before others, none of which is read for it."""

    def __init__(self, over: Mapping[str, Coating], under: Mapping[str, Coating]) -> None:
        self._over = over
        self._under = under

    def __getitem__(self, key: str) -> Coating:
        return self._over[key] if key in self._over else self._under[key]

    def __contains__(self, key: object) -> bool:
        return key in self._over or key in self._under

    def __iter__(self) -> Iterator[str]:
        return iter(dict.fromkeys([*self._under, *self._over]))

    def __len__(self) -> int:
        return len(self._over.keys() | self._under.keys())


def built_on(family_key: str, key: str, figures: Mapping[str, Any]) -> Coating:
    """Return a coating of the user's own: a built-in family with the figures of a can's sheet in the place of its own.

    Parameters
    ----------
    family_key, key
        The family to start from, and what the coating is called.
    figures
        By the keys of a configuration file. A stage's points replace those of the family wholly.

    Raises
    ------
    KeyError
        There is no such family.
    pydantic.ValidationError
        A figure is wrong.
    """
    table = _table(family_key)
    factors = figures.get("factors", {})
    told = [key for key in figures if key != "factors"] + [FACTORS + name for name in factors]
    marks = {**table["marks"], **dict.fromkeys(told, YOURS)}
    own = {"name": key.replace("_", " "), "key": key, "family": family_key, "marks": marks}
    return Coating.model_validate({**table, **own, **figures})
