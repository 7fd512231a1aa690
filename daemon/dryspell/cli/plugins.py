"""Pydantic's search for plugins, left out: a twentieth of what `windows` costs goes into importing what would search.

That the search is switched off (PYDANTIC_DISABLE_PLUGINS) pydantic finds out when it has imported `importlib.metadata`,
and with it all that reads e-mail.
"""

import os
import sys
from importlib import import_module
from types import ModuleType
from typing import Any

LOADER = "pydantic.plugin._loader"
"""What pydantic asks for plugins when it builds a model."""


def leave_out() -> None:
    """Answer for pydantic's loader that there are none, where they are switched off and it is not there yet."""
    if os.environ.get("PYDANTIC_DISABLE_PLUGINS") == "__all__" and LOADER not in sys.modules:
        sys.modules[LOADER] = _NoPlugins(LOADER)


class _NoPlugins(ModuleType):
    def get_plugins(self) -> tuple[()]:
        return ()

    def __getattr__(self, name: str) -> Any:
        """Make way for the loader itself where another version of pydantic asks it for more."""
        if name.startswith("__"):
            raise AttributeError(name)
        if sys.modules.get(LOADER) is self:
            del sys.modules[LOADER]
        return getattr(import_module(LOADER), name)
