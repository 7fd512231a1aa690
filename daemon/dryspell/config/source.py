"""From a file to the plain tables in it."""

import re
import tomllib
from decimal import Decimal
from pathlib import Path
from typing import Any

from dryspell.errors import ConfigError

_NAMES = re.compile(r"\(('[^']*'(?:, '[^']*')*),?\)")
_UNQUOTED = ("Expected newline or end of document after a statement", "Invalid value")
_PLACE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")


def read_text(path: Path, *, what: str = "") -> str:
    """Return the text of a file.

    Parameters
    ----------
    path
        The file.
    what
        Who names the file, to begin the message with.

    Raises
    ------
    ConfigError
        It is not there, cannot be read, or is not UTF-8.
    """
    where = what or str(path)
    try:
        # Editors of some systems put a byte order mark first, which TOML does not have.
        return path.read_bytes().decode("utf-8-sig")
    except FileNotFoundError:
        raise ConfigError([f"{where}: there is no such file"]) from None
    except OSError as error:
        raise ConfigError([f"{where}: cannot be read: {error.strerror or error}"]) from None
    except UnicodeDecodeError as error:
        line = error.object[: error.start].count(b"\n") + 1
        raise ConfigError([f"{where}: line {line} is not UTF-8 text; save the file in that encoding"]) from None
    except ValueError as error:
        raise ConfigError([f"{where}: cannot be read: {error}"]) from None


def read_tables(text: str, where: str) -> dict[str, Any]:
    """Return the tables of a TOML text. Numbers with a point come as Decimal, so that none passes for a quantity.

    Raises
    ------
    ConfigError
        It is not TOML; the message says at which line and column.
    """
    try:
        return tomllib.loads(text, parse_float=Decimal)
    except tomllib.TOMLDecodeError as error:
        raise ConfigError([f"{where}: {_in_words(str(error), text)}"]) from None
    except RecursionError:
        raise ConfigError([f"{where}: is nested too deeply"]) from None
    except (ValueError, ArithmeticError):
        raise ConfigError([f"{where}: holds a number with too many digits"]) from None


def _in_words(message: str, text: str) -> str:
    """Put the place first, and names as they stand in TOML; say what the most common slip is."""
    place = _PLACE.search(message)
    at = f"line {place[1]}, column {place[2]}" if place and place[1] else f"line {text.count(chr(10)) + 1}, at its end"
    wrong = _NAMES.sub(lambda names: names[1].replace("', '", ".").strip("'"), _PLACE.sub("", message))
    hint = " (all text goes in quotes, quantities with their units too)" if wrong in _UNQUOTED else ""
    return f"{at}: not TOML: {wrong}{hint}"
