"""The user's own coatings: what the sheet of the can says, over a built-in family."""

from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from dryspell.config.problems import Problems
from dryspell.config.wording import listed, nearest, path_text
from dryspell.trade.coating import Coating, toml_keys
from dryspell.trade.factors import factor_keys
from dryspell.trade.families import built_on, family_keys


def read_coatings(tables: Mapping[str, Mapping[str, Any]], problems: Problems) -> dict[str, Coating]:
    """Return the coatings that are right, by key; what is wrong with the others is noted."""
    coatings = {key: _read(key, table, problems) for key, table in tables.items()}
    return {key: coating for key, coating in coatings.items() if coating}


def _read(key: str, table: Mapping[str, Any], problems: Problems) -> Coating | None:
    path = ["coating", key]
    keys = list(toml_keys())
    problems.check_keys(path, table, ["family", *keys], "a coating")
    if key in family_keys():
        problems.add(path, f'is the key of a built-in family; give your own another and write family = "{key}" in it')
    family = _family(path, table, problems)
    figures = {name: value for name, value in table.items() if name in keys}
    if "factors" in figures:
        figures["factors"] = _factors([*path, "factors"], figures["factors"], problems)
    # Where the family is wrong, the figures are still looked at, with the one it may be meant to be.
    start = family or nearest(str(table.get("family")), family_keys()) or family_keys()[0]
    try:
        return built_on(start, key, figures)
    except ValidationError as error:
        problems.add_validation(path, error, Coating)
        return None


def _factors(path: list[str], table: Any, problems: Problems) -> dict[str, Any]:
    if not isinstance(table, Mapping):
        problems.add_value(path, table, f"is no table; wanted one headed [{path_text(path)}]")
        return {}
    problems.check_keys(path, table, list(factor_keys()), "the factors of a coating")
    return {name: value for name, value in table.items() if name in factor_keys()}


def _family(path: list[str], table: Mapping[str, Any], problems: Problems) -> str | None:
    path, value = [*path, "family"], table.get("family")
    if value is None:
        problems.add(path, f"is missing; wanted the built-in family to start from: {listed(family_keys(), 'or')}")
    elif not isinstance(value, str):
        problems.add_value(path, value, "is not text; wanted it in quotes")
    elif value not in family_keys():
        problems.add_reference(path, value, family_keys(), "built-in family")
    else:
        return value
    return None
