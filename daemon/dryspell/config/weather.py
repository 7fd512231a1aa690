"""The [weather] part of a configuration: which sources, in which order, and the tables of the services among them."""

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from dryspell.config import cautions
from dryspell.config.part import Part
from dryspell.config.problems import Problems
from dryspell.config.secrets import SecretReader
from dryspell.config.services import NETWORK_KINDS, SERVICES, WeatherSettings, read_kinds

_KEYS = {"api_key_env": SecretReader.from_environment, "api_key_file": SecretReader.from_file}


class WeatherReader:
    """Reads the [weather] table.

    Parameters
    ----------
    problems, remarks
        Where to note what is wrong, and what deserves a second look.
    folder, env
        Where relative paths start, and the environment.
    fetch
        Note keys of services that cannot be fetched; without it they are then left out in silence, for the service says
        so when it is asked, and a command that asks nobody needs none.
    """

    def __init__(
        self, problems: Problems, remarks: list[str], folder: Path, env: Mapping[str, str], *, fetch: bool
    ) -> None:
        self._problems = problems
        self._remarks = remarks
        self._context = {"folder": folder, "env": env}
        noted = (problems, remarks) if fetch else (Problems(problems.where), [])
        self._secrets = SecretReader(*noted, folder, env, what="the key of a weather service")

    def kinds(self, path: list[str], value: Any) -> tuple[str, ...]:
        """Return an order of preference, empty where it is none and that has been noted."""
        try:
            return read_kinds(value)
        except ValueError as error:
            self._problems.add_value(path, value, str(error))
            return ()

    def read(
        self, table: Mapping[str, Any], of_sites: Iterable[tuple[str, ...]], *, has_contact: bool
    ) -> WeatherSettings | None:
        """Return what the table says, or None where something is wrong with it.

        Parameters
        ----------
        of_sites
            For each site its own order of preference, empty where it has none.
        has_contact
            Whether the configuration says how its user can be reached.
        """
        path = ["weather"]
        services = {
            name: self._service([*path, name], table[name], model) for name, model in SERVICES.items() if name in table
        }
        plain = {key: value for key, value in table.items() if key not in SERVICES}
        settings = self._problems.read(
            WeatherSettings,
            path,
            plain,
            owner="[weather]",
            filled_in={name: service for name, service in services.items() if service},
            context=self._context,
        )
        if settings is None:
            return None
        used = {kind for kinds in (tuple(of_sites) or ((),)) for kind in kinds or settings.sources}
        if (used & NETWORK_KINDS or settings.open_meteo_archive.years) and not has_contact:
            text = 'wanted such as contact = "you@example.org" before the first table'
            self._problems.add(["contact"], f"is missing; a weather service wants to know whom to reach, {text}")
        if "table" in used and "file" not in table:
            self._problems.add(
                [*path, "file"], 'is missing; the source "table" needs one, such as file = "weather.csv"'
            )
        if "table" not in used and "file" in table:
            self._problems.add_value([*path, "file"], table["file"], 'is not read; wanted "table" among the sources')
        self._remarks += cautions.of_weather(settings, [name for name in services if table[name]], used)
        return settings

    def _service(self, path: list[str], table: Any, model: type[Part]) -> Part | None:
        if not isinstance(table, Mapping):
            self._problems.add_value(path, table, f"is no table; wanted one headed [{'.'.join(path)}]")
            return None
        keys = [key for key in _KEYS if key in table and key in model.model_fields]
        filled_in = {}
        if len(keys) > 1:
            self._problems.add(path, f"has {' and '.join(keys)}; wanted one of them")
        elif keys:
            if "base_url" not in table:
                self._problems.add([*path, "base_url"], "is missing; a key needs the host it is for beside it")
            filled_in["api_key"] = self._key([*path, keys[0]], keys[0], table[keys[0]])
        rest = {key: value for key, value in table.items() if key not in keys}
        return self._problems.read(model, path, rest, owner=f"[{'.'.join(path)}]", filled_in=filled_in)

    def _key(self, path: list[str], name: str, value: Any) -> str:
        key = _KEYS[name](self._secrets, path, value) if self._secrets.is_name(path, value) else None
        if key is None:
            return ""
        if not key or not key.isascii() or not key.isprintable():
            self._problems.add_value(path, value, "leads to what is no key; wanted one line of plain ASCII letters")
            return ""
        return key
