"""How a configuration is quoted in messages: key paths as people write them, and values with nothing secret in them."""

import json
import re
from collections.abc import Iterable, Mapping
from datetime import date, time
from typing import Any

_BARE_KEY = re.compile(r"[A-Za-z_][A-Za-z0-9_-]*")
_ADDRESS = re.compile(r"[A-Za-z][A-Za-z0-9+.-]*://")
_LONGEST = 60


def visible(text: str) -> str:
    """Return the text with whatever a terminal would not print written as an escape."""
    return "".join(sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text)


def key_text(key: str) -> str:
    """Return one key as it stands in TOML: in quotes where it needs them."""
    return key if _BARE_KEY.fullmatch(key) else _quoted(key)


def path_text(path: Iterable[str | int]) -> str:
    """Return a dotted key path; the items of a list are counted from 1."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f", item {step + 1}"
        else:
            text += ("." if text else "") + key_text(step)
    return text


def value_text(value: Any) -> str:
    """Return a value as it stands in TOML, shortened; of addresses only the scheme, for they may hold secrets."""
    match value:
        case bool():
            text = "true" if value else "false"
        case str():
            address = _ADDRESS.search(value)
            return (
                f'"{address[0]}…"' if address else _quoted(value if len(value) <= _LONGEST else value[:_LONGEST] + "…")
            )
        case Mapping():
            inside = ", ".join(f"{key_text(key)} = {value_text(item)}" for key, item in value.items())
            text = f"{{ {inside} }}" if inside else "{}"
        case list() | tuple():
            text = "[" + ", ".join(map(value_text, value)) + "]"
        case date() | time():
            text = value.isoformat()
        case _:
            text = str(value)
    return text if len(text) <= _LONGEST else text[:_LONGEST] + "…"


def _quoted(text: str) -> str:
    return visible(json.dumps(text, ensure_ascii=False))


def listed(names: Iterable[str], last: str = "and") -> str:
    """Return names as a list in a sentence."""
    *first, final = names
    return f"{', '.join(first)} {last} {final}" if first else final


def nearest(written: str, names: Iterable[str]) -> str | None:
    """Return the name that is spelt most like what was written, or that begins or ends like it."""
    known = {name.lower(): name for name in names}
    plain = written.lower().replace("-", "_").replace(" ", "_")
    from difflib import get_close_matches  # noqa: PLC0415  (only where something is misspelt)

    if near := get_close_matches(plain, known, n=1, cutoff=0.65):
        return known[near[0]]
    begun = [name for name in known if len(plain) > 2 and (name.startswith(plain) or plain.startswith(name))]
    ended = [name for name in known if len(plain) > 2 and name.endswith(plain)]
    return known[(begun + ended)[0]] if len(begun + ended) == 1 else None


def meant(written: str, names: Iterable[str], otherwise: str) -> str:
    """Return the end of a message about a name that is not known: the nearest right one, or all there are."""
    names = list(names)
    near = nearest(written, names)
    return f"did you mean {near}?" if near else otherwise
