"""The alert targets. Their addresses hold passwords, and may stand in the environment or in a file of their own."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from dryspell.config.problems import Problems
from dryspell.config.secrets import SecretReader
from dryspell.config.settings import AlertTarget
from dryspell.config.wording import listed

KEYS = ("url", "url_env", "url_file", "pieces")
ADDRESS_KEYS = KEYS[:3]


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

    def read(self, key: str, table: Mapping[str, Any], pieces: Mapping[str, Any]) -> AlertTarget | None:
        """Return the target a table describes, or None where something is wrong or its address is not fetched."""
        path = ["alert", key]
        self._problems.check_keys(path, table, KEYS, "an alert target")
        heard = self._pieces([*path, "pieces"], table["pieces"], pieces) if "pieces" in table else None
        given = [name for name in ADDRESS_KEYS if name in table]
        if len(given) != 1:
            found = f"has {listed(given)}" if given else "has no address"
            self._problems.add(path, f"{found}; wanted one of {listed(ADDRESS_KEYS, 'or')}")
            return None
        (name,) = given
        address = self._address([*path, name], name, table[name])
        if address is None:
            return None
        try:
            return AlertTarget.model_validate({"key": key, "url": address, "pieces": heard})
        except ValidationError as error:
            wrong = str(error.errors()[0]["ctx"]["error"])
            self._problems.add_value([*path, name], table[name], wrong if name == "url" else f"leads to what {wrong}")
            return None

    def _pieces(self, path: list[str], value: Any, pieces: Mapping[str, Any]) -> tuple[str, ...] | None:
        if not isinstance(value, list) or not value or not all(isinstance(name, str) for name in value):
            text = 'is no list of pieces; wanted such as ["toe_rail"], or leave it out for all of them'
            self._problems.add_value(path, value, text)
            return None
        for position, name in enumerate(value):
            if name not in pieces:
                self._problems.add_reference([*path, position], name, pieces, "piece")
            elif name in value[:position]:
                self._problems.add_value([*path, position], name, "is there twice; keep one")
        return tuple(value)

    def _address(self, path: list[str], name: str, value: Any) -> Any:
        """Return what is to be an address, from where the key says it is."""
        if name == "url":
            return value
        if not self._secrets.is_name(path, value) or not self._fetch:
            return None
        if name == "url_env":
            return self._secrets.from_environment(path, value)
        return self._secrets.from_file(path, value)
