"""The state file as the rest of the program sees it."""

from pathlib import Path

from dryspell.store.calendar import CalendarShelf
from dryspell.store.coats import CoatBook
from dryspell.store.foretold import ForetoldShelf
from dryspell.store.outbox import Outbox
from dryspell.store.plans import PlanShelf
from dryspell.store.pots import PotShelf
from dryspell.store.weather import WeatherShelf

FILE_NAME = "dryspell.sqlite3"


class Store(CoatBook, WeatherShelf, ForetoldShelf, PlanShelf, PotShelf, CalendarShelf, Outbox):
    """Everything that survives a restart; safe to use from several threads."""

    def check(self) -> None:
        """Read a little; StoreError where the state cannot be read."""
        self._rows("SELECT 1 FROM notices LIMIT 1")


def open_store(state_dir: Path) -> Store:
    """Open the state file of a state folder; StoreError says what is wrong with it."""
    return Store(state_dir / FILE_NAME)
