"""The charts that go with messages, made while a round has the weather at hand."""

import logging
from collections.abc import Mapping
from datetime import datetime

from dryspell.alerts.picture import picture_text
from dryspell.alerts.picture_data import Ahead, ahead_of
from dryspell.config import Config
from dryspell.outlook.cloud import every_way
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Outlook
from dryspell.outlook.sight import met_by
from dryspell.weather.table import WeatherTable

log = logging.getLogger(__name__)


class Charts:
    """Gives the chart of a piece as text, empty where there is none: nothing that goes wrong here holds a message up.

    Parameters
    ----------
    outlooks
        By piece.
    tables
        The weather, by site.
    now
        When both were made.
    """

    def __init__(
        self,
        config: Config,
        outlooks: Mapping[str, Outlook],
        tables: Mapping[str, WeatherTable | None],
        now: datetime,
    ) -> None:
        self._config = config
        self._outlooks = outlooks
        self._tables = tables
        self._now = now
        self._ahead: dict[str, Ahead | None] = {}

    def __call__(self, piece: str, units: Units) -> str:
        """Return the chart of a piece; of weather that is not acted on none is shown."""
        outlook = self._outlooks[piece]
        if outlook.word == "unknown":
            return ""
        try:
            if piece not in self._ahead:
                self._ahead[piece] = self._look_ahead(outlook)
            ahead = self._ahead[piece]
            return picture_text(outlook, ahead, units) if ahead else ""
        except Exception:
            log.exception("the chart of %s cannot be made; its message goes without", piece)
            return ""

    def _look_ahead(self, outlook: Outlook) -> Ahead | None:
        piece = self._config.piece[outlook.piece]
        site, table = self._config.site_of(piece), self._tables.get(piece.site)
        if table is None:
            return None
        _, met = met_by(piece, site, every_way(table, site))
        return ahead_of(met, piece, site, self._config.lay_of(piece, outlook.next_coat).coating, self._now)
