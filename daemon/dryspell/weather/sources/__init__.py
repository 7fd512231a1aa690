"""One file a source of weather, and what every source can do."""

from datetime import datetime
from typing import Protocol

from dryspell.weather.table import WeatherTable


class Source(Protocol):
    """Somewhere weather comes from."""

    @property
    def name(self) -> str:
        """What the source is called in messages and in the configuration."""
        ...

    @property
    def attribution(self) -> str:
        """The credit to show beside the weather, empty where none is asked for."""
        ...

    def fetch(self, now: datetime) -> WeatherTable:
        """Return the weather as it is known at `now` (aware).

        How old it is stands in its `issued_at`; the caller decides whether that is too old. What a reader should know,
        such as a copy that had to serve because the service was down, stands in its `notes`.

        Raises
        ------
        WeatherError
            There is no weather to return; the message is one plain sentence.
        """
        ...
