"""Templates of the page: everything that is put into one is escaped."""

from datetime import datetime, tzinfo
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from dryspell.outlook.figures import when
from dryspell.outlook.words import capital

if TYPE_CHECKING:
    from dryspell.web.shell import View

FOLDER = Path(__file__).parent / "templates"


@cache
def environment() -> Environment:
    """Return where templates are found and how they are filled in."""
    made = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.filters["local"] = local
    made.filters["capital"] = capital
    return made


def local(instant: datetime, view: "View", zone: tzinfo | None = None) -> str:
    """Return day and time as they are called now at a place; without one, at the first site."""
    return when(instant, zone or next(iter(view.config.site.values())).zone, view.now)


def prepare() -> None:
    """Read every template, so that whoever asks first need not wait for it."""
    for name in environment().list_templates():
        environment().get_template(name)


def render(template: str, **values: Any) -> str:
    """Return a template filled in."""
    return environment().get_template(template).render(**values)
