"""Everything found wrong in one configuration, each in one sentence that its writer can act on."""

import json
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from dryspell.config.wording import listed, meant, nearest, path_text, value_text, visible

KeyPath = Sequence[str | int]
Model = TypeVar("Model", bound=BaseModel)

_NAME = re.compile(r"\w[\w-]*")
_FILLED_IN = {"key", "marks", "api_key"}
"""Fields of models that a configuration does not write."""
_PLAIN_OF_TARGETS = {"url_env", "url_file", "pieces", "sites", "tags", "level", "kinds", "quiet", "units", "pictures"}
"""Of an alert target all other values may be secrets."""
_TWO = "is not two figures; wanted the lower and the higher one, in that order"
_WHOLE = "is no whole number; wanted one without quotes and without a unit"
_SENTENCES = {
    "string_type": "is not text; wanted it in quotes",
    "bool_type": "is neither true nor false; wanted one of them, without quotes",
    "int_type": _WHOLE,
    "int_from_float": _WHOLE,
    "tuple_type": _TWO,
    "too_long": _TWO,
}


def written_keys(model: type[BaseModel]) -> list[str]:
    """Return the keys a configuration may write for a model."""
    return [field.alias or name for name, field in model.model_fields.items() if name not in _FILLED_IN]


def _is_secret(path: KeyPath, value: Any) -> bool:
    """Say whether a value may be a password: of an alert target all but the names it is kept under.

    Of an address nothing but its scheme is ever shown, so that one by itself may be repeated.
    """
    of_target = path[0] == "alert" and not _PLAIN_OF_TARGETS & set(path[2:3])
    return (of_target or list(path) == ["alerts"]) and not (isinstance(value, str) and "://" in value)


class Problems:
    """Gathers problems; each names the file, the key path and the value found, and says what would be right."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.found: list[str] = []

    def add(self, path: KeyPath, text: str) -> None:
        """Note something about a key; the text follows the path."""
        self.found.append(visible(f"{self.where}: {path_text(path)} {text}"))

    def add_value(self, path: KeyPath, value: Any, text: str) -> None:
        """Note something about the value of a key; the text follows the value."""
        self.add(path, f"= {'(not shown)' if _is_secret(path, value) else value_text(value)} {text}")

    def add_unknown(self, path: KeyPath, keys: Iterable[str], owner: str) -> None:
        """Note a key that there is not. Its value is not repeated: it may be a misspelt secret."""
        keys = list(keys)
        self.add(path, f"is no key of {owner}; {meant(str(path[-1]), keys, f'its keys are {listed(keys)}')}")

    def add_reference(self, path: KeyPath, value: str, names: Iterable[str], kind: str) -> None:
        """Note a name that stands for nothing."""
        names = list(names)
        known = f"there is {listed(names)}" if names else f"there is no {kind} at all"
        self.add_value(path, value, f"is no {kind}; {meant(value, names, known)}")

    def check_name(self, path: KeyPath) -> None:
        """Note a key of the user's own that could not be typed on a command line."""
        if _NAME.fullmatch(str(path[-1])) is None:
            self.add(
                path,
                'is no key to type on a command line; wanted letters, digits and _ (any text goes in name = "...")',
            )

    def check_keys(self, path: KeyPath, table: Mapping[str, Any], keys: Sequence[str], owner: str) -> None:
        """Note every key of a table that there is not."""
        for key in table:
            if key not in keys:
                self.add_unknown([*path, key], keys, owner)

    def read(
        self,
        model: type[Model],
        path: KeyPath,
        table: Mapping[str, Any],
        *,
        owner: str,
        filled_in: Mapping[str, Any] | None = None,
        context: Mapping[str, Any] | None = None,
    ) -> Model | None:
        """Return the model a table describes, or None where something is wrong with it."""
        keys = written_keys(model)
        self.check_keys(path, table, keys, owner)
        known = {key: value for key, value in table.items() if key in keys}
        try:
            return model.model_validate({**known, **(filled_in or {})}, context=context)
        except ValidationError as error:
            self.add_validation(path, error, model)
            return None

    def add_validation(self, path: KeyPath, error: ValidationError, model: type[BaseModel]) -> None:
        """Note everything pydantic found wrong, in words."""
        for details in error.errors(include_url=False):
            at = [*path, *details["loc"]]
            if details["type"] == "missing" and not isinstance(at[-1], int):
                self.add(at, f"is missing; wanted {_example(model, str(at[-1]))}")
            elif details["type"] == "missing":
                self.add_value(at[:-1], details["input"], _TWO)
            else:
                self.add_value(at, details["input"], _sentence(details))


def _example(model: type[BaseModel], key: str) -> str:
    """Return what a missing key may be set to."""
    fields = {field.alias or name: field for name, field in model.model_fields.items()}
    examples = fields[key].examples
    return f"such as {key} = {as_toml(examples[0])}" if examples else "it"


def as_toml(value: Any) -> str:
    """Return an example as it is written in a configuration."""
    if isinstance(value, Mapping):
        return f"{{ {', '.join(f'{_key(key)} = {as_toml(each)}' for key, each in value.items())} }}"
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(as_toml, value))}]"
    return json.dumps(value, ensure_ascii=False) if isinstance(value, str | bool) else str(value)


def _key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)


def _sentence(details: ErrorDetails) -> str:
    """Return what is wrong with a value, to follow it."""
    context = details.get("ctx", {})
    match details["type"]:
        case "value_error":
            return str(context["error"])
        case "literal_error":
            return _none_of(details["input"], re.findall(r"'([^']*)'", context["expected"]))
        case "greater_than_equal":
            return f"is too small; wanted {context['ge']:g} or more"
        case "less_than_equal":
            return f"is too large; wanted {context['le']:g} or less"
        case kind:
            return _SENTENCES.get(kind, "cannot be used here")


def _none_of(value: Any, choices: list[str]) -> str:
    near = nearest(value, choices) if isinstance(value, str) else None
    return f"is none of {listed(choices)}" + (f"; did you mean {near}?" if near else "")
