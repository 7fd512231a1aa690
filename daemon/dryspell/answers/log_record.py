"""The coating record of one piece, with all that is needed to tell it."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from zoneinfo import ZoneInfo

from dryspell.config import Config
from dryspell.outlook.coat_log import CoatLog, FilmBy, coat_log
from dryspell.outlook.figures import Units, quantity
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


FILM_BY: dict[FilmBy, str] = {
    "gauge": "by the comb",
    "litres": "the mean one of the litres used",
    "plan": "only planned",
}
FILM_MARK: dict[FilmBy, str] = {"gauge": "", "litres": "l", "plan": "p"}
"""How a wet film is known, in words, and marked in a table."""


def totals(log: CoatLog, units: Units) -> str:
    """Return how many coats are on and the film they make, in sentences."""
    if not log.on:
        return "No coat is on."
    counting = len(log.counting)
    said = f"{log.on} coat{'s' * (log.on != 1)} on"
    if log.before:
        said += f", {log.before} of them from before the record: nothing is known of those"
    if not counting:
        return f"{said}."
    said += f". {log.full} full coat{'s' * (log.full != 1)}"
    if log.untold:
        which = "it was thinned, and it is not counted"
        if log.untold > 1:
            which = "they were thinned, and none of them is counted"
        said += f"; of {log.untold} it is not told how {which}"
    if log.untold == counting:
        return f"{said}."
    said += f". Dry film {quantity(log.dry_film_um, 'um', units)} in all"
    if log.untold:
        said += f" by the {counting - log.untold} that {'are' if counting - log.untold != 1 else 'is'} told"
    if log.by_plan:
        which = f"{log.by_plan} of them " if log.by_plan < counting - log.untold else ""
        said += f", {which}by the wet film that was planned"
    if counting > 1:
        least, most = (quantity(um, "um", units) for um in log.sanded_um)
        said += f", less what sanding between them took: about {least.partition(' ')[0]} to {most}"
    return f"{said}. It is worked out from wet film, solids and thinner, not measured."
