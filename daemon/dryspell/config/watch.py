"""A configuration whose file may change while a daemon runs on it."""

from hashlib import sha256
from pathlib import Path

from dryspell.config.load import load
from dryspell.config.settings import Config
from dryspell.errors import ConfigError


class ConfigWatch:
    """Reads a configuration, and again when its file has changed.

    A file that is just being written is half of one: a change counts when the file is the same at two looks.

    Parameters
    ----------
    path
        The file; None: as `load` finds it.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._taken = b""
        self._seen = b""
        self.problem = ""
        """Why the file as it is now was not taken; empty where it was."""

    def load(self) -> Config:
        """Return the configuration at the start; ConfigError says what is wrong with it."""
        if self._path is not None:
            self._taken = self._seen = _digest(self._path)
            return load(self._path)
        config = load(None)
        self._path = config.file
        self._taken = self._seen = _digest(config.file)
        return config

    def look(self, *, at_once: bool = False) -> Config | None:
        """Return the configuration where the file has changed and is good; `problem` says why a changed one is not.

        Parameters
        ----------
        at_once
            Somebody says that the file is whole: read it, whether it has changed or not.
        """
        if self._path is None:
            return None
        before, self._seen = self._seen, _digest(self._path)
        if not at_once and (self._seen == self._taken or self._seen != before):
            return None
        self._taken = self._seen
        try:
            config = load(self._path)
        except ConfigError as error:
            self.problem = str(error)
            return None
        self.problem = ""
        return config

    def refuse(self, problem: str) -> None:
        """Note that the file as it is now cannot be used, though nothing is wrong with it by itself."""
        self.problem = problem


def _digest(path: Path) -> bytes:
    try:
        return sha256(path.read_bytes()).digest()
    except OSError as error:
        return f"cannot be read: {error.errno}".encode()
