"""The alert targets. Their addresses hold passwords, and may stand in the environment or in a file of their own."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from dryspell.config.problems import Problems, written_keys
from dryspell.config.secrets import SecretReader
from dryspell.config.target import AlertTarget, TargetWays
from dryspell.config.wording import listed

ADDRESS_KEYS = ("url", "url_env", "url_file")
PIECE_KEYS = ("pieces", "sites", "tags")
KEYS = (*ADDRESS_KEYS, *PIECE_KEYS, *written_keys(TargetWays))


class TargetReader:
    """Reads the tables of alert targets.

    Parameters
    ----------
    problems, cautions
        Where to note what is wrong, and what deserves a second look.
    folder, env
        Where relative paths start, and the environment.
    fetch
        Look into the environment and into files; without it, targets whose address is there are left out.
    """

    def __init__(
        self, problems: Problems, cautions: list[str], folder: Path, env: Mapping[str, str], *, fetch: bool
    ) -> None:
        self._problems = problems
        self._secrets = SecretReader(problems, cautions, folder, env, what="an alert address")
        self._fetch = fetch

    def read(
        self, key: str, table: Mapping[str, Any], pieces: Mapping[str, Any], sites: Mapping[str, Any]
    ) -> AlertTarget | None:
        """Return the target a table describes, or None where something is wrong or its address is not fetched."""
        path = ["alert", key]
        self._problems.check_keys(path, table, KEYS, "an alert target")
        heard = self._heard(path, table, pieces, sites)
        theirs = {name: table[name] for name in written_keys(TargetWays) if name in table}
        ways = self._problems.read(TargetWays, path, theirs, owner="an alert target")
        given = [name for name in ADDRESS_KEYS if name in table]
        if len(given) != 1:
            found = f"has {listed(given)}" if given else "has no address"
            self._problems.add(path, f"{found}; wanted one of {listed(ADDRESS_KEYS, 'or')}")
            return None
        (name,) = given
        address = self._address([*path, name], name, table[name])
        if address is None or ways is None:
            return None
        try:
            return AlertTarget.model_validate({"key": key, "url": address, "pieces": heard, **ways.model_dump()})
        except ValidationError as error:
            wrong = str(error.errors()[0]["ctx"]["error"])
            self._problems.add_value([*path, name], table[name], wrong if name == "url" else f"leads to what {wrong}")
            return None

    def _heard(
        self, path: list[str], table: Mapping[str, Any], pieces: Mapping[str, Any], sites: Mapping[str, Any]
    ) -> tuple[str, ...] | None:
        """Return the keys of the pieces that it hears of: those named, those at its sites, those with a tag of its."""
        if not any(key in table for key in PIECE_KEYS):
            return None
        tags = {key: _tags(each) for key, each in pieces.items()}
        known = {"pieces": list(pieces), "sites": list(sites), "tags": sorted(set().union(*tags.values()))}
        named = {
            key: self._names([*path, key], table[key], known[key]) if key in table else frozenset()
            for key in PIECE_KEYS
        }
        only_site = next(iter(sites), "")
        return tuple(
            key
            for key, each in pieces.items()
            if key in named["pieces"] or each.get("site", only_site) in named["sites"] or tags[key] & named["tags"]
        )

    def _names(self, path: list[str], value: Any, known: list[str]) -> frozenset[str]:
        kinds = path[-1]
        if not isinstance(value, list) or not value or not all(isinstance(name, str) for name in value):
            example = {"pieces": "toe_rail", "sites": "quillhaven", "tags": "client"}[kinds]
            text = f'is no list of {kinds}; wanted such as ["{example}"], or leave it out for all of them'
            self._problems.add_value(path, value, text)
            return frozenset()
        for position, name in enumerate(value):
            if name not in known:
                self._problems.add_reference([*path, position], name, known, kinds.removesuffix("s"))
            elif name in value[:position]:
                self._problems.add_value([*path, position], name, "is there twice; keep one")
        return frozenset(value)

    def _address(self, path: list[str], name: str, value: Any) -> Any:
        """Return what is to be an address, from where the key says it is."""
        if name == "url":
            return value
        if not self._secrets.is_name(path, value) or not self._fetch:
            return None
        if name == "url_env":
            return self._secrets.from_environment(path, value)
        return self._secrets.from_file(path, value)


def _tags(table: Mapping[str, Any]) -> set[str]:
    """Return the tags of a piece, as far as they are right."""
    tags = table.get("tags", ())
    return {tag for tag in tags if isinstance(tag, str)} if isinstance(tags, list) else set()
