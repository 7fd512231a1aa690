"""The coating record of one piece, with all that is needed to tell it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from dryspell.config import Config
from dryspell.outlook.coat_log import CoatLog, coat_log
from dryspell.outlook.figures import Units
from dryspell.outlook.model import Coat
from dryspell.store.coats import Version
from dryspell.trade.piece import Piece, Site


@dataclass(frozen=True)
class Record:
    """What was put on one piece.

    Attributes
    ----------
    laid
        Every coat that stands, spoilt ones as well.
    versions
        Every coat that was ever recorded.
    now
        When it is told.
    state
        How far the piece is, in a word of the trade.
    """

    config: Config
    piece: Piece
    laid: Sequence[Coat]
    versions: Sequence[Version]
    now: datetime
    state: str

    @property
    def site(self) -> Site:
        """Where the piece stands."""
        return self.config.site_of(self.piece)

    @property
    def zone(self) -> ZoneInfo:
        """The zone its times are told in."""
        return self.site.zone

    @property
    def units(self) -> Units:
        """The units its figures are told in."""
        return self.config.alerting.units

    @property
    def coats(self) -> int:
        """How many coats the build-up has."""
        return len(self.config.lays_of(self.piece))

    @cached_property
    def log(self) -> CoatLog:
        """The record, reckoned up."""
        return self.reckoned(self.laid)

    def reckoned(self, coats: Sequence[Coat]) -> CoatLog:
        """Return some coats of the piece, reckoned up."""
        return coat_log(self.piece, coats, self.config.lays_of(self.piece), self.config.coating)

    @property
    def build_up(self) -> str:
        """What it is built up with."""
        if self.piece.system:
            return self.config.system[self.piece.system].name
        return self.config.coating[self.piece.coating].label

    @cached_property
    def credits(self) -> list[str]:
        """Whose forecasts have a part in the weather that is told, each with the credit it asks for."""
        mets = [row.coat.met for row in self.log.rows if row.coat.met is not None and row.coat.met.forecast]
        return list(dict.fromkeys(". ".join(filter(None, [met.forecast, met.attribution])) for met in mets))

    @cached_property
    def sensors(self) -> list[str]:
        """What the sensors are called that were read."""
        keys = dict.fromkeys(key for row in self.log.rows if row.coat.met for key in row.coat.met.sensors)
        return [self.config.sensor[key].name if key in self.config.sensor else key for key in keys]
