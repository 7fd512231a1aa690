"""What every table of a configuration stands on, and two kinds of text that several of them hold."""

import re
from pathlib import Path
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, ValidationInfo

from dryspell.config.places import resolve

WEB = re.compile(r"https?://[^\s/?#]+\S*", re.IGNORECASE)


def read_web_address(value: Any) -> str:
    """Read a web address; ValueError says what is wrong with it."""
    if isinstance(value, str) and WEB.fullmatch(value) and value.isprintable():
        return value
    raise ValueError("is no web address; wanted one that begins with https:// or http://")


def _read_path(value: Any, info: ValidationInfo) -> Path | None:
    if value is None or isinstance(value, Path):
        return value
    if not isinstance(value, str) or not value.strip() or "\0" in value:
        raise ValueError('is no path; wanted text such as "weather.csv"')
    context = info.context or {}
    return resolve(value, context.get("folder", Path()), context.get("env", {}))


WebAddress = Annotated[str, BeforeValidator(read_web_address)]
FilePath = Annotated[Path | None, BeforeValidator(_read_path)]


class Part(BaseModel):
    """One table of the configuration."""

    model_config = ConfigDict(frozen=True, extra="forbid")
