"""The built-in coating families, and coatings of the user's own that start from one of them."""

import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import Any

from dryspell.bundled import bundled
from dryspell.trade.coating import FACTORS, YOURS, Coating


@lru_cache(maxsize=1)
def _tables() -> Mapping[str, Mapping[str, Any]]:
    return tomllib.loads(bundled("coatings.toml").read_text("utf-8"))


def family_keys() -> tuple[str, ...]:
    """Return the keys of the built-in families, in the order of their file."""
    return tuple(_tables())


@lru_cache(maxsize=64)
def family(key: str) -> Coating:
    """Return a built-in family; KeyError where there is none of that key."""
    return Coating.model_validate({**_tables()[key], "key": key, "family": key})


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
    table = _tables()[family_key]
    factors = figures.get("factors", {})
    told = [key for key in figures if key != "factors"] + [FACTORS + name for name in factors]
    marks = {**table["marks"], **dict.fromkeys(told, YOURS)}
    own = {"name": key.replace("_", " "), "key": key, "family": family_key, "marks": marks}
    return Coating.model_validate({**table, **own, **figures})
