"""What the daemon knew at its last tick, for everybody who asks: pages, documents, calendars, metrics."""

import threading
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from dryspell.alerts.sensors import SensorHealth
from dryspell.alerts.sources import SourceHealth
from dryspell.config import Config
from dryspell.outlook.model import Outlook
from dryspell.outlook.plan_model import Plans
from dryspell.weather.table import WeatherTable


@dataclass(frozen=True)
class Known:
    """One tick's view of everything; never changed once it is shown.

    Attributes
    ----------
    at
        The instant of the tick.
    config
        With what the record has taught of the pace of each coating.
    outlooks
        Of every piece that could be judged, in the order of the configuration.
    tables
        The weather by site, None where there is none.
    plans
        The plans made last; None before the first.
    sources, sensors
        How each source of weather and each sensor does.
    """

    at: datetime
    config: Config
    outlooks: Sequence[Outlook]
    tables: Mapping[str, WeatherTable | None]
    plans: Plans | None
    sources: Sequence[SourceHealth]
    sensors: Sequence[SensorHealth]

    def outlook(self, piece: str) -> Outlook | None:
        """Return the outlook of a piece, None where it could not be judged."""
        return next((outlook for outlook in self.outlooks if outlook.piece == piece), None)


class Vitals:
    """How ticks go: how many there were, how many failed, and how long they took."""

    def __init__(self) -> None:
        self.ticks = 0
        self.failures = 0
        self.seconds = 0.0

    def ticked(self, seconds: float) -> None:
        """Count a tick that went well."""
        self.ticks += 1
        self.seconds += seconds

    def failed(self) -> None:
        """Count a tick that failed."""
        self.failures += 1


class Board:
    """Holds what is known, replaced whole at each tick; a reader never waits for one."""

    def __init__(self) -> None:
        self.vitals = Vitals()
        self._known: Known | None = None
        self._plans: Plans | None = None
        self._version = 0
        self._writing = threading.Lock()

    @property
    def known(self) -> Known | None:
        """What was known at the last tick; None before the first."""
        return self._known

    @property
    def version(self) -> int:
        """A number that grows with each tick: what was made of an older one is out of date."""
        return self._version

    def show(self, known: Known) -> None:
        """Take in what a tick has found; where it brings no plans, those that were shown last stay."""
        with self._writing:
            self._known = known if known.plans is not None else replace(known, plans=self._plans)
            self._version += 1

    def show_plans(self, plans: Plans) -> None:
        """Take in plans, which are made beside the ticks."""
        with self._writing:
            self._plans = plans
            if self._known is not None:
                self._known = replace(self._known, plans=plans)
            self._version += 1
