"""Colour on the terminal. It never says anything that the words do not."""

from dataclasses import dataclass
from typing import Any

import click

_STYLES: dict[str, dict[str, Any]] = {
    "coat": {"fg": "green", "bold": True},
    "tight": {"fg": "yellow", "bold": True},
    "wait": {"fg": "red", "bold": True},
    "unknown": {"fg": "magenta", "bold": True},
    "done": {"fg": "cyan", "bold": True},
    "title": {"bold": True},
    "aside": {"dim": True},
}


@dataclass(frozen=True)
class Paint:
    """Paints text by the role it plays, or leaves it as it is."""

    on: bool

    def __call__(self, text: str, role: str) -> str:
        """Return the text in the style of a role: a verdict's word, "title" or "aside"."""
        return click.style(text, **_STYLES[role]) if self.on and text else text
