"""Build-ups of several coatings, and the pieces that have one."""

from collections.abc import Mapping, Sequence
from typing import Any

from dryspell.config.problems import Problems
from dryspell.trade.system import MOST_COATS, Step, System

_ANY = (Step(coating="any"),)  # stands in where the coats are wrong, so that the rest is looked at


def read_systems(
    tables: Mapping[str, Mapping[str, Any]], coatings: Sequence[str], problems: Problems
) -> dict[str, System]:
    """Return the build-ups that are right, by key; what is wrong with the others is noted."""
    systems = {}
    for key, table in tables.items():
        path: list[str | int] = ["system", key]
        steps = _steps([*path, "coats"], table.get("coats"), coatings, problems)
        system = problems.read(System, path, table, owner="a system", filled_in={"key": key, "coats": steps or _ANY})
        if system is None or not steps:
            continue
        if system.count > MOST_COATS:
            problems.add([*path, "coats"], f"are {system.count} coats in all; {MOST_COATS} are the most there can be")
            continue
        systems[key] = system
    return systems


def _steps(path: list[str | int], tables: Any, coatings: Sequence[str], problems: Problems) -> tuple[Step, ...]:
    if not isinstance(tables, list) or not tables or not all(isinstance(table, Mapping) for table in tables):
        problems.add(
            path, f"is missing or no list of tables; wanted its coats in their order, headed [[{_text(path)}]]"
        )
        return ()
    steps = [
        problems.read(Step, [*path, number], table, owner="a coat of a system") for number, table in enumerate(tables)
    ]
    for number, step in enumerate(steps):
        if step and step.coating not in coatings:
            problems.add_reference([*path, number, "coating"], step.coating, coatings, "coating")
    return tuple(step for step in steps if step) if all(steps) else ()


def _text(path: Sequence[str | int]) -> str:
    return ".".join(str(key) for key in path)


def coats_of(
    path: Sequence[str], table: Mapping[str, Any], systems: Mapping[str, System], problems: Problems
) -> dict[str, Any]:
    """Return what a piece's system says in the place of its own coating and coats; nothing without a system."""
    if "system" not in table:
        return {}
    for name in ("coating", "coats"):
        if name in table:
            problems.add_value([*path, name], table[name], "is for a piece without a system; keep one of the two")
    system = systems.get(str(table["system"]))
    if system is None:  # named elsewhere; the rest of the piece is looked at all the same
        return {"coating": "", "coats": MOST_COATS}
    return {"coating": system.coats[0].coating, "coats": system.count}
