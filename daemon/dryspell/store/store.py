"""The state file as the rest of the program sees it."""

from pathlib import Path

from dryspell.store.coats import CoatBook
from dryspell.store.foretold import ForetoldShelf
from dryspell.store.outbox import Outbox
from dryspell.store.plans import PlanShelf
from dryspell.store.weather import WeatherShelf

FILE_NAME = "dryspell.sqlite3"


class Store(CoatBook, WeatherShelf, ForetoldShelf, PlanShelf, Outbox):
    """Everything that survives a restart; safe to use from several threads."""


def open_store(state_dir: Path) -> Store:
    """Open the state file of a state folder; StoreError says what is wrong with it."""
    return Store(state_dir / FILE_NAME)
