"""What has to survive a restart: coats, weather, verdicts, and what was said, in one SQLite file."""

from dryspell.store.store import Store

__all__ = ["Store"]
