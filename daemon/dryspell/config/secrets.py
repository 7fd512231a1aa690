"""Secrets that a configuration does not hold itself: in a variable of the environment, or in a file of their own."""

import stat
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dryspell.config.places import resolve
from dryspell.config.problems import Problems
from dryspell.config.source import read_text
from dryspell.errors import ConfigError


def open_to_others(file: Path) -> bool:
    """Say whether users outside its group can read or write a file; False where that cannot be told."""
    try:
        return bool(file.stat().st_mode & stat.S_IRWXO)
    except OSError:
        return False


class SecretReader:
    """Fetches secrets from where a configuration says they are.

    Parameters
    ----------
    problems, cautions
        Where to note what is wrong, and what deserves a second look.
    folder, env
        Where relative paths start, and the environment.
    what
        What the secrets are, such as "an alert address".
    """

    def __init__(
        self, problems: Problems, cautions: list[str], folder: Path, env: Mapping[str, str], *, what: str
    ) -> None:
        self._problems = problems
        self._cautions = cautions
        self._folder = folder
        self._env = env
        self._what = what

    def is_name(self, path: list[str], value: Any) -> bool:
        """Say whether a value can be the name of a variable or a file; one that cannot is noted."""
        if isinstance(value, str) and value.strip():
            return True
        self._problems.add_value(path, value, "is not text; wanted a name in quotes")
        return False

    def from_environment(self, path: list[str], name: str) -> str | None:
        """Return what a variable of the environment holds; one that is not there is noted."""
        if name not in self._env:
            self._problems.add_value(path, name, "is no variable of the environment; set it where this program starts")
        return self._env.get(name)

    def from_file(self, path: list[str], name: str) -> str | None:
        """Return what a file holds; one that cannot be read is noted, and one that others can read is pointed out.

        Where systemd hands over credentials (systemd.exec(5), LoadCredential=), one of that name is taken.
        """
        file = self._credential(name) or resolve(name, self._folder, self._env)
        try:
            secret = read_text(file).strip()
        except ConfigError as error:
            self._problems.add_value(path, name, f"cannot be used: {error}")
            return None
        if open_to_others(file):
            self._cautions.append(f"{file} holds {self._what} and other users can read it: chmod 600 {file}")
        return secret

    def _credential(self, name: str) -> Path | None:
        handed = self._env.get("CREDENTIALS_DIRECTORY")
        file = Path(handed) / name if handed and "/" not in name else None
        return file if file is not None and file.is_file() else None
